"""Do parts of the body touch what they should, and only that?"""
