"""Makes the clips of the example: a small model of how a ferry's crew moves.

Knows nothing of kinelint, so that the sizes in its truth table are told apart from the tool that
has to find them. Frames come first here, as in the files: paths are (frames, 3).
"""
