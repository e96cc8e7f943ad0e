"""Whether a figure is built like a person, so that people's ranges can be held against it."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from kinelint.anatomy.segment_axes import line, start_joint
from kinelint.motion import Motion

# Arm over leg is 0.67 and leg over trunk 1.71 between joint centres (ANSUR II, 4,082 men and
# 1,986 women); captured skeletons reach 0.53 to 0.68 and 1.6 to 2.3, since their joints stand
# where markers were; built ones that pass for people reach 0.79 and 1.18.
ARM_OVER_LEG = (0.45, 0.9)
LEG_OVER_TRUNK = (1.0, 2.8)


def built_like_a_person(motion: Motion) -> bool:
    """Whether arms, legs and trunk are in proportion; true where one of them is missing."""
    leg = _length(motion, "left_thigh", "left_shank", "left_foot")
    arm = _length(motion, "left_upper_arm", "left_forearm", "left_hand")
    trunk = _trunk_length(motion)
    return _within(arm / leg, ARM_OVER_LEG) and _within(leg / trunk, LEG_OVER_TRUNK)


def _within(ratio: float, bounds: tuple[float, float]) -> bool:
    return not np.isfinite(ratio) or bounds[0] < ratio < bounds[1]


def _length(motion: Motion, *parts: str) -> float:
    joints = [start_joint(motion, part) for part in parts]
    total = 0.0
    for start, end in pairwise(joints):
        if start is None or end is None:
            return float("nan")
        total += float(np.median(np.linalg.norm(line(motion, start, end), axis=0)))
    return total if total > 0 else float("nan")


def _trunk_length(motion: Motion) -> float:
    middles = []
    for part in ("thigh", "upper_arm"):
        left, right = start_joint(motion, f"left_{part}"), start_joint(motion, f"right_{part}")
        if left is None or right is None:
            return float("nan")
        middles.append((motion.positions_m[left] + motion.positions_m[right]) / 2)
    length = float(np.median(np.linalg.norm(middles[1] - middles[0], axis=0)))
    return length if length > 0 else float("nan")
