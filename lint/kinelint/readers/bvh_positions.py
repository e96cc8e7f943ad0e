"""What position channels mean: they replace the OFFSET, add to it, or hold world positions.

At a root they replace it. On inner joints all three readings are met in real files, so the file
decides: the reading that keeps the bones nearest to the lengths of their OFFSETs over the clip.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from kinelint.finding import Note
from kinelint.kinematics import rotations as turns
from kinelint.kinematics.arrays import Floats
from kinelint.readers.bvh_hierarchy import BvhJoint
from kinelint.readers.bvh_pose import position_values
from kinelint.readers.short import short_line

_FRAMES_TO_JUDGE = 512
_FRAMES_AT_ONCE = 1024
_CLEARLY = 0.02
_AT_REST = 5e-4
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
    if not inner:
        kept, out = _kept(
            _paths("replace", joints, moving, local, values), joints, moving, len(values)
        )
        return Translations(kept, out)
    reading = _reading(joints, inner, local, values)
    paths = _paths(reading, joints, moving, local, values)
    kept, out = _kept(paths, joints, moving, len(values))
    note = Note("position-channels", _told(reading, joints, inner, kept))
    return Translations(kept, out, (note,))


def _kept(
    paths: Iterator[tuple[int, Floats]], joints: Sequence[BvhJoint], moving: list[int], frames: int
) -> tuple[tuple[int, ...], Floats]:
    """The paths that move, packed one by one: a file may have channels for all and move none."""
    kept: list[int] = []
    out = np.empty((len(moving), 3, frames))
    size = max(float(np.abs(_offset(one)).max()) for one in joints)
    for i, path in paths:
        if joints[i].parent < 0 or not _rests(path, _offset(joints[i]), size):
            out[len(kept)] = path
            kept.append(i)
    packed = out[: len(kept)]
    return tuple(kept), packed.copy() if 2 * len(kept) < len(moving) else packed


def _offset(joint: BvhJoint) -> tuple[float, float, float]:
    return joint.offset or (0.0, 0.0, 0.0)


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
    for i, path in _paths(reading, joints, inner, local, values):
        length = float(np.linalg.norm(_offset(joints[i])))
        off = float(np.mean(np.abs(np.linalg.norm(path, axis=0) - length)))
        total += off / (off + length) if off > 0.0 else 0.0
    return total / len(inner)


def _paths(
    reading: str, joints: Sequence[BvhJoint], which: list[int], local: Floats, values: Floats
) -> Iterator[tuple[int, Floats]]:
    """Local translation ``(3, frames)`` of each of some joints; roots are read alike always."""
    inner = [i for i in which if joints[i].parent >= 0]
    converted = _from_world(joints, inner, local, values) if reading == "world" else {}
    for i in which:
        offset = _offset(joints[i])
        if i in converted:
            yield i, converted[i]
        elif reading == "add" and joints[i].parent >= 0:
            added = position_values(joints[i], values, (0.0, 0.0, 0.0))
            yield i, added + np.array(offset)[:, None]
        else:
            yield i, position_values(joints[i], values, offset)


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


def _rests(path: Floats, offset: tuple[float, float, float], size: float) -> bool:
    """Whether a joint never leaves its OFFSET by more than the digits of a file explain."""
    away = float(np.abs(path - np.array(offset)[:, None]).max(initial=0.0))
    return away <= _AT_REST * size


def _told(reading: str, joints: Sequence[BvhJoint], inner: list[int], kept: Sequence[int]) -> str:
    names = ", ".join(short_line(joints[i].name, 80) for i in inner[:4]) + (
        ", …" if len(inner) > 4 else ""
    )
    text = f"position channels below the root ({names}): {_MEANING[reading]}"
    move = len(set(inner) & set(kept))
    if not move:
        return text + "; none of these joints leaves its OFFSET"
    return text + f"; {move} of {len(inner)} joints move in their parent"
