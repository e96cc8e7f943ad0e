"""What position channels mean: they replace the OFFSET, add to it, or hold world positions.

At a root they replace it. On inner joints all three readings are met in real files, so the file
decides: the reading that keeps the bones nearest to the lengths of their OFFSETs over the clip.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kinelint.finding import Note
from kinelint.kinematics import rotations as turns
from kinelint.kinematics.arrays import Floats
from kinelint.readers.bvh_hierarchy import BvhJoint
from kinelint.readers.bvh_pose import position_values

_FRAMES_TO_JUDGE = 512
_FRAMES_AT_ONCE = 1024
_CLEARLY = 0.02
_AT_REST = 1e-3
_MEANING = {
    "replace": "they replace the OFFSET",
    "add": "they add to the OFFSET",
    "world": "they hold world positions",
}


@dataclass(frozen=True)
class Translations:
    """Joints that move in their parent, ``(m, 3, frames)``, and what was assumed."""

    joints: tuple[int, ...]
    values: Floats
    notes: tuple[Note, ...] = ()


def translations(joints: Sequence[BvhJoint], local: Floats, values: Floats) -> Translations:
    """Local translations of all joints whose position the file animates, roots first among them.

    Args:
        joints: parents before children.
        local: ``(joints, 4, frames)`` local rotations.
        values: ``(frames, columns)`` channel values.
    """
    moving = [i for i, joint in enumerate(joints) if joint.has_positions]
    inner = [i for i in moving if joints[i].parent >= 0]
    roots = [i for i in moving if joints[i].parent < 0]
    if not inner:
        paths = [position_values(joints[i], values, _offset(joints[i])) for i in roots]
        return Translations(tuple(roots), _stacked(paths, len(values)))
    reading = _reading(joints, inner, local, values)
    paths_of = {i: position_values(joints[i], values, _offset(joints[i])) for i in roots}
    paths_of |= _read_as(reading, joints, inner, local, values)
    still = {i for i in inner if _rests(paths_of[i], joints, i)}
    kept = [i for i in moving if i not in still]
    note = Note("position-channels", _told(reading, joints, inner, still))
    return Translations(tuple(kept), _stacked([paths_of[i] for i in kept], len(values)), (note,))


def _offset(joint: BvhJoint) -> tuple[float, float, float]:
    return joint.offset or (0.0, 0.0, 0.0)


def _stacked(paths: list[Floats], frames: int) -> Floats:
    return np.stack(paths) if paths else np.empty((0, 3, frames))


def _reading(joints: Sequence[BvhJoint], inner: list[int], local: Floats, values: Floats) -> str:
    step = max(len(values) // _FRAMES_TO_JUDGE, 1)
    local, values = local[..., ::step], values[::step]
    best, least = "replace", _misfit("replace", joints, inner, local, values)
    for reading in ("add", "world"):
        if reading == "world" and not all(_all_axes(joints[i]) for i in inner):
            continue
        misfit = _misfit(reading, joints, inner, local, values)
        if misfit < least - _CLEARLY:
            best, least = reading, misfit
    return best


def _all_axes(joint: BvhJoint) -> bool:
    return sum(one[1] == "p" for one in joint.channels or ()) == 3


def _misfit(
    reading: str, joints: Sequence[BvhJoint], inner: list[int], local: Floats, values: Floats
) -> float:
    """How far bones are from the length of their OFFSET: 0 for never, 1 for beyond all measure.

    Each joint counts alike and at most 1, so that one joint that travels cannot decide for all.
    """
    total = 0.0
    for i, path in _read_as(reading, joints, inner, local, values).items():
        length = float(np.linalg.norm(_offset(joints[i])))
        off = float(np.mean(np.abs(np.linalg.norm(path, axis=0) - length)))
        total += off / (off + length) if off > 0.0 else 0.0
    return total / len(inner)


def _read_as(
    reading: str, joints: Sequence[BvhJoint], inner: list[int], local: Floats, values: Floats
) -> dict[int, Floats]:
    if reading == "world":
        return _from_world(joints, inner, local, values)
    if reading == "add":
        added = {i: position_values(joints[i], values, (0.0, 0.0, 0.0)) for i in inner}
        return {i: path + np.array(_offset(joints[i]))[:, None] for i, path in added.items()}
    return {i: position_values(joints[i], values, _offset(joints[i])) for i in inner}


def _from_world(
    joints: Sequence[BvhJoint], inner: list[int], local: Floats, values: Floats
) -> dict[int, Floats]:
    """World positions taken into the parents' axes, walking only the chains that lead there."""
    needed = _chains(joints, inner)
    out = {i: np.empty((3, len(values))) for i in inner}
    for first in range(0, len(values), _FRAMES_AT_ONCE):
        span = slice(first, first + _FRAMES_AT_ONCE)
        turned: dict[int, Floats] = {}
        placed: dict[int, Floats] = {}
        for i in needed:
            joint, parent = joints[i], joints[i].parent
            path = position_values(joint, values[span], _offset(joint))
            if parent < 0:
                turned[i], placed[i] = local[i, :, span], path
                continue
            turned[i] = turns.multiply(turned[parent], local[i, :, span])
            if i in out:
                placed[i] = path
                out[i][:, span] = turns.unrotate(turned[parent], path - placed[parent])
            else:
                placed[i] = placed[parent] + turns.rotate(turned[parent], path)
    return out


def _chains(joints: Sequence[BvhJoint], inner: list[int]) -> list[int]:
    needed: set[int] = set()
    for i in inner:
        while i >= 0 and i not in needed:
            needed.add(i)
            i = joints[i].parent
    return sorted(needed)


def _rests(path: Floats, joints: Sequence[BvhJoint], i: int) -> bool:
    """Whether a joint never leaves its OFFSET by more than the digits of a file explain."""
    offset = np.array(_offset(joints[i]))
    size = max(float(np.abs(_offset(one)).max()) for one in joints)
    return float(np.abs(path - offset[:, None]).max(initial=0.0)) <= _AT_REST * size


def _told(reading: str, joints: Sequence[BvhJoint], inner: list[int], still: set[int]) -> str:
    names = ", ".join(joints[i].name for i in inner[:4]) + (", …" if len(inner) > 4 else "")
    text = f"position channels below the root ({names}): {_MEANING[reading]}"
    if len(still) == len(inner):
        return text + "; none of these joints leaves its OFFSET"
    return text + f"; {len(inner) - len(still)} of {len(inner)} joints move in their parent"
