"""Seams of loops, on real loops and on broken ones.

The alignment is that of Kovar, Gleicher & Pighin 2002 (worked example in test_alignment). Which
open loops close, and how far one does not, is from their description; limits are common practice,
no source.
"""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.assemble import figure_of, motion_of
from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level
from kinelint.intake import prepare
from kinelint.kinematics import rotations
from kinelint.readers import read
from kinelint_rules.loops.loop_seam import LoopSeam, LoopSeamSettings, _swing
from real_data import real


def _said(motion, **settings):
    said = LoopSeam.check(motion, LoopSeamSettings(**settings))
    return [one for one in said if isinstance(one, Finding)]


def _real(name, clip_name=""):
    asset = read(real(name))
    clips = [prepare(clip).clip for clip in asset.clips]
    clip = next((c for c in clips if c.name == clip_name), clips[0])
    return motion_of(clip, figure_of(clips, skins=asset.skins), Cue(loop=True))


def _broken(motion, part, degrees):
    """The same with one joint turned further and further away from its start."""
    clip = motion.clip
    joint = motion.part(part).joint
    off = degrees * np.clip(np.linspace(-0.2, 1.0, clip.frames), 0.0, 1.0)
    local = np.array(clip.rotations)
    local[joint] = rotations.multiply(local[joint], rotations.about("X", np.radians(off)))
    return replace(motion, clip=replace(clip, rotations=local), _derived={})


@pytest.mark.parametrize("frames", [60, 61])
@pytest.mark.parametrize("travels", [False, True])
def test_broken_joint_is_named_with_its_angle_and_the_others_are_not(frames, travels):
    broken = _broken(_swing(frames, loop=True, travels=travels), "right_forearm", 6.25)
    (one,) = _said(broken)
    assert one.parts == ("right_forearm",)
    assert one.measured == pytest.approx(6.25, abs=0.15)
    assert one.level is Level.ERROR
    assert one.span.first == one.span.last == frames - 1


def test_it_tells_a_repeated_first_frame_from_one_short_of_it():
    whole, short = (_said(_broken(_swing(n, loop=True), "head", 9.0))[0] for n in (61, 60))
    assert "repeats the first" in whole.message
    assert "a frame short" in short.message


def test_yaw_and_travel_are_no_defect_but_tilt_and_height_are():
    swing = _swing(61, loop=True, travels=True)
    assert _said(swing) == []
    tilted = _broken(swing, "pelvis", 7.0)
    assert _said(tilted)[0].parts[0] == "pelvis"
    translations = np.array(swing.clip.translations)
    translations[0, 1] += np.linspace(0, 0.05, 61)
    risen = replace(swing, clip=replace(swing.clip, translations=translations), _derived={})
    (one,) = _said(risen)
    assert one.unit == "mm"
    assert one.measured == pytest.approx(50.0, abs=1.5)


def _resampled(swing, rate_hz, frames):
    """The first `frames` frames of the same second at another rate."""
    at = np.minimum(np.arange(frames) * (swing.sample_rate_hz / rate_hz), swing.frames - 1.0)
    low = np.minimum(at.astype(int), swing.frames - 2)
    local = rotations.slerp(
        swing.clip.rotations[..., low], swing.clip.rotations[..., low + 1], at - low
    )
    clip = replace(
        swing.clip,
        rotations=local,
        translations=np.zeros((1, 3, frames)) + swing.clip.translations[..., :1],
        sample_rate_hz=rate_hz,
    )
    return replace(swing, clip=clip, _derived={})


@pytest.mark.parametrize("rate_hz", [24.0, 30.0, 60.0, 120.0])
@pytest.mark.parametrize("short", [0, 1])
def test_the_verdict_does_not_depend_on_the_frame_rate(rate_hz, short):
    frames = round(rate_hz) + 1 - short
    closed = _resampled(_swing(61, loop=True), rate_hz, frames)
    assert _said(closed) == []
    (one,) = _said(_broken(closed, "right_forearm", 6.25))
    assert (one.parts, one.level) == (("right_forearm",), Level.ERROR)
    assert one.measured == pytest.approx(6.25, abs=0.3)
    # A frame short, the frame that would close it is not there: a jerk may read as a gap.
    said = _said(_resampled(_swing(61, loop=True, jerk=True), rate_hz, frames))
    assert [one.unit for one in said] == ["mm/s"] or short
    assert max(one.level.rank for one in said) == Level.ERROR.rank
    assert {"left_hand", "left_forearm", "left_upper_arm"}.issuperset(
        part for one in said for part in one.parts
    )


# The files' description: these loops close exactly at their last key; one is 2.5 degrees off.
@pytest.mark.parametrize(
    ("name", "clip"),
    [
        ("gltf/RobotExpressive.glb", "Idle"),
        ("gltf/CesiumMan.glb", ""),
        ("gltf/kaykit_med_movement_basic.glb", "Walking_A"),
        ("gltf/kaykit_med_movement_basic.glb", "Running_A"),
    ],
)
def test_real_loops_close_and_break(name, clip):
    motion = _real(name, clip)
    assert [one for one in _said(motion) if one.level is Level.ERROR] == []
    findings = _said(_broken(motion, "left_forearm", 6.25))
    assert "left_forearm" in findings[0].parts
    assert findings[0].level is Level.ERROR


def test_a_take_that_is_no_loop_does_not_close():
    motion = _real("bvh/cmu_02_01_walk.bvh")
    assert any(one.level is Level.ERROR for one in _said(motion))


def test_too_short_to_have_a_seam():
    with pytest.raises(NotApplicable, match="3 frames"):
        _said(_swing(3, loop=True))
