"""Stored rotation channels that run the long way round between keys: Euler angles, quaternions.

How far a straight line in Euler angles turns is the integral of its angular velocity. With steps
d1, d2, d3 of the three angles, axes e1, e2, e3 and the middle angle b,

    |w|^2 = d1^2 + d2^2 + d3^2 + 2 d1 d3 (e1 . R2(b) e3),

since the first two axes and the last two always stand at right angles; the last product is
sin b for XYZ, YZX, ZXY, -sin b for ZYX, YXZ, XZY and cos b where the first axis comes back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from kinelint.clip import LongTurns
from kinelint.finding import Note
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.readers.bvh_hierarchy import BvhJoint

DETOUR_DEG = 60.0
"""Steps whose stored numbers turn so much further than the poses are listed."""
MOST_STEPS = 100_000
"""Of one clip; a file whose every frame wraps would take more memory than its motion."""

_FRAMES_AT_ONCE = 512
# Three channels that each step by no more than this make detours of up to 33 degrees.
_CANDIDATE_DEG = 90.0
_RIGHT_HANDED = ("XYZ", "YZX", "ZXY")
# Gauss-Legendre: exact to 1e-3 of what a step turns.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(12)


@dataclass
class Gathered:
    """Steps found so far, as columns; `full` when no more are kept."""

    parts: list[LongTurns] = field(default_factory=list)
    count: int = 0

    @property
    def full(self) -> bool:
        """Whether so many steps were found that the rest is left out."""
        return self.count >= MOST_STEPS

    def add(self, steps: LongTurns) -> None:
        """Takes steps in."""
        if len(steps):
            self.parts.append(steps)
            self.count += len(steps)

    def turns(self) -> LongTurns:
        """All of them, by joint and frame."""
        if not self.parts:
            return LongTurns()
        names = ("joints", "frames", "stored_deg", "true_deg", "kinds", "shifts_deg")
        columns = [np.concatenate([getattr(one, name) for one in self.parts]) for name in names]
        order = np.lexsort((columns[1], columns[0]))[:MOST_STEPS]
        return LongTurns(*(one[order] for one in columns))

    def notes(self) -> tuple[Note, ...]:
        """Says if some were left out."""
        text = f"stored rotations wrap or flip more often than {MOST_STEPS} times; not all are told"
        return (Note("long-turns", text),) if self.full else ()


def of_euler(joints: Sequence[BvhJoint], values: Floats, turned: Floats) -> Gathered:
    """Long steps of Euler channels.

    Args:
        joints: with their channels.
        values: ``(frames, columns)`` channel values, degrees.
        turned: ``(joints, 4, frames)`` the rotations that they stand for.
    """
    found = Gathered()
    some = [(i, one) for i, one in enumerate(joints) if one.rotation_order]
    if not some:
        return found
    columns = [
        one.column + i
        for _, one in some
        for i, word in enumerate(one.channels or ())
        if word[1] == "r"
    ]
    owners = np.repeat([i for i, _ in some], [len(one.rotation_order) for _, one in some])
    for first in range(0, len(values) - 1, _FRAMES_AT_ONCE):
        angles = values[first : first + _FRAMES_AT_ONCE + 1, columns]
        steps = np.abs(angles[1:] - angles[:-1])
        if found.full or not steps.max(initial=0.0) > _CANDIDATE_DEG:
            continue
        rows, hits = np.nonzero(steps > _CANDIDATE_DEG)
        for joint in np.unique(owners[hits]).tolist():
            frames = first + 1 + np.unique(rows[owners[hits] == joint])
            own = angles[:, owners == joint].T
            found.add(_euler_steps(joint, joints[joint].rotation_order, own, first, frames, turned))
    return found


def _euler_steps(
    joint: int, order: str, angles: Floats, first: int, frames: Ints, turned: Floats
) -> LongTurns:
    """Of one joint those of `frames` (the later of each step) that are long."""
    before, after = angles[:, frames - 1 - first], angles[:, frames - first]
    true_deg = _true_deg(turned[joint], frames)
    stored_deg = path_deg(order, before, after)
    long = stored_deg - true_deg > DETOUR_DEG
    if not long.any():
        return LongTurns()
    before, after = before[:, long], after[:, long]
    kinds, shifts = _mended(order, before, after)
    return LongTurns(
        np.full(int(long.sum()), joint, dtype=np.intp),
        frames[long],
        stored_deg[long],
        true_deg[long],
        kinds,
        shifts,
    )


def _true_deg(turned: Floats, frames: Ints) -> Floats:
    a, b = turned[:, frames - 1], turned[:, frames]
    return np.degrees(rotations.angle_between(a, b))


def path_deg(order: str, before: Floats, after: Floats) -> Floats:
    """``(steps,)`` how far the straight line from one Euler triple to another turns, degrees.

    Args:
        order: axes, first to last ("ZXY": R = Rz Rx Ry).
        before: ``(len(order), steps)`` degrees.
        after: the same.
    """
    step = after - before
    square = np.sum(step * step, axis=0)
    if len(order) < 3:
        return np.asarray(np.sqrt(square))
    share = 0.5 * (_NODES + 1.0)
    middle = np.radians(before[1] + share[:, None] * step[1])
    if order[0] == order[2]:
        between = np.cos(middle)
    else:
        between = np.sin(middle) * (1.0 if order in _RIGHT_HANDED else -1.0)
    speed = np.sqrt(np.maximum(square + 2.0 * step[0] * step[2] * between, 0.0))
    return np.asarray(0.5 * _WEIGHTS @ speed)


def _mended(order: str, before: Floats, after: Floats) -> tuple[Ints, Floats]:
    """How each step came about, and what to add to the X, Y and Z channels from it on.

    Of all triples that stand for the later pose the one nearest to the earlier is looked for:
    whole turns added, or the other reading of the same rotation.
    """
    wrapped = after + 360.0 * np.round((before - after) / 360.0)
    shifts = np.full((after.shape[1], 3), np.nan)
    kinds = np.full(after.shape[1], LongTurns.WRAP, dtype=np.intp)
    nearest = wrapped
    if len(order) == 3:
        other = after + 180.0
        other[1] = (0.0 if order[0] == order[2] else 180.0) - after[1]
        other += 360.0 * np.round((before - other) / 360.0)
        flipped = path_deg(order, before, other) < path_deg(order, before, wrapped) - 1e-6
        kinds[flipped] = LongTurns.READING
        nearest = np.where(flipped, other, wrapped)
    kinds[path_deg(order, before, nearest) > path_deg(order, before, after) - 1.0] = LongTurns.LOCK
    if len(set(order)) == len(order):
        for row, axis in enumerate(order):
            shifts[:, "XYZ".index(axis)] = nearest[row] - after[row]
    return kinds, shifts


def of_quaternions(stored: Floats, joints: Ints, frames: Ints, kind: int) -> LongTurns:
    """Steps between keys whose quaternions lie on opposite sides.

    A curve through four numbers from q to r with q . r < 0 turns by 360 degrees less the angle
    between the poses, at the least.

    Args:
        stored: ``(joints, 4, keys)`` as in the file; of any length but 0.
        joints: ``(joints,)`` which these are.
        frames: ``(keys,)`` the frame of each key.
        kind: of `LongTurns`.
    """
    a, b = stored[..., :-1], stored[..., 1:]
    dots = np.einsum("jck,jck->jk", a, b)
    rows, keys = np.nonzero(dots < 0.0)
    if not rows.size:
        return LongTurns()
    size = np.linalg.norm(a[rows, :, keys], axis=1) * np.linalg.norm(b[rows, :, keys], axis=1)
    cosine = np.clip(-dots[rows, keys] / size, 0.0, 1.0)
    true_deg = 2.0 * np.degrees(np.arccos(cosine))
    long = 360.0 - 2.0 * true_deg > DETOUR_DEG
    rows, keys, true_deg = rows[long], keys[long], true_deg[long]
    return LongTurns(
        np.asarray(joints)[rows],
        np.asarray(frames)[keys + 1],
        360.0 - true_deg,
        true_deg,
        np.full(len(rows), kind, dtype=np.intp),
        np.full((len(rows), 3), np.nan),
    )
