"""Which point of a sole is followed as a foot slides, rolls and turns; expected by construction."""

import numpy as np
import pytest

from kinelint.anatomy.bearing_point import bearing_point
from kinelint.anatomy.plants import Plant
from kinelint.anatomy.tracks import Track
from kinelint.kinematics.slides import extent
from kinelint.synthetic_walk import ramp
from kinelint_rules.feet.manner import glides_in_part, moves_as_it_slides

RATE_HZ, FRAMES = 120.0, 240
LENGTH_M = 0.18
STILL = np.zeros(FRAMES)
# Half of the samples in the middle: 0.25 s.
GOES = ramp(FRAMES, 100, 130)


def track(heel, ball):
    """Of a left foot: ``(3, FRAMES)`` metres, the ball in front (+Z) at rest."""
    ahead = np.array([[0.0], [0.0], [LENGTH_M]])
    ends = {"heel": np.stack(heel), "ball": np.stack(ball) + ahead}
    return Track("left", 1, RATE_HZ, ends, ends, {name: path[1] for name, path in ends.items()})


def plant(foot, down=None):
    """The path of the bearing point while both ends bear, put together as `plants` does."""
    both = np.ones(FRAMES, dtype=bool) if down is None else down
    _, along = bearing_point(foot, 1.0, both, both)
    step = [np.diff(foot.at_m[end][[0, 2]], axis=1, prepend=0.0) for end in ("heel", "ball")]
    moved = (1.0 - along) * step[0] + along * step[1]
    moved[:, 0] = 0.0
    return Plant(foot, 0, FRAMES - 1, np.cumsum(moved, axis=1), along)


def strays_mm(foot):
    return 1000.0 * float(extent(plant(foot).fine_m))


@pytest.mark.parametrize(("heel_m", "ball_m"), [(0.018, 0.026), (0.026, 0.018)])
def test_a_glide_is_as_far_as_the_end_that_goes_further(heel_m, ball_m):
    foot = track((heel_m * GOES, STILL, STILL), (ball_m * GOES, STILL, STILL))
    assert strays_mm(foot) == pytest.approx(26.0, abs=0.5)


def test_the_end_that_keeps_its_height_tells():
    """The ball slides by 26 mm as the heel is lifted by 10 mm, and drifts back: less than risen."""
    foot = track((0.010 * GOES, 0.010 * GOES, STILL), (0.026 * GOES, STILL, STILL))
    assert strays_mm(foot) == pytest.approx(26.0, abs=2.0)


@pytest.mark.parametrize("pivot", [0.0, 0.5, 1.0])
@pytest.mark.parametrize("seconds", [0.25, 1.5])
def test_a_turn_on_a_point_of_the_sole_is_no_slide(pivot, seconds):
    half = round(seconds * RATE_HZ / 2)
    angle = np.radians(15.0) * ramp(FRAMES, 120 - half, 120 + half)
    across, ahead = np.sin(angle), np.cos(angle) - 1.0
    ends = [
        (reach * across, STILL, reach * ahead)
        for reach in (-pivot * LENGTH_M, (1 - pivot) * LENGTH_M)
    ]
    assert strays_mm(track(*ends)) < 3.0


def test_a_glide_before_the_foot_rolls_off_is_one_by_itself():
    """75 mm flat on the floor; then 30 mm more as the heel rises by 60 mm."""
    late = ramp(FRAMES, 130, 160)
    way = 0.075 * GOES + 0.030 * late
    rolled = plant(track((way, 0.060 * late, STILL), (way, STILL, STILL)))
    [one] = rolled.slides(0.02, 0.021)
    assert one.size == pytest.approx(0.105, abs=0.002)
    assert moves_as_it_slides(rolled, one, 30.0, 25.0) == "lifted as it does"
    assert glides_in_part(rolled, one, 60.0, 30.0, 25.0)
    assert not glides_in_part(rolled, one, 90.0, 30.0, 25.0)


def test_a_foot_that_is_lifted_all_along_glides_in_no_part():
    dragged = plant(track((0.1 * GOES, 0.060 * GOES, STILL), (0.1 * GOES, STILL, STILL)))
    [one] = dragged.slides(0.02, 0.021)
    assert moves_as_it_slides(dragged, one, 30.0, 25.0)
    assert not glides_in_part(dragged, one, 60.0, 30.0, 25.0)
