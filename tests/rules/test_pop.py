"""Pops are found at their frames with their size, at every rate, and quick moves are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from accuracy.clips import subjects
from accuracy.seed_pops import popped
from kinelint.finding import Level
from kinelint.motion import Motion
from kinelint.synthetic import motion
from kinelint_rules.continuity.pop import Pop
from kinelint_rules.continuity.pop_events import PopSettings
from real_data import folder


def said(one, **settings):
    return list(Pop.check(one, PopSettings(**settings)))


def swinging(rate_hz, seconds=2.0, extra=0.0, amplitude_deg=50.0, hz=1.0):
    frames = round(seconds * rate_hz) + 1
    swing = amplitude_deg * np.sin(2 * np.pi * hz * np.arange(frames) / rate_hz)
    turns = {"left_upper_arm": [("X", swing + extra)], "left_shank": [("X", swing**2 / 60.0)]}
    return motion(frames=frames, sample_rate_hz=rate_hz, turns=turns)


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120, 240])
@pytest.mark.parametrize(("frames", "kind"), [(1, "off"), (2, "off"), (3, "off"), (0, "stays")])
def test_the_size_is_what_scipy_says_of_the_turn(rate_hz, frames, kind):
    count = 2 * rate_hz + 1
    turn = np.zeros(count)
    at = count // 2
    turn[at : count if kind == "stays" else at + frames] = 50.0
    made = swinging(rate_hz, extra=turn)
    clean = swinging(rate_hz)
    joint = made.part("left_upper_arm").joint
    as_scipy = [
        Rotation.from_quat(one.clip.rotations[joint].T[:, [1, 2, 3, 0]]) for one in (clean, made)
    ]
    angle_deg = np.degrees((as_scipy[0].inv() * as_scipy[1])[at].magnitude())
    [found] = said(made)
    assert found.parts == ("left_upper_arm",)
    assert found.level is Level.ERROR
    assert found.measured == pytest.approx(angle_deg, abs=1.0)
    expected = (at - 1, at) if kind == "stays" else (at, at + frames - 1)
    slack = 1 if rate_hz < 30 else 0
    assert abs(found.span.first - expected[0]) <= slack
    assert abs(found.span.last - expected[1]) <= slack


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120, 240])
def test_quick_swings_are_no_pops(rate_hz):
    # 900 deg/s at the peak: a fast throw of the arm.
    assert said(swinging(rate_hz, amplitude_deg=70.0, hz=2.0)) == []


def test_neither_signs_nor_wraps_of_what_is_stored_make_a_pop():
    made = swinging(60.0)
    chance = np.random.default_rng(1)
    signs = chance.choice([-1.0, 1.0], size=(len(made.clip.skeleton), 1, made.frames))
    flipped = replace(made, clip=replace(made.clip, rotations=made.clip.rotations * signs))
    assert said(flipped) == []
    wrapped = motion(
        frames=61, turns={"left_upper_arm": [("X", 170.0 + 20.0 * np.linspace(0, 1, 61))]}
    )
    assert said(wrapped) == []


def test_a_shake_is_no_pop():
    chance = np.random.default_rng(2)
    assert said(swinging(60.0, extra=chance.normal(0.0, 4.0, 121))) == []


def test_joints_that_jump_together_are_one_finding():
    step = np.where(np.arange(61) >= 30, 1.0, 0.0)
    turns = {"left_upper_arm": [("X", 50 * step)], "right_thigh": [("X", 35 * step)]}
    [found] = said(motion(frames=61, turns=turns))
    assert found.parts == ("left_upper_arm", "right_thigh")


def test_repeats_are_one_finding_that_counts_them():
    turn = np.zeros(121)
    for at in (20, 50, 90):
        turn[at] = 40.0
    [found] = said(swinging(60.0, extra=turn, amplitude_deg=0.0))
    assert "jumps 3 times" in found.message
    assert (found.span.first, found.span.last) == (20, 90)


@pytest.mark.parametrize("frames", [1, 2, 3, 4])
def test_tiny_clips_are_judged(frames):
    assert said(motion(frames=frames)) == []


def test_seeds_in_real_clips_are_found():
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    missed, every = [], 0
    for subject in subjects(folder(), (".bvh",)):
        if not subject.file.startswith(("accad_male1", "accad_male2_b3", "cmu_02", "fair1")):
            continue
        for number in range(8):
            chance = np.random.default_rng(number)
            seed = popped(subject.motion.clip, subject.figure, "left", 37.5, chance, number % 4)
            if seed is None:
                continue
            every += 1
            rate = subject.motion.sample_rate_hz
            span = round(seed.first_s * rate), round(seed.last_s * rate)
            hits = [
                one
                for one in said(Motion(seed.clip, subject.figure, subject.motion.cue))
                if seed.parts[0] in one.parts
                and one.level is Level.ERROR
                and one.span.first <= span[1]
                and one.span.last >= span[0]
            ]
            missed += [] if hits else [seed.detail]
    assert every > 50
    # In quick motion at 30 Hz the limit of an error is above 30 degrees.
    assert len(missed) <= 0.08 * every, missed
