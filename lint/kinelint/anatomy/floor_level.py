"""On which of two levels the floor is, where a part of a clip was lowered or raised as a whole."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import level
from kinelint.kinematics.arrays import Floats

# Levels nearer than this are one floor, noise and slope and all; parts of `width_m`.
_LEAST_APART = 1.6
# Unless they are this many times as far apart as heights spread about them.
_TIGHT = 4.0
# Feet that stand further apart climb: a low stair riser is some 0.15 m, common practice. Stairs do
# not shrink with the figure.
_MOST_APART_M = 0.13
# Two levels and little else: feet on a slope or on rough ground stand at every height.
_BOTH = 0.85
# A level that holds less of the time is a dip or a hop, and no second level.
_LEAST_SHARE = 0.15
# However many stands it has, a level that holds less of the time is not the floor.
_LEAST_OF_TIME = 0.4


@dataclass(frozen=True, slots=True)
class FloorLevel:
    """Where feet stand.

    Attributes:
        height_m, spread_m: of the level that is the floor: median, median absolute deviation.
        other_m: how much higher the other level is, lower is negative; None if there is none.
        other_share: of the time for which feet stand on either.
    """

    height_m: float
    spread_m: float
    other_m: float | None = None
    other_share: float = 0.0


def floor_level(heights_m: Floats, stands_m: Floats, width_m: float) -> FloorLevel:
    """The lowest level on which feet stand for long, or one a little higher with most stands.

    A part of a clip that was lowered as a whole has feet that stand still too low. It makes the
    floor only if it has the greater part: of the time that feet stand and of the stands, on
    average, since feet that hop or step fast stand for a moment each.

    Args:
        heights_m: ``(n,)`` of a standing foot at equal steps of time.
        stands_m: ``(stands,)`` one for each time that a foot stood.
        width_m: heights within it are one level.
    """
    low, spread = level(heights_m, width_m)
    above = heights_m[heights_m > low + width_m]
    if not above.size:
        return FloorLevel(low, spread)
    high, high_spread = level(above, width_m, 1.0)
    times, counts = (_holds(one, (low, high), width_m) for one in (heights_m, stands_m))
    tight = high - low >= max(width_m, _TIGHT * (spread + high_spread))
    apart = (tight or high - low >= _LEAST_APART * width_m) and high - low <= _MOST_APART_M
    if not apart or times.sum() < _BOTH * heights_m.size:
        return FloorLevel(low, spread)
    of_time = float(times[1] / times.sum())
    of_stands = float(counts[1] / counts.sum()) if counts.any() else of_time
    if of_time > _LEAST_OF_TIME and of_time + of_stands > 1.0:
        return _with(high, high_spread, low - high, 1.0 - of_time)
    return _with(low, spread, high - low, of_time)


def _with(height_m: float, spread_m: float, other_m: float, share: float) -> FloorLevel:
    if share < _LEAST_SHARE:
        return FloorLevel(height_m, spread_m)
    return FloorLevel(height_m, spread_m, other_m, share)


def _holds(heights_m: Floats, levels_m: tuple[float, float], width_m: float) -> Floats:
    """``(2,)`` how many of the heights are on each level."""
    middle = 0.5 * sum(levels_m)
    near = [np.abs(heights_m - one) <= width_m for one in levels_m]
    lower = heights_m <= middle
    return np.array([np.sum(near[0] & lower), np.sum(near[1] & ~lower)], dtype=np.float64)
