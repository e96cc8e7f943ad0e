"""When a foot stands: still, and under its knee."""

from __future__ import annotations

import numpy as np

from kinelint.anatomy.feet import WINDOW_S, FootJoints, scale_of
from kinelint.anatomy.travel import travelled
from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Bools
from kinelint.motion import Motion

# Standing: both ends of the foot slower than this, the shank more upright than not. Common
# practice, no source.
STILL_M_PER_S = 0.15
_UPRIGHT = 0.5


def standing_frames(motion: Motion, foot: FootJoints) -> Bools:
    """``(frames,)`` true where the foot is still and the shank more upright than not."""
    still = np.ones(motion.frames, dtype=np.bool_)
    for joint in {foot.ankle, foot.front}:
        path = travelled(motion, motion.positions_m[joint])
        velocity = rates.windowed_velocity(path, motion.sample_rate_hz, WINDOW_S)
        still &= np.linalg.norm(velocity, axis=0) < STILL_M_PER_S * scale_of(motion)
    return still & _upright(motion, foot)


def _upright(motion: Motion, foot: FootJoints) -> Bools:
    knees = motion.figure.anatomy.joints.get(f"{foot.side}_shank")
    if not knees:
        return np.ones(motion.frames, dtype=np.bool_)
    shank = motion.positions_m[knees[0]] - motion.positions_m[foot.ankle]
    return np.asarray(shank[1] > _UPRIGHT * np.linalg.norm(shank, axis=0))
