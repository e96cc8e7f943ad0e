"""What else a foot does as it slides: one with weight on it neither swivels nor is lifted."""

from __future__ import annotations

import numpy as np

from kinelint.anatomy.plants import Plant
from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Ints
from kinelint.kinematics.slides import SLOW_ENDS_S, Excursion, parts_of

WINDOW_S = 0.1
_ENDS = ("heel", "ball")
# A foot goes while it has this share of the highest speed of its slide.
_GOES_SHARE = 0.3
# Part of a slide may turn or rise by this share of what all of it may.
_PART = 0.5


def moves_as_it_slides(plant: Plant, strayed: Excursion, swivel_deg: float, lift_mm: float) -> str:
    """What else the foot does as it slides, that a foot with weight on it does not; or ""."""
    speed = np.hypot(*rates.windowed_velocity(plant.fine_m, plant.fine_rate_hz, WINDOW_S))
    going = speed[strayed.first : strayed.last + 1]
    # A foot that slides and rolls off a little later is not lifted as it slides.
    inside = strayed.first + np.flatnonzero(going >= _GOES_SHARE * going.max())
    turned_deg, risen_mm = _turned_and_risen(plant, inside)
    if turned_deg > swivel_deg:
        return f"turning by {turned_deg:.0f}° as it does"
    return "lifted as it does" if risen_mm > lift_mm else ""


def glides_in_part(
    plant: Plant,
    strayed: Excursion,
    least_mm: float,
    swivel_deg: float,
    lift_mm: float,
) -> bool:
    """Whether a part of a slide is further than `least_mm`, and the foot does nothing else in it.

    A foot that glides and rolls off or swivels just before or after makes one slide of both.
    """
    wide = round(SLOW_ENDS_S * plant.fine_rate_hz)
    first, last = max(strayed.first - wide, 0), min(strayed.last + wide, plant.fine_m.shape[1] - 1)
    for start, end in parts_of(plant.fine_m, first, last, 0.001 * least_mm):
        turned_deg, risen_mm = _turned_and_risen(plant, np.arange(start, end + 1))
        if turned_deg <= _PART * swivel_deg and risen_mm <= _PART * lift_mm:
            return True
    return False


def _turned_and_risen(plant: Plant, inside: Ints) -> tuple[float, float]:
    """By how many degrees a foot turns, and how many mm its heel or ball rises."""
    at_m = plant.track.at_m
    heel, ball = (at_m[one][:, plant.fine_first + inside] for one in _ENDS)
    ahead = (ball - heel)[[0, 2]]
    turned = float(np.ptp(np.unwrap(np.arctan2(ahead[0], ahead[1]))))
    return float(np.degrees(turned)), 1000.0 * max(float(np.ptp(path[1])) for path in (heel, ball))
