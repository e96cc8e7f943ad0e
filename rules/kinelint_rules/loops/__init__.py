"""Do clips that repeat close?"""
