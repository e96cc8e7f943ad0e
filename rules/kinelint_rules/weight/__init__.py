"""Does the figure carry its weight?"""
