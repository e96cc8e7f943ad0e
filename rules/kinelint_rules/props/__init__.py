"""Are props where hands and holders have them?"""
