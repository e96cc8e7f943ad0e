"""The crew's skeleton and its low-poly skin.

Y up, facing +Z, X to the left, metres, at rest with arms out and palms down. All joints' axes lie
along the world's at rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

STATURE = 1.74
THIGH, SHANK = 0.2425 * STATURE, 0.2529 * STATURE
ARM, FOREARM = 0.1618 * STATURE, 0.1545 * STATURE
ANKLE_HEIGHT = 0.0410 * STATURE
# In the foot's axes, from the ankle: where the ball and the heel touch the deck, and the toe tip.
BALL = np.array([0.0, -ANKLE_HEIGHT, 0.0760 * STATURE])
HEEL = np.array([0.0, -ANKLE_HEIGHT, -0.0330 * STATURE])
BALL_JOINT = np.array([0.0, -ANKLE_HEIGHT + 0.018, 0.0760 * STATURE])
TOE_TIP = np.array([0.0, -0.006, 0.0390 * STATURE])
HIP_HEIGHT = THIGH + SHANK + ANKLE_HEIGHT

# name: (parent, offset from the parent)
JOINTS: dict[str, tuple[str, tuple[float, float, float]]] = {
    "pelvis": ("", (0.0, HIP_HEIGHT + 0.045, 0.0)),
    "waist": ("pelvis", (0.0, 0.100, 0.0)),
    "chest": ("waist", (0.0, 0.170, 0.0)),
    "neck": ("chest", (0.0, 0.245, 0.0)),
    "head": ("neck", (0.0, 0.085, 0.010)),
}
for _side, _sign in (("left", 1.0), ("right", -1.0)):
    JOINTS |= {
        f"{_side}_collar": ("chest", (_sign * 0.025, 0.175, 0.0)),
        f"{_side}_upper_arm": (f"{_side}_collar", (_sign * 0.165, 0.0, 0.0)),
        f"{_side}_forearm": (f"{_side}_upper_arm", (_sign * ARM, 0.0, 0.0)),
        f"{_side}_hand": (f"{_side}_forearm", (_sign * FOREARM, 0.0, 0.0)),
        f"{_side}_thigh": ("pelvis", (_sign * 0.092, -0.045, 0.0)),
        f"{_side}_shin": (f"{_side}_thigh", (0.0, -THIGH, 0.0)),
        f"{_side}_foot": (f"{_side}_shin", (0.0, -SHANK, 0.0)),
        f"{_side}_toes": (f"{_side}_foot", tuple(BALL_JOINT)),
    }
NAMES = tuple(JOINTS)
PARENTS = tuple(NAMES.index(parent) if parent else -1 for parent, _ in JOINTS.values())
OFFSETS = np.array([offset for _, offset in JOINTS.values()])
# Ends of chains, from their joint.
ENDS = {
    "head": (0.0, STATURE - (HIP_HEIGHT + 0.045 + 0.1 + 0.17 + 0.245 + 0.085), 0.01),
    "left_hand": (0.1079 * STATURE, 0.0, 0.0),
    "right_hand": (-0.1079 * STATURE, 0.0, 0.0),
    "left_toes": tuple(TOE_TIP),
    "right_toes": tuple(TOE_TIP),
}

# Limbs are round and even, so that how deep two of them overlap is plain geometry.
LIMB_RADII = {"upper_arm": 0.045, "forearm": 0.034, "hand": 0.028, "thigh": 0.070, "shin": 0.045}


@dataclass(frozen=True)
class Tube:
    """A piece of skin around one bone: rings of radius (across, along) at points in joint axes."""

    joint: str
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    start_radii: tuple[float, float]
    end_radii: tuple[float, float]


def tubes() -> list[Tube]:
    """The skin, piece by piece; radii in metres, (left-right or up-down, front-back)."""
    made = [
        Tube("pelvis", (0, -0.08, 0), (0, 0.09, 0), (0.165, 0.115), (0.150, 0.105)),
        Tube("waist", (0, 0.0, 0), (0, 0.16, 0), (0.145, 0.100), (0.140, 0.105)),
        Tube("chest", (0, 0.0, 0), (0, 0.20, 0), (0.140, 0.110), (0.135, 0.105)),
        Tube("neck", (0, 0.0, 0), (0, 0.085, 0.01), (0.055, 0.055), (0.052, 0.052)),
        Tube(
            "head", (0, 0.02, 0.01), (0, ENDS["head"][1] - 0.02, 0.01), (0.07, 0.09), (0.065, 0.08)
        ),
    ]
    for side, sign in (("left", 1.0), ("right", -1.0)):
        hand = ENDS[f"{side}_hand"][0]
        made += [
            Tube(f"{side}_{name}", (0, 0, 0), end, (radius, radius), (radius, radius))
            for name, end, radius in (
                ("upper_arm", (sign * ARM, 0, 0), LIMB_RADII["upper_arm"]),
                ("forearm", (sign * FOREARM, 0, 0), LIMB_RADII["forearm"]),
                ("hand", (hand, 0, 0), LIMB_RADII["hand"]),
                ("thigh", (0, -THIGH, 0), LIMB_RADII["thigh"]),
                ("shin", (0, -SHANK, 0), LIMB_RADII["shin"]),
            )
        ]
        made += [
            Tube(
                f"{side}_foot",
                (0.0, -0.5 * ANKLE_HEIGHT, -0.03),
                (0.0, BALL_JOINT[1] + 0.012, BALL_JOINT[2]),
                (0.034, 0.034),
                (0.034, 0.026),
            ),
            Tube(f"{side}_toes", (0, 0, 0), tuple(TOE_TIP), (0.034, 0.016), (0.03, 0.012)),
        ]
    return made
