"""What ground-contact finds, what it lets be, and what it says.

Depths are those that the made feet were given; sole and ankle heights are from ANSUR II (malleolus
height). Levels are common practice, no source, set where open captures (Carnegie Mellon's and Ohio
State's motion databases) stay below.
"""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.assemble import figure_of
from kinelint.cue import Cue, Surface
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level, Unjudged
from kinelint.intake import prepare
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint.synthetic import bump, motion, person_figure
from kinelint.synthetic_walk import STATURE_M, at_rest, ramp, standing_on, walk
from kinelint.testing import check_rule
from kinelint_rules.feet.ground_contact import GroundContact, GroundContactSettings
from real_data import real

RATES_HZ = (30.0, 60.0, 120.0)


def found(moved, **settings):
    return list(GroundContact.check(moved, GroundContactSettings(**settings)))


def findings(moved, **settings):
    return [one for one in found(moved, **settings) if isinstance(one, Finding)]


def dipping(size_m, seconds, rate_hz, side="left"):
    """A standing person whose foot dips in the middle of two seconds."""
    frames = round(2 * rate_hz) + 1
    first, last = (round((1.0 + k * seconds / 2) * rate_hz) for k in (-1, 1))
    down = size_m * bump(frames, first, last)
    shift = {side: np.stack((0 * down, -down, 0 * down))}
    return standing_on(shift, frames=frames, sample_rate_hz=rate_hz, drop_m=0.12)


def lifted(clip, up_m):
    translations = np.array(clip.translations)
    translations[0, 1] += up_m
    return Motion(replace(clip, translations=translations), person_figure(STATURE_M), Cue(), 0.0)


def test_the_contract_and_the_examples_hold():
    check_rule(GroundContact)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("seconds", [0.16, 0.6])
@pytest.mark.parametrize(
    ("size_mm", "level"), [(25.0, Level.NOTE), (37.5, Level.WARNING), (62.5, Level.ERROR)]
)
def test_a_dip_of_1_25_times_a_limit_has_its_level_at_every_rate(rate_hz, seconds, size_mm, level):
    [one] = findings(dipping(size_mm / 1000.0, seconds, rate_hz).motion())
    assert (one.level, one.parts, one.unit) == (level, ("left_foot",), "mm")
    assert one.measured == pytest.approx(size_mm, abs=0.5)
    assert (1.0 - seconds / 2) * rate_hz <= one.span.first
    assert one.span.last <= (1.0 + seconds / 2) * rate_hz
    assert one.direction == (0.0, 1.0, 0.0)
    assert one.at_m[1] == pytest.approx(-size_mm / 1000.0, abs=0.0005)


def test_a_dip_within_the_note_or_of_a_single_frame_is_nothing():
    assert findings(dipping(0.018, 0.5, 60.0).motion()) == []
    spike = np.zeros(61)
    spike[30] = 0.06
    shift = {"left": np.stack((0 * spike, -spike, 0 * spike))}
    placed = standing_on(shift, frames=61, sample_rate_hz=30.0, drop_m=0.12)
    assert findings(placed.motion()) == []


def test_an_estimated_floor_finds_the_same_dip():
    clip = replace(dipping(0.0625, 0.4, 60.0).clip, up_axis=None)
    [one] = findings(Motion(clip, person_figure(STATURE_M)))
    assert one.measured == pytest.approx(62.5, abs=4.0)
    assert "estimated" in one.message


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_walks_are_clean(rate_hz):
    assert findings(walk(sample_rate_hz=rate_hz).motion()) == []


@pytest.mark.parametrize(
    ("up_m", "words", "level"),
    [
        (0.035, "above", Level.NOTE),
        (0.080, "above", Level.ERROR),
        (-0.035, "below", Level.WARNING),
        (-0.070, "below", Level.ERROR),
    ],
)
def test_a_clip_that_is_off_as_a_whole_is_one_finding(up_m, words, level):
    [one] = findings(lifted(walk().clip, up_m))
    assert words in one.message
    assert (one.level, one.detail) == (level, "whole clip")
    assert one.measured == pytest.approx(abs(up_m) * 1000.0, abs=0.5)
    assert (one.span.first, one.span.last) == (0, 240)


def test_a_dip_in_a_clip_that_floats_is_measured_from_where_it_stands():
    moved = lifted(dipping(0.0625, 0.6, 60.0).clip, 0.10)
    whole, dip = findings(moved)
    assert whole.detail == "whole clip"
    assert dip.measured == pytest.approx(62.5, abs=1.0)


