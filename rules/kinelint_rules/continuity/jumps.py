"""Where a series of turns or places jumps between two frames, against how it moves around them.

A step is what changes from one frame to the next. Of a jump, the one step differs from those
beside it by the size of the jump, while no step around it differs from its own neighbours by
much: a fast move changes its speed over several frames. A pose that is off for one frame only is
a step out and a step back, and its size is how far off it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Bools, Floats, Ints

# Steps beside a jump that its own size reaches into.
_TOUCHED = 2


@dataclass(frozen=True, eq=False)
class Jumps:
    """Steps that stand out.

    Attributes:
        rows: ``(jumps,)`` which series.
        frames: ``(jumps,)`` the frame that the step leads to.
        size: ``(jumps,)`` how far it differs from the steps beside it.
        around: ``(jumps,)`` the most that any step near it does, itself left out.
        beside: ``(jumps,)`` the longer of the steps beside it.
        off: ``(jumps, 3)`` the difference as a vector.
        single: ``(jumps,)`` whether the next step goes back.
    """

    rows: Ints
    frames: Ints
    size: Floats
    around: Floats
    beside: Floats
    off: Floats
    single: Bools

    def at_least(self, share_around: float, share_beside: float) -> Floats:
        """``(jumps,)`` the size that counts as a jump in a motion as quick as the one around."""
        return np.maximum(share_around * self.around, share_beside * self.beside)


def turn_jumps(q: Floats, rows: Ints, least_deg: float, reach_frames: int) -> Jumps:
    """Jumps of some of the rotations ``(series, 4, frames)``; sizes in degrees.

    Args:
        q: unit; the sign of a quaternion does not matter.
        rows: which series.
        least_deg: of a jump.
        reach_frames: how far around a step the motion counts.
    """
    # A step of less than half a jump cannot be one; half the turn, once more for the quaternion.
    dots = np.abs(np.einsum("jcf,jcf->jf", q[..., 1:], q[..., :-1]))
    quick = dots < np.cos(np.radians(least_deg / 4.0))
    which, steps = np.nonzero(quick[rows])
    return _jumps(_TurnSteps(q), rows[which], steps, least_deg, reach_frames)


def place_jumps(places: Floats, least: float, reach_frames: int) -> Jumps:
    """Jumps of places ``(rows, 3, frames)``; sizes in their unit."""
    length = np.linalg.norm(np.diff(places, axis=-1), axis=-2)
    rows, steps = np.nonzero(length > least / 2.0)
    return _jumps(_PlaceSteps(places), rows, steps, least, reach_frames)


class _TurnSteps:
    """Steps of rotations as vectors in degrees, in the axes of the joint."""

    def __init__(self, q: Floats) -> None:
        self.q = q
        self.count = q.shape[-1] - 1

    def __call__(self, rows: Ints, steps: Ints) -> Floats:
        """``(..., 3)`` of some steps; those beyond the ends are NaN."""
        inside = (steps >= 0) & (steps < self.count)
        at = np.clip(steps, 0, self.count - 1)
        a, b = self.q[rows, :, at], self.q[rows, :, at + 1]
        turned = rotations.multiply(
            rotations.conjugate(a.reshape(-1, 4).T), b.reshape(-1, 4).T
        ).T.reshape(b.shape)
        turned = turned * np.where(turned[..., :1] < 0.0, -1.0, 1.0)
        sine = np.linalg.norm(turned[..., 1:], axis=-1, keepdims=True)
        angle = np.degrees(2.0 * np.arctan2(sine, turned[..., :1]))
        vectors = turned[..., 1:] / np.maximum(sine, 1e-12) * angle
        return np.where(inside[..., None], vectors, np.nan)


class _PlaceSteps:
    """Steps of places as vectors."""

    def __init__(self, places: Floats) -> None:
        self.steps = np.diff(places, axis=-1)
        self.count = self.steps.shape[-1]

    def __call__(self, rows: Ints, steps: Ints) -> Floats:
        """``(..., 3)`` of some steps; those beyond the ends are NaN."""
        inside = (steps >= 0) & (steps < self.count)
        vectors = self.steps[rows, :, np.clip(steps, 0, self.count - 1)]
        return np.where(inside[..., None], vectors, np.nan)


def _jumps(
    steps_of: _TurnSteps | _PlaceSteps, rows: Ints, steps: Ints, least: float, reach: int
) -> Jumps:
    near = steps_of(rows[:, None], steps[:, None] + np.arange(-1, 3))
    before, own, after, later = (near[:, i] for i in range(4))
    off, beside = _against(own, before, after)
    # A pose that is off for one frame: the next step takes all of it back.
    expected = _mean(before, later)
    spike = (own - np.nan_to_num(after)) / 2.0
    gone_back = np.linalg.norm(own + after - 2.0 * expected, axis=-1)
    size_of_spike = np.linalg.norm(spike, axis=-1)
    single = gone_back < 0.5 * size_of_spike
    off = np.where(single[:, None], spike, off)
    beside = np.where(single, _longer(before, later), beside)
    size = np.linalg.norm(off, axis=-1)
    kept = (size > least) & (size > beside)
    rows, steps, off, size = rows[kept], steps[kept], off[kept], size[kept]
    single, beside = single[kept], beside[kept]
    around = _around(steps_of, rows, steps, single, reach)
    left = ~_taken_back(rows, steps, single)
    return Jumps(
        rows[left],
        steps[left] + 1,
        size[left],
        around[left],
        beside[left],
        off[left],
        single[left],
    )


def _taken_back(rows: Ints, steps: Ints, single: Bools) -> Bools:
    """The step back of a pose that was off for one frame is no jump of its own."""
    out = {(row, step + 1) for row, step in zip(rows[single], steps[single], strict=True)}
    return np.array([(row, step) in out for row, step in zip(rows, steps, strict=True)], np.bool_)


def _against(own: Floats, before: Floats, after: Floats) -> tuple[Floats, Floats]:
    """How steps differ from the mean of those beside them, and the longer of these."""
    return own - _mean(before, after), _longer(before, after)


def _mean(one: Floats, other: Floats) -> Floats:
    """Of two vectors; the one that is there at the ends; zero if neither is."""
    mean = 0.5 * (one + other)
    mean = np.where(np.isnan(mean), np.where(np.isnan(one), other, one), mean)
    return np.asarray(np.nan_to_num(mean))


def _longer(one: Floats, other: Floats) -> Floats:
    lengths = np.linalg.norm(np.stack((one, other)), axis=-1)
    return np.asarray(np.max(np.nan_to_num(lengths), axis=0))


def _around(
    steps_of: _TurnSteps | _PlaceSteps, rows: Ints, steps: Ints, single: Bools, reach: int
) -> Floats:
    """The most that steps around differ from their own neighbours.

    What a jump itself reaches into is left out, and so is the largest other difference with what
    it reaches into: a pose that is off for a few frames jumps there and back.
    """
    apart = np.arange(-reach - 1, reach + 2)
    near = steps_of(rows[:, None], steps[:, None] + apart)
    rough, _ = _against(near[:, 1:-1], near[:, :-2], near[:, 2:])
    rough = np.nan_to_num(np.linalg.norm(rough, axis=-1))
    apart = apart[1:-1]
    own = (apart > -_TOUCHED) & (apart < _TOUCHED)
    rough[:, own] = 0.0
    rough[np.ix_(single, apart == _TOUCHED)] = 0.0
    largest = np.argmax(rough, axis=1)
    rough[np.abs(apart[None, :] - apart[largest][:, None]) < _TOUCHED] = 0.0
    return np.asarray(np.max(rough, axis=1, initial=0.0))
