"""Does the motion go on from frame to frame as motion does?"""
