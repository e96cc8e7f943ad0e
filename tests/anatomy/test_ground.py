"""Floors: declared, taken from the rest pose, estimated; and what must not fool an estimate."""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.contacts import contacts
from kinelint.anatomy.ground import depth_under, ground, surface_height
from kinelint.anatomy.plane import Plane, slope_of
from kinelint.cue import Cue, Surface
from kinelint.errors import NotApplicable
from kinelint.kinematics import rotations
from kinelint.motion import Motion
from kinelint.synthetic import bump, motion, person_figure
from kinelint.synthetic_walk import STATURE_M, standing_on, walk

CRATE = Surface("crate", 0.30, (-1.0, 0.5), (1.0, 1.5))


def bare(clip, cue=None, ground_m=None):
    """As from a file that says nothing of its axes: its rest pose stands on no floor."""
    return Motion(replace(clip, up_axis=None), person_figure(STATURE_M), cue or Cue(), ground_m)


def moved(clip, up_m):
    shift = np.array([[0.0], [up_m], [0.0]])
    translations = np.array(clip.translations)
    translations[0] += shift
    return replace(clip, translations=translations)


def test_the_cue_sheet_goes_before_the_policy():
    made = motion(cue=Cue(ground_m=0.02), ground_m=0.01).derive(ground)
    assert (made.height_m, made.estimated) == (0.02, False)
    assert motion(ground_m=0.01).derive(ground).height_m == 0.01


def test_a_format_with_axes_has_its_rest_pose_on_the_floor():
    found = walk().motion(ground_m=None).derive(ground)
    assert (found.height_m, found.estimated, found.rest_m) == (0.0, True, 0.0)
    assert "rest pose" in found.note.text


@pytest.mark.parametrize("up_m", [-0.4, 0.0, 2.5])
def test_an_estimate_follows_the_clip(up_m):
    """The made ankle is 0.0396 of stature high, ANSUR's 0.0415: 3 mm for 1.75 m."""
    found = bare(moved(walk().clip, up_m)).derive(ground)
    assert found.estimated
    assert found.height_m == pytest.approx(up_m, abs=0.004)
    assert found.spread_m < 1e-6


def test_one_foot_that_dips_makes_no_floor():
    down = 0.06 * bump(181, 60, 150)
    placed = standing_on({"left": np.stack((0 * down, -down, 0 * down))}, frames=181, drop_m=0.1)
    assert bare(placed.clip).derive(ground).height_m == pytest.approx(0.0, abs=0.004)


def test_a_jump_makes_no_floor():
    up = 0.4 * np.sin(np.linspace(0.0, np.pi, 41))
    height = np.concatenate((np.zeros(60), up, np.zeros(60)))
    clip = motion(frames=161, shifts_m={"pelvis": np.stack((0 * height, height, 0 * height))}).clip
    assert bare(clip).derive(ground).height_m == pytest.approx(0.0, abs=0.004)


def test_standing_on_a_declared_crate_makes_no_floor():
    up = np.concatenate((np.zeros(60), np.full(240, 0.30)))
    z = np.concatenate((np.zeros(60), np.full(240, 1.0)))
    clip = motion(frames=300, shifts_m={"pelvis": np.stack((0 * up, up, z))}).clip
    found = bare(clip, Cue(surfaces=(CRATE,)))
    assert found.derive(ground).height_m == pytest.approx(0.0, abs=0.004)
    feet = {(one.side, one.point) for one in found.derive(contacts) if one.last > 200}
    assert len(feet) == 4


def test_a_floor_that_slopes_by_a_degree_is_found():
    clip = walk(seconds=6.0).clip
    turn = rotations.about("X", np.radians(np.array([-1.0])))
    local = np.array(clip.rotations)
    local[0] = rotations.multiply(turn, local[0])
    shift = np.array(clip.translations)
    shift[0] = rotations.rotate(turn, shift[0])
    found = bare(replace(clip, rotations=local, translations=shift)).derive(ground)
    assert found.floor.slope_deg == pytest.approx(1.0, abs=0.05)
    assert found.spread_m < 0.001
    assert "slopes by 1.0 degrees" in found.note.text


def test_stairs_are_no_slope():
    z = np.linspace(0.0, 3.0, 7)
    stairs = np.stack((0 * z, 0.17 * np.arange(7), z))
    assert slope_of([stairs]).slope == (0.0, 0.0)


def test_one_plant_too_low_does_not_tilt_the_floor():
    z = np.linspace(0.0, 5.0, 6)
    y = np.array([0.0, 0.001, -0.001, 0.001, 0.0, -0.05])
    assert slope_of([np.stack((0 * z, y, z))]).slope_deg < 0.05


def test_a_clip_that_stands_off_its_declared_floor_says_how_far():
    found = moved(walk().clip, 0.07)
    off = Motion(found, person_figure(STATURE_M), Cue(), 0.0).derive(ground)
    assert off.height_m == 0.0
    assert off.offset_m == pytest.approx(0.07, abs=1e-6)


def test_a_pose_held_in_the_air_for_a_moment_is_no_floor():
    """Half a second still, 0.3 m up, of a figure whose rest pose stands on the scene's floor."""
    held = motion(frames=30, ground_m=None, shifts_m={"pelvis": [0.0, 0.3, 0.0]})
    found = held.derive(ground)
    assert (found.height_m, found.rest_m) == (0.0, 0.0)


def test_without_feet_and_without_a_word_there_is_no_floor():
    cue = Cue(not_captured=("left_foot", "right_foot"))
    with pytest.raises(NotApplicable):
        motion(cue=cue, ground_m=None).derive(ground)
    assert motion(cue=cue, ground_m=0.5).derive(ground).height_m == 0.5


def test_a_clip_in_which_no_foot_stands_has_a_guess_only():
    turns = {"pelvis": [("X", 90.0)]}
    lying = motion(turns=turns, shifts_m={"pelvis": [0.0, -0.8, 0.0]})
    assert bare(lying.clip).derive(ground).guessed


def test_surfaces_are_as_high_as_their_tops():
    made = motion(cue=Cue(surfaces=(CRATE,)))
    x, z = np.array([0.0, 0.0, 2.0]), np.array([0.0, 1.0, 1.0])
    assert surface_height(made, x, z).tolist() == [0.0, 0.30, 0.0]


def test_a_point_in_a_crate_is_as_deep_as_its_nearest_way_out():
    made = motion(cue=Cue(surfaces=(CRATE,)))
    points = np.array([[0.0, 0.28, 1.0], [0.0, 0.10, 0.52], [0.0, 0.35, 1.0], [0.0, -0.01, 0.0]]).T
    depths = depth_under(made, Plane(0.0), points)
    assert depths == pytest.approx([0.02, 0.02, -0.05, 0.01])
