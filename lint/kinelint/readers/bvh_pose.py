"""BVH channel values to local rotations and translations."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kinelint.kinematics.arrays import Floats
from kinelint.readers.bvh_hierarchy import BvhJoint

_FRAMES_AT_ONCE = 256
# The quaternion q times a turn about an axis: which component of q meets the sine, and its sign.
_CROSS = {
    "X": ((1, 0, 3, 2), (-1.0, 1.0, 1.0, -1.0)),
    "Y": ((2, 3, 0, 1), (-1.0, -1.0, 1.0, 1.0)),
    "Z": ((3, 2, 1, 0), (-1.0, 1.0, -1.0, 1.0)),
}


def local_rotations(joints: Sequence[BvhJoint], values: Floats) -> Floats:
    """Unit quaternions ``(joints, 4, frames)`` of channel values ``(frames, columns)``, degrees.

    Rotations compose in channel order from left to right: "ZXY" is R = Rz Rx Ry on columns.
    """
    frames = len(values)
    rotations = np.empty((len(joints), 4, frames))
    groups: dict[str, list[int]] = {}
    for i, joint in enumerate(joints):
        groups.setdefault(joint.rotation_order, []).append(i)
    for i in groups.pop("", []):
        rotations[i] = [[1.0], [0.0], [0.0], [0.0]]
    for first in range(0, frames, _FRAMES_AT_ONCE):
        span = slice(first, first + _FRAMES_AT_ONCE)
        half = np.multiply(values[span].T, np.pi / 360.0, order="C")
        for order, members in groups.items():
            columns = np.array([_turn_columns(joints[i]) for i in members])
            rotations[members, :, span] = _composed(order, half[columns])
    return rotations


def _turn_columns(joint: BvhJoint) -> list[int]:
    return [joint.column + i for i, one in enumerate(joint.channels or ()) if one[1] == "r"]


def _composed(order: str, half: Floats) -> Floats:
    """``(joints, 4, frames)`` of half angles ``(joints, turns, frames)``, radians."""
    cosines, sines = np.cos(half), np.sin(half)
    q = np.zeros((len(half), 4, half.shape[-1]))
    q[:, 0] = cosines[:, 0]
    q[:, 1 + "XYZ".index(order[0])] = sines[:, 0]
    for turn, axis in enumerate(order[1:], start=1):
        rows, signs = _CROSS[axis]
        crossed = q[:, rows] * np.array(signs)[:, None]
        q *= cosines[:, None, turn]
        crossed *= sines[:, None, turn]
        q += crossed
    return q


def position_values(
    joint: BvhJoint, values: Floats, missing: Sequence[float], kind: str = "p"
) -> Floats:
    """Position channels ``(3, frames)`` of a joint; `missing` fills axes without a channel.

    `kind` "s" gives its scale channels instead.
    """
    out = np.empty((3, len(values)))
    out[:] = np.asarray(missing, dtype=np.float64)[:, None]
    for i, one in enumerate(joint.channels or ()):
        if one[1] == kind:
            out["XYZ".index(one[0])] = values[:, joint.column + i]
    return out
