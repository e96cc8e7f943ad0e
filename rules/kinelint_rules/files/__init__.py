"""Is the file what the project wants: its stored numbers, its skeleton, its form?"""
