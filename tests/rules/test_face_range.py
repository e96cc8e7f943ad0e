"""Faces: ranges by the standard, pairs by their names, speech and blinks by published rates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kinelint.errors import NotApplicable
from kinelint.finding import Level
from kinelint.synthetic import motion
from kinelint_rules.face.face_range import FaceRange, FaceRangeSettings
from kinelint_rules.face.sides import blinks, pairs, side_of


def face(rate_hz=60.0, seconds=10.0, **channels):
    time = np.arange(round(rate_hz * seconds) + 1) / rate_hz
    made = motion(frames=len(time), sample_rate_hz=rate_hz)
    weights = np.stack([np.broadcast_to(of(time), time.shape) for of in channels.values()])
    clip = replace(made.clip, weight_names=tuple(channels), weights=weights)
    return replace(made, clip=clip)


def said(one, **settings):
    return list(FaceRange.check(one, FaceRangeSettings(**settings)))


@pytest.mark.parametrize(
    ("name", "side"),
    [
        ("mouthSmileLeft", "left"),
        ("mouthSmile_R", "right"),
        ("browDown_l", "left"),
        ("EyeBlinkR", "right"),
        ("expression blinkLeft", "left"),
        ("jawOpen", ""),
        ("lower lip", ""),
        ("tongue roll", ""),
    ],
)
def test_sides_are_told_by_words_and_single_letters(name, side):
    assert side_of(name)[0] == side


def test_pairs_and_lids():
    names = ("blinkLeft", "jaw", "smile_L", "blinkRight", "smile_R", "eyes closed")
    assert pairs(names) == [(0, 3), (2, 4)]
    assert blinks(names) == [0, 3, 5]


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120])
def test_speech_is_no_chatter_and_a_shiver_is(rate_hz):
    """Mouths move at 2 to 7 Hz in speech: Chandrasekaran et al. 2009 (from memory)."""
    for hertz in (2.0, 4.0, 6.0):
        calm = face(rate_hz, jaw=lambda t, f=hertz: 0.5 + 0.4 * np.sin(2 * np.pi * f * t))
        assert said(calm) == []
    shiver = face(rate_hz, jaw=lambda t: 0.5 + 0.1 * np.sin(2 * np.pi * 10.0 * t + 0.5))
    [found] = said(shiver)
    assert "chatters at" in found.message
    assert float(found.message.split("at ")[1].split()[0]) == pytest.approx(10.0, abs=1.0)


@pytest.mark.parametrize(("value", "level"), [(1.1, Level.WARNING), (1.5, Level.ERROR)])
def test_weights_beyond_full_on_are_graded(value, level):
    made = face(jaw=lambda t: np.where((t > 2) & (t < 3), value, 0.5 + 0.1 * t / 10))
    [found] = said(made)
    assert found.measured == pytest.approx(value)
    assert found.level is level
    assert (found.span.first, found.span.last) == (121, 179)


def test_negative_weights_are_found():
    [found] = said(face(jaw=lambda t: np.where((t > 2) & (t < 3), -0.2, 0.3)))
    assert found.limit == 0.0


def test_a_take_that_blinks_as_people_do_is_clean_and_one_that_stares_is_not():
    """17 blinks a minute at rest: Bentivoglio et al. 1997 (from memory)."""
    every_s = 60.0 / 17.0
    lids = face(seconds=60.0, blink=lambda t: np.where(t % every_s < 0.2, 1.0, 0.0))
    assert said(lids) == []
    [found] = said(face(seconds=60.0, blink=lambda t: 0.0 * t))
    assert found.measured == pytest.approx(60.0)


def test_channels_that_nobody_uses_are_no_defect():
    assert said(face(jaw=lambda t: 0.5 + 0.3 * np.sin(t), brow=lambda t: 0.0 * t)) == []
    assert said(face(jaw=lambda t: 0.5 + 0.3 * np.sin(t), brow=lambda t: 0 * t + 0.4)) == []


def test_clips_without_a_face_are_not_judged():
    with pytest.raises(NotApplicable):
        said(motion())


@pytest.mark.parametrize("seconds", [0.02, 0.1, 0.5])
def test_clips_shorter_than_any_window_are_judged(seconds):
    assert said(face(seconds=seconds, jaw=lambda t: 0.3 + 0.2 * t)) == []
