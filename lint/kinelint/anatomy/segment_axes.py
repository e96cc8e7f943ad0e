"""Segments in space: where each begins and ends, which joint carries it, its anatomical axes.

A segment's axes are X forward, Y up along it, Z to the body's right, as a quaternion from those
axes to the world's.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kinelint.anatomy.parts import SIDES
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.vectors import cross, dot, unit
from kinelint.motion import Motion

UP: Floats = np.array([[0.0], [1.0], [0.0]])
UP.flags.writeable = False

# Where the part that follows begins: the far end of a segment.
_NEXT = {
    "upper_arm": "forearm",
    "forearm": "hand",
    "thigh": "shank",
    "shank": "foot",
    "foot": "toes",
}


def next_part(part: str) -> str:
    """The part that hangs from this one's far end ("left_thigh": "left_shank"); "" if none."""
    side, _, rest = part.partition("_")
    finger, _, number = rest.rpartition("_")
    if number.isdigit():
        return f"{side}_{finger}_{int(number) + 1}"
    return f"{side}_{_NEXT[rest]}" if rest in _NEXT else ""


def start_joint(motion: Motion, part: str) -> int | None:
    """The joint a part begins at; None if it was not recognised or not captured."""
    return motion.figure.anatomy.joints[part][0] if motion.has(part) else None


def end_joint(motion: Motion, part: str) -> int | None:
    """The joint or tip a segment ends at; None if nothing marks its end."""
    follows = start_joint(motion, next_part(part)) if next_part(part) else None
    return motion.figure.anatomy.tips.get(part) if follows is None else follows


def carrier(motion: Motion, part: str) -> int:
    """The joint whose axes the far end of a segment moves with.

    Where a segment has several joints (a twist joint half way) it is the one that the next part
    hangs from, so that the turn of a forearm is the whole turn.
    """
    own = motion.figure.anatomy.joints[part]
    follows = start_joint(motion, next_part(part)) if next_part(part) else None
    above = -1 if follows is None else int(motion.clip.skeleton.parents[follows])
    return above if above in own else own[0]


def common_carrier(motion: Motion, parts: Sequence[str]) -> int | None:
    """The joint that carries both sides: the lowest from which all `parts` hang."""
    parents = motion.clip.skeleton.parents
    shared: list[int] | None = None
    for part in parts:
        joint = start_joint(motion, part)
        if joint is None:
            return None
        chain, above = [], int(parents[joint])
        while above >= 0:
            chain.append(above)
            above = int(parents[above])
        shared = chain if shared is None else [one for one in shared if one in chain]
    return shared[0] if shared else None


def segment_joint(motion: Motion, segment: str) -> int | None:
    """The joint that a segment's anatomical axes are tied to; None if it was not recognised."""
    both = {"pelvis": "thigh", "thorax": "upper_arm"}
    if segment in both:
        return common_carrier(motion, [f"{side}_{both[segment]}" for side in SIDES])
    if not motion.has(segment):
        return None
    if segment.partition("_")[2] in ("foot", "toes") or segment == "head":
        return start_joint(motion, segment)
    return carrier(motion, segment)


def across(v: Floats, axis: Floats) -> Floats:
    """What of ``(3, frames)`` is at right angles to unit `axis`, of length 1."""
    return unit(v - dot(v, axis)[..., None, :] * axis)


def axes(up: Floats, right: Floats) -> Floats:
    """Segment axes ``(4, frames)``: Y exactly along unit `up`, Z as near to `right` as can be."""
    z = across(right, up)
    y = np.broadcast_to(up, z.shape)
    x = cross(y, z)
    return rotations.from_matrix(np.stack((x, y, z), axis=-2))


def line(motion: Motion, start: int, end: int) -> Floats:
    """``(3, frames)`` metres from one joint to another."""
    return np.asarray(motion.positions_m[end] - motion.positions_m[start])


def segment_line(motion: Motion, part: str) -> Floats | None:
    """Direction ``(3, frames)`` of a segment, near end to far end; None if it has no far end."""
    start, end = start_joint(motion, part), end_joint(motion, part)
    return None if start is None or end is None else unit(line(motion, start, end))


def right_line(motion: Motion, part: str) -> Floats | None:
    """``(3, frames)`` metres from the left to the right "thigh", "upper_arm", …; None if absent."""
    left, right = start_joint(motion, f"left_{part}"), start_joint(motion, f"right_{part}")
    return None if left is None or right is None else line(motion, left, right)


def level(v: Floats) -> Floats:
    """The horizontal part of ``(3, frames)``, of length 1."""
    return across(v, UP)
