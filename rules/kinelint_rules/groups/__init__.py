"""Do clips that belong together fit: what follows what, who plays with whom, what mirrors what?"""
