"""Scale channels of a BVH file: no part of the format as it was, but met in files.

They are carried over where they ever leave 1, since joints below then stand elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats
from kinelint.readers.bvh_hierarchy import BvhJoint
from kinelint.readers.bvh_pose import position_values

_NOISE = 1e-5


@dataclass(frozen=True)
class Scales:
    """Joints that change their scale, ``(m, 3, frames)``, and what is to be told."""

    joints: tuple[int, ...]
    values: Floats
    notes: tuple[Note, ...] = ()


def scales(joints: Sequence[BvhJoint], values: Floats) -> Scales:
    """Scales of all joints whose scale channels ever leave 1.

    Args:
        joints: parents before children.
        values: ``(frames, columns)`` channel values.
    """
    given = [i for i, joint in enumerate(joints) if any(c[1] == "s" for c in joint.channels or ())]
    paths = {i: position_values(joints[i], values, (1.0, 1.0, 1.0), "s") for i in given}
    moved = [i for i in given if not np.all(np.abs(paths[i] - 1.0) <= _NOISE)]
    if not given:
        return Scales((), np.empty((0, 3, 0)))
    if not moved:
        text = f"joints with scale channels that stay at 1: {_few(joints, given)}"
        return Scales((), np.empty((0, 3, 0)), (Note("scale-keys", text),))
    text = f"joints change their scale: {_few(joints, moved)}"
    return Scales(tuple(moved), np.stack([paths[i] for i in moved]), (Note("scale-keys", text),))


def _few(joints: Sequence[BvhJoint], which: list[int]) -> str:
    names = ", ".join(joints[i].name for i in which[:4])
    return f"{names} and {len(which) - 4} more" if len(which) > 4 else names
