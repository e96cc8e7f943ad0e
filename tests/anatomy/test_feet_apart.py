"""Feet that a capture has at different heights, on a floor that nobody declared.

Depths and heights are those that the made feet were given. Open captures stand 5 to 25 mm apart by
the joints of their toes (Carnegie Mellon's and Ohio State's motion databases).
"""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.ground import ground
from kinelint.cue import Cue
from kinelint.finding import Finding, Level
from kinelint.motion import Motion
from kinelint.synthetic import bump, person_figure
from kinelint.synthetic_walk import STATURE_M, walk
from kinelint_rules.feet.ground_contact import GroundContact

BASE = walk(seconds=5.0)
FRAMES = BASE.clip.frames


def undeclared(up_m, stance=None, depth_m=0.0, first_s=0.0, last_s=0.0):
    """A walk whose left foot is `up_m` too high, and one stance of which is pushed down."""
    rate = BASE.clip.sample_rate_hz
    shifts = {side: np.zeros((3, FRAMES)) for side in ("left", "right")}
    shifts["left"][1] = up_m
    if stance is not None:
        down = bump(FRAMES, round(first_s * rate), round(last_s * rate))
        shifts[stance.side][1] -= depth_m * down
    clip = replace(walk(seconds=5.0, shifts_m=shifts).clip, up_axis=None)
    return Motion(clip, person_figure(STATURE_M), Cue())


def findings(motion):
    settings = GroundContact.settings_type()
    return [one for one in GroundContact.check(motion, settings) if isinstance(one, Finding)]


def middle(side):
    """A stance in the middle of the walk."""
    return [one for one in BASE.stances if one.side == side][2]


@pytest.mark.parametrize("up_m", [0.0, 0.012, 0.020, -0.020])
def test_the_floor_is_halfway_and_each_foot_stands_on_it(up_m):
    moved = undeclared(up_m)
    assert moved.derive(ground).height_m == pytest.approx(up_m / 2.0, abs=0.006)
    assert not findings(moved)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("up_m", [0.0, 0.012, 0.020, -0.020])
@pytest.mark.parametrize(
    ("depth_m", "level"), [(0.025, Level.NOTE), (0.0375, Level.WARNING), (0.0625, Level.ERROR)]
)
def test_a_dip_of_either_foot_has_its_size(side, up_m, depth_m, level):
    one = middle(side)
    moved = undeclared(up_m, one, depth_m, one.flat_s - 0.05, one.heel_off_s + 0.05)
    [found] = findings(moved)
    assert found.parts == (f"{side}_foot",)
    assert found.level is level
    assert found.measured == pytest.approx(1000.0 * depth_m, abs=4.0)


def test_a_stance_that_is_sunk_from_first_to_last_is_measured_from_the_others():
    one = middle("left")
    moved = undeclared(0.020, one, 0.0375, one.heel_strike_s - 0.3, one.toe_off_s + 0.3)
    [found] = findings(moved)
    assert found.parts == ("left_foot",)
    assert found.level is Level.WARNING
    assert found.measured == pytest.approx(37.5, abs=6.0)
