"""A floor as a plane, level or gently sloping, and the slope of one that feet stand on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kinelint.kinematics.arrays import Floats, Ints

# A captured volume may be levelled a degree or two badly; a ramp or stairs are no such thing.
_MOST_SLOPE = float(np.tan(np.radians(2.5)))
_LEAST_PLANTS = 4
# So few plants tell of gentle slopes only: a part that was lowered looks like a steep one.
_SURE_PLANTS = 8
_FEW_SLOPE = float(np.tan(np.radians(1.2)))
_LEAST_SPREAD_M = 1.0
_LEAST_PAIR_M = 0.5
# Heights as close as this need no slope.
_LEVEL_M = 0.0025
# A slope is believed if it brings the heights this much closer together, most of them this close.
# Most and no more: in a short walk one foot that sinks in is a good part of all plants.
_IMPROVES = 0.6
_CLOSE_M = 0.012
_CLOSE_SHARE = 0.55


@dataclass(frozen=True, slots=True)
class Plane:
    """A floor: so high at one place, and how it rises from there in x and z."""

    height_m: float
    slope: tuple[float, float] = (0.0, 0.0)
    about_m: tuple[float, float] = (0.0, 0.0)

    def at(self, x: Floats, z: Floats) -> Floats:
        """Its height under points (x, z)."""
        rise = self.slope[0] * (x - self.about_m[0]) + self.slope[1] * (z - self.about_m[1])
        return np.asarray(self.height_m + rise)

    @property
    def slope_deg(self) -> float:
        """How steep it is."""
        return float(np.degrees(np.arctan(np.hypot(*self.slope))))


def slope_of(feet_m: Sequence[Floats]) -> Plane:
    """The plane of height 0 that slopes as the points do; level unless they clearly slope.

    The slope is the median of the slopes of all pairs (Theil 1950, Sen 1968), along the line the
    points spread over most and then across it: a few points too low or too high do not tilt it.
    Pairs are of one foot, since the two may be captured at different heights.

    Args:
        feet_m: for each foot ``(3, n)``, one for each time that it stood.
    """
    x_z = np.concatenate([points[[0, 2]] for points in feet_m], axis=1)
    y = np.concatenate([points[1] for points in feet_m])
    foot = np.repeat(np.arange(len(feet_m)), [points.shape[1] for points in feet_m])
    about = np.median(x_z, axis=1, keepdims=True) if y.size else np.zeros((2, 1))
    level = Plane(0.0, (0.0, 0.0), (float(about[0, 0]), float(about[1, 0])))
    if y.size < _LEAST_PLANTS:
        return level
    _, axes = np.linalg.eigh((x_z - about) @ (x_z - about).T)
    slope, rest = np.zeros(2), y
    for axis in axes.T[::-1]:
        along = axis @ (x_z - about)
        if np.ptp(along) >= _LEAST_SPREAD_M:
            steep = _median_slope(along, rest, foot)
            slope += steep * axis
            rest = rest - steep * along
    few = y.size < _SURE_PLANTS and np.hypot(*slope) > _FEW_SLOPE
    if few or not _believable(slope, _centred(y, foot), _centred(rest, foot)):
        return level
    return Plane(0.0, (float(slope[0]), float(slope[1])), level.about_m)


def _median_slope(along: Floats, heights: Floats, foot: Ints) -> float:
    first, second = np.triu_indices(along.size, 1)
    run = along[second] - along[first]
    far = (np.abs(run) >= _LEAST_PAIR_M) & (foot[first] == foot[second])
    return (
        float(np.median((heights[second] - heights[first])[far] / run[far])) if far.any() else 0.0
    )


def _centred(heights: Floats, foot: Ints) -> Floats:
    centred = np.array(heights)
    for one in np.unique(foot):
        centred[foot == one] -= np.median(heights[foot == one])
    return centred


def _believable(slope: Floats, level: Floats, tilted: Floats) -> bool:
    if not 0.0 < np.hypot(*slope) <= _MOST_SLOPE:
        return False
    apart = np.median(np.abs(level))
    closer = apart > _LEVEL_M and np.median(np.abs(tilted)) < _IMPROVES * apart
    return bool(closer and np.mean(np.abs(tilted) < _CLOSE_M) >= _CLOSE_SHARE)
