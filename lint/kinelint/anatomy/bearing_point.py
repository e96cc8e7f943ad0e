"""Which point of a sole bears, from heel to ball, as a foot stands, rolls, turns and glides."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from kinelint.anatomy.feet import WINDOW_S
from kinelint.anatomy.tracks import Track
from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Bools, Floats, Ints, frozen, runs_of
from kinelint.kinematics.slides import directions

# Points tried between heel (0) and ball (1).
_ALONG = (0.0, 0.25, 0.5, 0.75, 1.0)
# They are told apart by how far they stray along so many directions.
_DIRECTIONS = 8
# A sole turns on the spot if its ends move this differently (some 40 degrees a second).
_TURNS_M_PER_S = 0.15
# A sole reaches a little behind its heel point and, with the toes, before its ball.
_REACH = (-0.15, 1.3)
# An end of the sole that has risen this much over the other, against the flat foot, bears nothing.
_RISEN_M = 0.012
# A flat foot glides while both ends go one way this fast; the whole foot does if the slower end
# goes this share of the way of the other, and the ends go alike if it is so little less.
_GLIDES_M_PER_S = 0.03
_ALIKE, _SAME_M = 0.6, 0.001
# Of two ends the one bears whose height changes less by this much.
_STEADIER_M = 0.005
_HEEL, _BALL, _FLAT, _TURN = 1, 2, 3, 4


def ends_of(track: Track) -> Floats:
    """``(2, 2, samples)`` (x, z) of heel and ball."""
    return np.stack([track.travelled_m[point][[0, 2]] for point in ("heel", "ball")])


def bearing_point(track: Track, scale: float, heel: Bools, ball: Bools) -> tuple[Bools, Floats]:
    """When the sole bears and where: 0 at the heel to 1 at the ball, both ``(samples,)``.

    While both ends bear, the foot may turn on any point of the sole, so the one that moves least
    is taken: over the whole time where the foot hardly turns, and from moment to moment where it
    does. A foot that glides is followed where it goes furthest.

    Args:
        track: of the foot.
        scale: of the figure's leg.
        heel: ``(samples,)`` true where it bears.
        ball: the same.
    """
    ends = ends_of(track)
    velocity = rates.windowed_velocity(ends, track.sample_rate_hz, WINDOW_S)
    apart = velocity[1] - velocity[0]
    turning = np.hypot(apart[0], apart[1]) > _TURNS_M_PER_S * scale
    kind = np.where(heel & ball, np.where(turning, _TURN, _FLAT), heel * _HEEL + ball * _BALL)
    tilt_m = _tilt_m(track.above_m, heel & ball)
    kind[(kind == _FLAT) & (tilt_m > _RISEN_M * scale)] = _BALL
    kind[(kind == _FLAT) & (tilt_m < -_RISEN_M * scale)] = _HEEL
    along = np.where(kind == _BALL, 1.0, 0.0)
    along[kind == _TURN] = _stillest(velocity[..., kind == _TURN])
    _stand(along, kind == _FLAT, ends)
    heights = np.stack([track.above_m[point] for point in ("heel", "ball")])
    _glide(along, kind == _FLAT, ends, velocity, heights, scale)
    return kind > 0, frozen(along)


def _tilt_m(above: Mapping[str, Floats], both: Bools) -> Floats:
    """``(samples,)`` how much higher the heel is than the ball, against the flat foot.

    A heel is near the floor long after it has left it, and swings about the ball meanwhile: it
    would hide the slide of the ball.
    """
    tilt_m = above["heel"] - above["ball"]
    return np.asarray(tilt_m - np.median(tilt_m[both])) if both.any() else 0.0 * tilt_m


def _stillest(velocity: Floats) -> Floats:
    """The point of a rigid sole that moves least at each moment, from ``(2, 2, n)`` of its ends."""
    heel, apart = velocity[0], velocity[1] - velocity[0]
    nearest = -np.sum(heel * apart, axis=0) / np.maximum(np.sum(apart * apart, axis=0), 1e-12)
    return np.asarray(np.clip(nearest, *_REACH))


def _stand(along: Floats, flat: Bools, ends: Floats) -> None:
    """Fills in the point that strays least over each stretch of a flat foot."""
    inside, starts, lengths = _stretches(flat)
    if starts.size:
        least = np.argmin(_extents(ends[..., inside], starts, _ALONG), axis=0)
        along[inside] = np.repeat(np.array(_ALONG)[least], lengths)


def _glide(
    along: Floats, flat: Bools, ends: Floats, velocity: Floats, heights: Floats, scale: float
) -> None:
    """Lets the end tell which goes further where the whole foot glides.

    A foot rolls and drifts a little as it slides, so that some point of it always slides less;
    but the whole of it bears. Where an end is lifted meanwhile, the other one tells.
    """
    limit = (_GLIDES_M_PER_S * scale) ** 2
    goes = flat & (np.einsum("if,if->f", velocity[0], velocity[1]) > 0.0)
    for end in velocity:
        goes &= np.einsum("if,if->f", end, end) > limit
    inside, starts, lengths = _stretches(goes)
    if not starts.size:
        return
    sizes = _extents(ends[..., inside], starts, (0.0, 1.0))
    high = heights[:, inside]
    uneven = np.maximum.reduceat(high, starts, axis=1) - np.minimum.reduceat(high, starts, axis=1)
    lifted = np.abs(uneven[0] - uneven[1]) > _STEADIER_M * scale
    less, more = sizes.min(axis=0), sizes.max(axis=0)
    told = np.where(lifted, np.argmin(uneven, axis=0), np.argmax(sizes, axis=0))
    use = np.repeat(lifted | ((less >= _ALIKE * more) & (less < more - _SAME_M)), lengths)
    along[inside[use]] = np.repeat(told, lengths)[use]


def _stretches(mask: Bools) -> tuple[Ints, Ints, Ints]:
    """All samples of a mask, where among these each stretch begins, and how long it is."""
    first, last = runs_of(mask)
    lengths = last - first + 1
    return np.flatnonzero(mask), np.cumsum(lengths) - lengths, lengths


def _extents(ends: Floats, starts: Ints, shares: tuple[float, ...]) -> Floats:
    """``(shares, stretches)`` how far points between heel and ball stray in each stretch."""
    sizes = np.zeros((len(shares), starts.size))
    for heel, ball in zip(*(directions(_DIRECTIONS) @ end for end in ends), strict=True):
        for number, share in enumerate(shares):
            at = heel if share == 0.0 else ball if share == 1.0 else heel + share * (ball - heel)
            size = np.maximum.reduceat(at, starts) - np.minimum.reduceat(at, starts)
            np.maximum(sizes[number], size, out=sizes[number])
    return sizes