def test_a_person_who_stands_on_air_for_a_while_floats():
    up = 0.08 * bump(481, 180, 300)
    clip = motion(frames=481, shifts_m={"pelvis": np.stack((0 * up, up, 0 * up))}).clip
    said = findings(Motion(clip, person_figure(STATURE_M), Cue(), 0.0))
    assert {one.parts[0] for one in said} == {"left_foot", "right_foot"}
    assert all(one.detail == "floats" and one.level is Level.ERROR for one in said)
    assert said[0].measured == pytest.approx(80.0, abs=0.5)


def test_the_same_on_a_declared_ledge_is_nothing():
    up = 0.08 * ramp(481, 178, 190) * (1.0 - ramp(481, 292, 304))
    z = 1.0 * ramp(481, 184, 204) * (1.0 - ramp(481, 278, 298))
    shifts = {"pelvis": np.stack((0 * up, up, z))}
    clip = motion(frames=481, shifts_m=shifts).clip
    cue = Cue(surfaces=(Surface("ledge", 0.08, (-1.0, 0.7), (1.0, 1.4)),))
    assert findings(Motion(clip, person_figure(STATURE_M), cue, 0.0)) == []


def test_a_foot_raised_while_the_other_stands_is_nothing():
    up = 0.15 * bump(181, 40, 140)
    shift = {"right": np.stack((0 * up, up, 0 * up))}
    assert findings(standing_on(shift, frames=181).motion()) == []


def test_a_jump_is_nothing():
    up = 0.4 * np.sin(np.linspace(0.0, np.pi, 35))
    height = np.concatenate((np.zeros(60), up, np.zeros(60)))
    jump = motion(frames=155, shifts_m={"pelvis": np.stack((0 * height, height, 0 * height))})
    assert findings(jump) == []


def test_a_hand_below_the_floor_is_found():
    """The left wrist hangs 150 mm under the floor (on an arm made far too long for it)."""
    wrist_m = at_rest("left_hand")[1]
    down = (wrist_m + 0.15) * bump(181, 40, 140)
    moved = motion(frames=181, shifts_m={"left_hand": np.stack((0 * down, -down, 0 * down))})
    [hand] = [one for one in findings(moved) if one.parts == ("left_hand",)]
    assert hand.level is Level.ERROR
    # The fingers' end hangs a hand's length deeper.
    assert hand.measured > 150.0 + 80.0


def test_a_clip_in_which_nobody_stands_asks_for_a_floor():
    lying = motion(turns={"pelvis": [("X", 90.0)]}, shifts_m={"pelvis": [0.0, -0.8, 0.0]})
    bare = Motion(replace(lying.clip, up_axis=None), lying.figure)
    with pytest.raises(NotApplicable, match="ground_m"):
        found(bare)


def test_clips_that_have_no_feet_on_the_ground_say_why():
    with pytest.raises(NotApplicable, match="additive"):
        found(motion(cue=Cue(additive=True)))
    said = found(motion(cue=Cue(not_captured=("left_foot",))))
    assert [type(one) for one in said] == [Unjudged]


CLEAN = (
    "accad_male1_a2_sway",
    "accad_male1_b17_walk2hop2walk",
    "accad_male1_b3_walk",
    "accad_male2_b3_walk",
    "accad_male2_c3_run",
    "accad_male2_e8_bounce",
    "cmu_02_01_walk",
    "cmu_12_01_walk_tpose0",
    "cmu_13_26_gestures_trim1000",
    "cmu_14_14_jumping_jacks_30fps",
    "fair1_dab_zup",
    "fair1_zombie_zup",
)


@pytest.mark.parametrize("name", CLEAN)
def test_clean_captures_have_no_error(name):
    clip = prepare(read(real(f"bvh/{name}.bvh")).clips[0]).clip
    said = findings(Motion(clip, figure_of([clip])))
    assert [one.message for one in said if one.level is Level.ERROR] == []


def test_toes_that_sink_as_a_man_crouches_are_seen():
    """A fault of a real capture: the toes of both feet go under as he reaches for the box."""
    clip = prepare(read(real("bvh/accad_male1_a5_pickupbox.bvh")).clips[0]).clip
    said = findings(Motion(clip, figure_of([clip])))
    assert {one.parts[0] for one in said} == {"left_foot", "right_foot"}
    assert all(45 <= one.worst_frame <= 75 for one in said)
