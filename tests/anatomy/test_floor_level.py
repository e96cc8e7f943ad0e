"""A part of a clip that was lowered as a whole makes no floor, unless it is the greater part."""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.floor_level import floor_level
from kinelint.anatomy.ground import ground
from kinelint.assemble import figure_of
from kinelint.cue import Cue
from kinelint.finding import Finding, Level
from kinelint.intake import prepare
from kinelint.kinematics import rotations
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint.synthetic import motion, person_figure
from kinelint.synthetic_walk import STATURE_M, standing_on
from kinelint_rules.feet.ground_contact import GroundContact, GroundContactSettings
from real_data import real

RATES_HZ = (30.0, 60.0, 120.0)
WIDTH_M = 0.025
# Files whose feet make stands of a moment (2 frames), short stands, and long ones.
CAPTURES = [
    ("bvh/cmu_14_14_jumping_jacks_30fps.bvh", 0.1, 0.43),
    ("bvh/accad_male1_a5_pickupbox.bvh", 0.4, 1.9),
    ("bvh/cmu_13_26_gestures_trim1000.bvh", 0.5, 3.4),
    ("bvh/accad_male2_e8_bounce.bvh", 4.6, 7.2),
]


def down(times_s, first_s, last_s, by_m):
    """``(3, frames)`` lower by so much within 0.1 s after `first_s`, back before `last_s`."""
    share = np.clip(np.minimum(times_s - first_s, last_s - times_s) / 0.1, 0.0, 1.0)
    return np.stack((0.0 * share, -by_m * share, 0.0 * share))


def bare(heights_m, rate):
    """A person stands at these heights; the rest pose stands on no floor."""
    shifts = {"pelvis": np.stack((0.0 * heights_m, heights_m, 0.0 * heights_m))}
    clip = motion(frames=heights_m.size, sample_rate_hz=rate, shifts_m=shifts).clip
    return Motion(replace(clip, up_axis=None), person_figure(STATURE_M), Cue())


def sunk(made):
    every = GroundContact.check(made, GroundContactSettings())
    return [one for one in every if isinstance(one, Finding) and one.level is Level.ERROR]


@pytest.mark.parametrize("rate", RATES_HZ)
@pytest.mark.parametrize("by_m", [0.0625, 0.1])
@pytest.mark.parametrize("seconds", [0.5, 2.0, 4.0])
def test_a_lowered_part_is_in_the_floor(seconds, by_m, rate):
    times = np.arange(round(10.0 * rate)) / rate
    made = bare(down(times, 3.0, 3.0 + seconds + 0.2, by_m)[1], rate)
    assert made.derive(ground).height_m == pytest.approx(0.0, abs=0.004)
    found = sunk(made)
    assert found
    for one in found:
        assert one.measured == pytest.approx(1000.0 * by_m, abs=5.0)
        assert 2.9 * rate <= one.span.first <= one.span.last <= (3.3 + seconds) * rate


def test_the_note_names_both_levels():
    times = np.arange(600) / 60.0
    text = bare(down(times, 3.0, 7.0, 0.1)[1], 60.0).derive(ground).note.text
    assert "39 % of the time they stand 100 mm lower" in text
    raised = bare(-down(times, 3.0, 7.0, 0.1)[1], 60.0).derive(ground)
    assert raised.height_m == pytest.approx(0.0, abs=0.004)
    assert "they stand 100 mm higher" in raised.note.text


def test_the_greater_part_makes_the_floor():
    times = np.arange(600) / 60.0
    found = bare(down(times, 2.0, 9.0, 0.1)[1], 60.0).derive(ground)
    assert found.height_m == pytest.approx(-0.1, abs=0.004)


@pytest.mark.parametrize("up_m", [0.16, 0.3])
def test_a_longer_stand_on_a_stair_makes_no_floor(up_m):
    times = np.arange(600) / 60.0
    found = bare(-down(times, 4.0, 11.0, up_m)[1], 60.0).derive(ground)
    assert found.height_m == pytest.approx(0.0, abs=0.004)
    assert "of the time" not in found.note.text


