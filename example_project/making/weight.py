"""Where the crew's weight is: segment masses and centres of de Leva (1996), as published.

Journal of Biomechanics 29:1223-1230, table 4, the mean of women and men (from memory).
"""

from __future__ import annotations

import numpy as np

from making.crew import ENDS
from making.pose import Motion
from making.turns import Array, turn

# segment: (joint, end joint or "", share of the mass in percent, way from joint to end)
_LIMBS = {
    "upper_arm": ("forearm", 2.63, 0.5763),
    "forearm": ("hand", 1.50, 0.4566),
    "hand": ("", 0.585, 0.40),
    "thigh": ("shin", 14.47, 0.3854),
    "shin": ("foot", 4.57, 0.4438),
    "foot": ("toes", 1.33, 0.40),
}
_HEAD, _TRUNK = 6.81, 43.015


def centre(motion: Motion) -> Array:
    """(frames, 3) centre of mass of the whole body."""
    at = motion.positions
    total, mass = np.zeros((motion.frames, 3)), 0.0
    hips = 0.5 * (at["left_thigh"] + at["right_thigh"])
    tip = at["head"] + turn(motion.rotations["head"], np.array(ENDS["head"]))
    for start, end, share, way in (
        (tip, at["neck"], _HEAD, 0.55),
        (at["neck"], hips, _TRUNK, 0.43),
    ):
        total, mass = total + share * (start + way * (end - start)), mass + share
    for side in ("left", "right"):
        for name, (below, share, way) in _LIMBS.items():
            joint = f"{side}_{name}"
            if below:
                end = at[f"{side}_{below}"]
            else:
                end = at[joint] + turn(motion.rotations[joint], np.array(ENDS[joint]))
            total, mass = total + share * (at[joint] + way * (end - at[joint])), mass + share
    return np.asarray(total / mass)
