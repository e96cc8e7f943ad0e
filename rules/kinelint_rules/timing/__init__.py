"""Does it take as long as it should?"""