def test_many_short_stands_outweigh_a_long_one_as_long():
    low, high = np.full(60, -0.06), np.repeat(0.0, 55)
    found = floor_level(np.concatenate((low, high)), np.array([-0.06] + 8 * [0.0]), WIDTH_M)
    assert found.height_m == 0.0
    assert found.other_m == pytest.approx(-0.06)
    assert found.other_share == pytest.approx(60 / 115)
    one_each = floor_level(np.concatenate((low, high)), np.array([-0.06, 0.0]), WIDTH_M)
    assert one_each.height_m == pytest.approx(-0.06)


def test_many_moments_do_not_outweigh_most_of_the_time():
    heights = np.concatenate((np.full(70, -0.06), np.zeros(30)))
    found = floor_level(heights, np.array([-0.06] + 30 * [0.0]), WIDTH_M)
    assert (found.height_m, found.other_m) == (pytest.approx(-0.06), pytest.approx(0.06))


def test_heights_all_over_a_slope_are_no_two_levels():
    heights = np.linspace(-0.06, 0.06, 500)
    found = floor_level(heights, heights[::50], WIDTH_M)
    assert found.other_m is None
    assert found.height_m < -0.03


@pytest.mark.parametrize("by_m", [0.0625, 0.1])
@pytest.mark.parametrize(("name", "first_s", "last_s"), CAPTURES)
def test_a_lowered_part_of_a_capture_is_in_the_floor(name, first_s, last_s, by_m):
    clip = prepare(read(real(name)).clips[0]).clip
    figure = figure_of((clip,))
    whole = Motion(clip, figure, Cue())
    shift = down(whole.times_s, first_s, last_s, by_m) / figure.metres_per_unit
    translations = np.array(clip.translations)
    translations[0] += rotations.unrotate(figure.to_y_up, shift)
    lowered = Motion(replace(clip, translations=translations), figure, Cue())
    assert lowered.derive(ground).height_m == pytest.approx(
        whole.derive(ground).height_m, abs=0.008
    )
    middle = [
        one
        for one in sunk(lowered)
        if one.span.first / clip.sample_rate_hz < last_s
        and one.span.last / clip.sample_rate_hz > first_s
    ]
    # Feet of a capture dip by some centimetres of their own.
    assert 900.0 * by_m <= max(one.measured for one in middle) <= 1000.0 * by_m + 50.0


@pytest.mark.parametrize("spread_m", [0.001, 0.004])
def test_levels_less_than_a_hand_apart_are_two_if_they_are_tight(spread_m):
    """A third of the time 37.5 mm lower: seen among heights that scatter little, else one floor."""
    noise = spread_m * np.random.default_rng(1).standard_normal(900)
    heights = np.where(np.arange(900) < 300, -0.0375, 0.0) + noise
    stands = np.array([-0.0375, 0.0, 0.0])
    found = floor_level(heights, stands, WIDTH_M)
    assert found.height_m == pytest.approx(0.0, abs=0.002)
    assert found.other_m == pytest.approx(-0.0375, abs=0.002)
    blurred = heights + 0.010 * np.random.default_rng(2).standard_normal(900)
    assert floor_level(blurred, stands, WIDTH_M).other_m is None


@pytest.mark.parametrize("apart_m", [0.0, 0.020, 0.035])
def test_a_lowered_part_is_seen_though_the_feet_are_captured_apart(apart_m):
    """By 62.5 mm for a third of the time."""
    times = np.arange(600) / 60.0
    made = standing_on(
        {"left": np.stack((0 * times, 0 * times + apart_m, 0 * times))}, frames=600, drop_m=0.14
    )
    moved = np.array(made.clip.translations)
    moved[0] += down(times, 3.0, 6.5, 0.0625)
    clip = replace(made.clip, up_axis=None, translations=moved)
    found = sunk(Motion(clip, person_figure(STATURE_M), Cue()))
    assert {part for one in found for part in one.parts} == {"left_foot", "right_foot"}
    for one in found:
        assert one.measured == pytest.approx(62.5, abs=max(4.0, 1000.0 * apart_m / 2.0 - 5.0))
