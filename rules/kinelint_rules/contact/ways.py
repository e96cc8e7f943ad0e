"""Directions in words, as seen from the body."""

from __future__ import annotations

import numpy as np

from kinelint.anatomy.parts import side_of
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion

# A direction is named by each axis that holds at least this share of it (23 degrees off).
_SHARE = 0.4


def in_words(motion: Motion, frame: int, direction: Floats, part: str) -> str:
    """The direction for a part: "outward", "forward and up", "to the left and back"."""
    left = _left(motion, frame)
    up = np.array([0.0, 1.0, 0.0])
    ahead = np.cross(left, up)
    sideways = float(direction @ left)
    side = side_of(part)
    if side:
        outward = sideways if side == "left" else -sideways
        lateral = "outward" if outward > 0 else "inward"
    else:
        lateral = "to the left" if sideways > 0 else "to the right"
    shares = [
        (abs(sideways), lateral),
        (abs(direction @ ahead), "forward" if direction @ ahead > 0 else "back"),
        (abs(direction @ up), "up" if direction @ up > 0 else "down"),
    ]
    named = [word for share, word in sorted(shares, reverse=True) if share >= _SHARE]
    return " and ".join(named[:2])


def _left(motion: Motion, frame: int) -> Floats:
    """``(3,)`` level unit vector to the body's left, from its hips or shoulders."""
    joints = motion.figure.anatomy.joints
    for part in ("thigh", "upper_arm", "clavicle"):
        left, right = joints.get(f"left_{part}"), joints.get(f"right_{part}")
        if left and right:
            across = motion.positions_m[left[0], :, frame] - motion.positions_m[right[0], :, frame]
            level = across * np.array([1.0, 0.0, 1.0])
            size = float(np.linalg.norm(level))
            if size > 1e-6:
                return np.asarray(level / size)
    return np.array([1.0, 0.0, 0.0])
