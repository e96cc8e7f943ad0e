"""Where the frame would be that a loop leaves out, and how far motion strays from such forecasts.

A loop that stops a frame short takes one step from its last frame to its first that no other frame
shows. The steps on both sides foretell it. A foot that lands or an arm that snaps belies that by
many degrees at 24 frames a second, wherever the seam lies: so what is left over at the seam is
held against what the same joint leaves over, the same way, within the clip.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion

# A step from the two on either side: by the cubic through all four (Lagrange's weights).
_NEAR, _FAR = 4.0 / 6.0, -1.0 / 6.0
# Steps that differ by less than this are even: turns in radians, places in metres.
EVEN_RAD, EVEN_M = 0.035, 0.008
# Single frames of a noisy capture do not tell what is usual: one in a hundred is left out.
_MOST_PLACES_SHARE = 0.99
# Long clips tell enough by this many of their places.
_MOST_PLACES = 4096
# To the frames around a step: two steps before it, two after.
_AROUND = (-2, -1, 0, 1, 2, 3)


@dataclass(frozen=True)
class Steps:
    """Four steps ``(n, 3)`` around one that is not known: two before it, two after it."""

    before: tuple[Floats, Floats]
    after: tuple[Floats, Floats]

    @property
    def foretold(self) -> Floats:
        """``(n, 3)`` the step between them."""
        (b2, b1), (a1, a2) = self.before, self.after
        return np.asarray(_NEAR * (b1 + a1) + _FAR * (b2 + a2))

    def uneven(self, even: float) -> Floats:
        """``(n,)`` by how much they differ: the more, the less they foretell."""
        (b2, b1), (a1, a2) = self.before, self.after
        return even + _sizes(b1 - b2) + _sizes(a1 - b1) + _sizes(a2 - a1)


@dataclass(frozen=True)
class Left:
    """What forecasts leave over, ``(n, 3)``, and how uneven the steps around were, ``(n,)``."""

    over: Floats
    uneven: Floats

    def usual(self, over: Floats, uneven: float) -> float:
        """How much is left over the same way as `over` ``(3,)`` where steps are as uneven."""
        if not len(self.over):
            return 0.0
        way = over / max(float(np.linalg.norm(over)), 1e-12)
        times = np.abs(self.over @ way) / self.uneven
        return uneven * float(np.quantile(times, _MOST_PLACES_SHARE))

    def midway(self, uneven: float) -> float:
        """How much is left over, whichever way, in the middle of the clip: half a cycle away."""
        count = len(self.over)
        middle = slice(max((count - 1) // 2, 0), count // 2 + 1)
        times = _sizes(self.over[middle]) / self.uneven[middle]
        return uneven * float(times.max(initial=0.0))


def turn_steps(frames: tuple[Floats, ...]) -> Steps:
    """Steps of turns, from six frames ``(n, 4)``: around that from the third to the fourth."""
    a, b, c, d, e, f = frames
    return Steps((between(a, b), between(b, c)), (between(d, e), between(e, f)))


def place_steps(frames: tuple[Floats, ...]) -> Steps:
    """Steps of places, from six frames ``(n, 3)``."""
    a, b, c, d, e, f = frames
    return Steps((b - a, c - b), (e - d, f - e))


def turns_left(motion: Motion, joint: int) -> Left:
    """What the joint's turns leave over within the clip, in its parent's axes."""
    root = int(motion.clip.skeleton.parents[joint]) < 0
    turns = (motion.orientations if root else motion.clip.rotations)[joint].T
    frames = _around(turns)
    steps = turn_steps(frames)
    over = between(turned(steps.foretold, frames[2]), frames[3])
    return Left(over, steps.uneven(EVEN_RAD))


def places_left(motion: Motion, joint: int) -> Left:
    """What the joint's places leave over within the clip."""
    frames = _around(motion.positions_m[joint].T)
    steps = place_steps(frames)
    return Left(frames[3] - frames[2] - steps.foretold, steps.uneven(EVEN_M))


def _around(values: Floats) -> tuple[Floats, ...]:
    """Six frames around each step that has two steps before and two after it within the clip."""
    every = np.arange(2, len(values) - 3)
    at = every[:: len(every) // _MOST_PLACES + 1]
    return tuple(values[at + k] for k in _AROUND)


def between(a: Floats, b: Floats) -> Floats:
    """``(n, 3)`` rotation vectors from ``(n, 4)`` to ``(n, 4)``, in the parent's axes."""
    q = rotations.multiply(b.T, rotations.conjugate(a.T)).T
    q = np.where(q[:, :1] < 0, -q, q)
    sine = np.linalg.norm(q[:, 1:], axis=1, keepdims=True)
    angle = 2.0 * np.arctan2(sine, q[:, :1])
    return np.asarray(q[:, 1:] * angle / np.where(sine > 1e-12, sine, 1.0))


def turned(by: Floats, q: Floats) -> Floats:
    """``(n, 4)`` rotations turned on by ``(n, 3)`` rotation vectors."""
    angle = np.linalg.norm(by, axis=1)
    axis = by / np.where(angle > 1e-12, angle, 1.0)[:, None]
    return np.asarray(rotations.multiply(rotations.from_axis_angle(axis.T, angle), q.T).T)


def _sizes(vectors: Floats) -> Floats:
    return np.asarray(np.sqrt(np.einsum("ni,ni->n", vectors, vectors)))
