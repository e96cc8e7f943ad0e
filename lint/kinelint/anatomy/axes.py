"""Which way is up: signed axes, the turn to Y up, and votes of poses for an axis."""

from __future__ import annotations

import numpy as np

from kinelint.anatomy.anatomy import Anatomy
from kinelint.errors import BodyError
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.rotations import IDENTITY, about

AXES = ("x", "y", "z", "-x", "-y", "-z")
# A pose votes for an axis within 32 degrees of its line from ankles to head.
_CLOSE = 0.85


def axis_name(text: str) -> str:
    """One of `AXES`: "Z", "+z" and "z" are "z"; "-Z" is "-z".

    Raises:
        BodyError: it is none of the six.
    """
    name = text.strip().lower().removeprefix("+")
    if name not in AXES:
        raise BodyError(f'"{text}" is no axis', mend=f"Axes are {', '.join(AXES)}.")
    return name


def to_y_up(axis: str) -> Floats:
    """``(4, 1)`` rotation that turns a file's up axis to +Y; right-handed as before."""
    turns = {"x": ("Z", 90.0), "-x": ("Z", -90.0), "-y": ("X", 180.0), "z": ("X", -90.0)}
    turns["-z"] = ("X", 90.0)
    name = axis_name(axis)
    if name == "y":
        return np.array(IDENTITY)
    about_axis, angle_deg = turns[name]
    return about(about_axis, np.radians([angle_deg]))


def body_line(positions: Floats, anatomy: Anatomy) -> Floats | None:
    """``(3, frames)`` from the lowest to the highest part of a body that it has."""
    bottom = _middle(positions, anatomy, ("foot", "shank", "thigh", "pelvis"))
    top = _middle(positions, anatomy, ("head", "neck", "upper_arm", "thorax"))
    return None if bottom is None or top is None else top - bottom


def _middle(positions: Floats, anatomy: Anatomy, parts: tuple[str, ...]) -> Floats | None:
    for part in parts:
        names = (part,) if anatomy.has(part) else (f"left_{part}", f"right_{part}")
        if anatomy.has(*names):
            joints = [anatomy.joints[name][0] for name in names]
            return np.asarray(np.mean([positions[joint] for joint in joints], axis=0))
    return None


def votes(positions: Floats, anatomy: Anatomy) -> Floats:
    """``(6,)`` poses that stand along each of `AXES`, among ``(joints, 3, frames)``.

    Only poses in which the body is stretched out count: a crouch says little.
    """
    line = body_line(positions, anatomy)
    if line is None:
        return np.zeros(6)
    length = np.linalg.norm(line, axis=0)
    stretched = length > 0.8 * np.percentile(length, 95)
    along = line / np.where(length > 0, length, 1.0)
    signed = np.concatenate((along, -along))
    return np.asarray(np.sum((signed > _CLOSE) & stretched & (length > 0), axis=1), dtype=float)


def floor_spreads(positions: Floats) -> Floats:
    """``(6,)`` how far the lowest point of ``(joints, 3, frames)`` wanders along each of `AXES`."""
    lowest = np.concatenate((positions.min(axis=0), (-positions).min(axis=0)))
    high, low = np.percentile(lowest, (90, 10), axis=1)
    return np.asarray(high - low)
