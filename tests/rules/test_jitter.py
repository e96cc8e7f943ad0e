"""Shakes are found with the size and frequency that SciPy says, and quick motion is none."""

from __future__ import annotations

import zlib
from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from accuracy.clips import subjects
from accuracy.seed_jitter import shaken
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level
from kinelint.motion import Motion
from kinelint.synthetic import motion
from kinelint.synthetic_walk import walk
from kinelint_rules.continuity.jitter import Jitter, JitterSettings
from kinelint_rules.continuity.jitter_bands import (
    band_below,
    filtered,
    gain,
    high_pass,
    joints_to_look_at,
)
from real_data import folder

RATES = [24, 25, 30, 50, 60, 120, 240]


def said(one, **settings):
    return [f for f in Jitter.check(one, JitterSettings(**settings)) if isinstance(f, Finding)]


def arm(rate_hz, extra=0.0, seconds=3.0):
    frames = round(seconds * rate_hz) + 1
    time = np.arange(frames) / rate_hz
    swing = 40.0 * np.sin(2 * np.pi * 1.1 * time)
    return motion(
        frames=frames, sample_rate_hz=rate_hz, turns={"left_upper_arm": [("X", swing + extra)]}
    )


@pytest.mark.parametrize("rate_hz", RATES)
def test_the_filter_is_what_scipy_says(rate_hz):
    hz, response = signal.freqz(high_pass(rate_hz), fs=rate_hz, worN=512)
    size = np.abs(response)
    assert gain(rate_hz, 11.0) == pytest.approx(np.interp(11.0, hz, size), abs=2e-3)
    # Voluntary motion of up to 2 Hz is gone, the trembling of 9 Hz and above is there.
    assert size[hz <= 2.0].max() < 0.012
    assert size[(hz > 10.5)].min() > 0.8
    noise = np.random.default_rng(3).normal(size=(2, 400))
    wanted = signal.oaconvolve(noise, high_pass(rate_hz)[None], mode="same", axes=1)
    reach = high_pass(rate_hz).size
    ours = filtered(noise, high_pass(rate_hz))
    assert np.allclose(ours[:, reach:-reach], wanted[:, reach:-reach], atol=1e-12)
    _, below = signal.freqz(band_below(rate_hz), worN=[0.5, 5.0, 11.5], fs=rate_hz)
    assert abs(below[1]) > 3 * abs(below[0])
    assert abs(below[1]) > 2 * abs(below[2])


@pytest.mark.parametrize("rate_hz", RATES)
def test_size_and_frequency_of_a_tone(rate_hz):
    frames = round(3.0 * rate_hz) + 1
    time = np.arange(frames) / rate_hz
    on = (time >= 1.0) & (time < 2.0)
    [found] = said(arm(rate_hz, on * 3.0 * np.sin(2 * np.pi * 10.0 * time)))
    assert found.parts == ("left_upper_arm",)
    assert found.level is Level.WARNING
    assert found.measured == pytest.approx(6.0, rel=0.10)
    assert " 10 Hz" in found.message or " 11 Hz" in found.message
    assert abs(found.span.first / rate_hz - 1.0) < 0.1
    assert abs(found.span.last / rate_hz - 2.0) < 0.1


@pytest.mark.parametrize("rate_hz", [60, 120])
def test_size_of_noise_against_welch(rate_hz):
    chance = np.random.default_rng(7)
    noise = chance.normal(0.0, 2.0, round(6.0 * rate_hz) + 1)
    hz, density = signal.welch(noise, fs=rate_hz, nperseg=rate_hz)
    above = float(np.sqrt(np.sum(density[hz > 8.0]) * (hz[1] - hz[0])))
    [found] = said(arm(rate_hz, noise, seconds=6.0))
    assert found.measured == pytest.approx(2 * np.sqrt(2) * above, rel=0.10)


@pytest.mark.parametrize("rate_hz", RATES)
@pytest.mark.parametrize("hz", [0.5, 1.5, 3.0])
def test_swings_on_purpose_are_none(rate_hz, hz):
    frames = round(3.0 * rate_hz) + 1
    swing = (60.0 / hz) * np.sin(2 * np.pi * hz * np.arange(frames) / rate_hz)
    made = motion(frames=frames, sample_rate_hz=rate_hz, turns={"left_forearm": [("X", swing)]})
    assert said(made) == []


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120])
def test_a_walk_and_a_blow_are_none(rate_hz):
    assert said(walk(sample_rate_hz=rate_hz).motion()) == []
    time = np.arange(round(2 * rate_hz) + 1) / rate_hz
    blow = 90.0 / (1.0 + np.exp(-(time - 1.0) / 0.02))
    made = motion(frames=time.size, sample_rate_hz=rate_hz, turns={"left_upper_arm": [("X", blow)]})
    assert said(made) == []


def test_signs_of_quaternions_make_no_shake():
    made = arm(60.0)
    signs = np.random.default_rng(1).choice([-1.0, 1.0], size=made.frames)
    flipped = np.array(made.clip.rotations) * signs
    one = replace(made, clip=replace(made.clip, rotations=flipped), _derived={})
    assert said(one) == []


def test_the_screen_passes_over_no_shake():
    for rate in (24, 30, 60, 120, 240):
        time = np.arange(3 * rate + 1) / rate
        for hz in (9.0, 10.0, 11.5):
            made = arm(rate, 1.0 * np.sin(2 * np.pi * hz * time))
            joint = made.part("left_upper_arm").joint
            assert joint in joints_to_look_at(made, 1.0)


@pytest.mark.parametrize("frames", [1, 2, 5, 12])
def test_tiny_clips_are_not_judged(frames):
    with pytest.raises(NotApplicable):
        said(motion(frames=frames))


def test_seeds_in_real_clips_are_found():
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    missed, every = [], 0
    for subject in subjects(folder(), (".bvh",)):
        if not subject.file.startswith(("accad_male1", "cmu_13", "fair1")):
            continue
        for number, kind in enumerate(("tone", "noise", "root")):
            chance = np.random.default_rng(zlib.crc32(subject.file.encode()) + number)
            size = 8.0 if kind == "root" else 12.0
            seed = shaken(subject.motion.clip, subject.figure, "left", size, chance, kind)
            if seed is None:
                continue
            every += 1
            rate = subject.motion.sample_rate_hz
            hits = [
                one
                for one in said(Motion(seed.clip, subject.figure, subject.motion.cue))
                if seed.parts[0] in one.parts
                and one.span.first <= round(seed.last_s * rate)
                and one.span.last >= round(seed.first_s * rate)
            ]
            missed += [] if hits else [f"{subject.file}: {seed.kind}: {seed.detail}"]
    assert every > 15
    assert len(missed) <= 0.1 * every, missed
