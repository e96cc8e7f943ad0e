"""The names of the parts of a body, in biomechanics handbooks' words.

A part is named after its segment and stands at its proximal joint: `left_shank` is the left knee
and what hangs from it. Sides are the body's own.
"""

from __future__ import annotations

SIDES = ("left", "right")
FINGERS = ("thumb", "index", "middle", "ring", "little")
TRUNK = ("pelvis", "abdomen", "thorax", "neck", "head")
ARM = ("clavicle", "upper_arm", "forearm", "hand")
LEG = ("thigh", "shank", "foot", "toes")
# Finger joint 0 is a metacarpal where a skeleton has one; 1 to 3 are the three joints that bend.
DIGITS = tuple(f"{finger}_{number}" for finger in FINGERS for number in range(4))

PARTS: tuple[str, ...] = TRUNK + tuple(
    f"{side}_{part}" for side in SIDES for part in ARM + DIGITS + LEG
)


def label(part: str) -> str:
    """The part for people: "left_upper_arm" is "left upper arm"."""
    return part.replace("_", " ")


def side_of(part: str) -> str:
    """Which side a part is on: "left", "right", or "" for the trunk."""
    side = part.partition("_")[0]
    return side if side in SIDES else ""


def mirrored(part: str) -> str:
    """The same part of the other side; parts of the trunk are their own mirror."""
    side = side_of(part)
    if not side:
        return part
    return ("right" if side == "left" else "left") + part[len(side) :]
