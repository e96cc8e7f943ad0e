"""Frames that repeat and parts that freeze are found; holds and planted feet are not."""

from __future__ import annotations

import zlib
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from accuracy.clips import subjects
from accuracy.seed_stall import converted, frozen, standstill
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level, Unjudged
from kinelint.motion import Motion
from kinelint.synthetic import motion
from kinelint.synthetic_walk import walk
from kinelint_rules.continuity.stall import Stall, StallSettings
from kinelint_rules.continuity.stall_steps import turned_deg
from real_data import folder


def said(one, **settings):
    return [f for f in Stall.check(one, StallSettings(**settings)) if isinstance(f, Finding)]


def unjudged(one):
    return [f for f in Stall.check(one, StallSettings()) if isinstance(f, Unjudged)]


def moving(time, rate_hz, forearm=None, extra=None):
    lower = time if forearm is None else forearm
    turns = {
        "thorax": [("Y", 15.0 * np.sin(3.1 * time))],
        "left_upper_arm": [("X", 40.0 * np.sin(4.4 * time))],
        "left_forearm": [("X", -40.0 - 35.0 * np.sin(5.0 * lower + 0.4))],
        **(extra or {}),
    }
    return motion(frames=time.size, sample_rate_hz=rate_hz, turns=turns)


def times(rate_hz, seconds=3.0):
    return np.arange(round(seconds * rate_hz) + 1) / rate_hz


def test_steps_are_what_scipy_says():
    chance = np.random.default_rng(4)
    vectors = np.cumsum(chance.normal(0.0, 0.02, (50, 3)), axis=0)
    turns = Rotation.from_rotvec(vectors)
    q = turns.as_quat()[:, [3, 0, 1, 2]].T * chance.choice([-1.0, 1.0], 50)
    wanted = np.degrees((turns[:-1].inv() * turns[1:]).magnitude())
    assert turned_deg(q) == pytest.approx(wanted, rel=2e-3)
    assert turned_deg(np.stack((q, q)))[1] == pytest.approx(turned_deg(q))


# Pull-down patterns of the trade: each film frame shown two or three times (3:2), every frame
# twice (2:1), every fourth twice (5:4).
@pytest.mark.parametrize(
    ("true_hz", "rate_hz"),
    [(24, 60), (30, 60), (24, 30), (60, 120), (30, 120), (12, 24), (15, 30), (25, 50), (20, 30)],
)
def test_a_wrong_rate_is_one_finding_that_names_the_true_one(true_hz, rate_hz):
    time = times(rate_hz, 5.0)
    held = np.floor(time * true_hz + 1e-9) / true_hz
    [found] = said(moving(held, rate_hz))
    assert found.detail == "rate"
    assert f"made at {true_hz} Hz" in found.message
    assert found.measured == pytest.approx(100.0 * (1.0 - true_hz / rate_hz), abs=4.0)
    assert found.parts == ("clip",)


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120, 240])
@pytest.mark.parametrize("frames", [1, 2, 4])
def test_single_repeats_stand_where_they_are(rate_hz, frames):
    time = times(rate_hz)
    at = time.size // 2
    time[at + 1 : at + 1 + frames] = time[at]
    [found] = said(moving(time, rate_hz))
    assert (found.span.first, found.span.last) == (at + 1, at + frames)
    assert found.measured == pytest.approx(1000.0 * frames / rate_hz)


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120, 240])
def test_a_frozen_forearm(rate_hz):
    time = times(rate_hz)
    lower = time.copy()
    first, last = round(1.0 * rate_hz), round(1.4 * rate_hz)
    lower[first : last + 1] = lower[first]
    [found] = said(moving(time, rate_hz, lower))
    assert found.parts == ("left_forearm",)
    assert found.level is Level.WARNING
    assert abs(found.span.first - first) <= 1
    assert abs(found.span.last - last) <= 1
    assert found.measured == pytest.approx(400.0, abs=1000.0 / rate_hz)


def test_a_part_that_stops_for_good_is_a_note_and_one_that_starts_late_is_none():
    time = times(60.0)
    [found] = said(moving(time, 60.0, np.minimum(time, 2.0)))
    assert found.parts == ("left_forearm",)
    assert found.level is Level.NOTE
    assert found.span.last == time.size - 1
    assert said(moving(time, 60.0, np.maximum(time, 1.0))) == []


def test_what_rests_on_purpose_is_none():
    time = times(60.0)
    # It slows down, rests, and starts smoothly: minimum jerk (Flash & Hogan 1985).
    t = np.clip((time - 0.3) / 0.6, 0.0, 1.0)
    back = np.clip((time - 1.8) / 0.6, 0.0, 1.0)
    ease = lambda x: x**3 * (10 - 15 * x + 6 * x * x)  # noqa: E731
    rest = {"right_forearm": [("X", -80.0 * (ease(t) - ease(back)))]}
    assert said(moving(time, 60.0, extra=rest)) == []


def test_a_pose_that_is_held_and_a_walk_are_none():
    time = times(60.0)
    held = np.where(time < 1.0, time, np.where(time < 2.5, 1.0, time - 1.5))
    assert said(moving(held, 60.0)) == []
    for rate in (24, 30, 60, 120):
        assert said(walk(sample_rate_hz=rate).motion()) == []


def test_sparse_keys_are_not_judged():
    made = moving(np.floor(times(60.0) * 12) / 12, 60.0)
    keyed = replace(made.clip, key_times_s=np.arange(37) / 12.0)
    with pytest.raises(NotApplicable, match="on purpose"):
        said(replace(made, clip=keyed, _derived={}))


def test_what_never_moves_is_one_remark():
    [remark] = unjudged(moving(times(60.0), 60.0))
    assert "right_forearm" in remark.parts
    assert "left_forearm" not in remark.parts


def fingers(change, frames=181):
    time = np.arange(frames) / 60.0
    curl = 35.0 * (1.0 - np.cos(2 * np.pi * 0.7 * time))
    turns = {}
    for finger in ("index", "middle", "ring", "little"):
        own = change(time, curl) if finger == "ring" else curl
        for number in (1, 2, 3):
            turns[f"left_{finger}_{number}"] = [("Z", own)]
    return motion(frames=frames, fingers=True, turns=turns)


@pytest.mark.parametrize(
    ("kind", "change"),
    [
        ("frozen", lambda t, curl: np.where((t > 0.3) & (t < 0.7), curl[18], curl)),
        ("noisy", lambda t, curl: curl + 5.0 * np.sin(2 * np.pi * 11.0 * t)),
        ("bent", lambda t, curl: 1.7 * curl),
        ("against", lambda t, curl: 70.0 - curl),
    ],
)
def test_a_finger_unlike_its_neighbours(kind, change):
    found = [one for one in said(fingers(change)) if one.detail == f"finger {kind}"]
    assert found, kind
    assert {one.parts for one in found} == {("left_ring_1",)}


def test_fingers_alike_are_none():
    assert said(fingers(lambda t, curl: 0.8 * curl)) == []


@pytest.mark.parametrize("frames", [1, 2, 4])
def test_tiny_clips_are_not_judged(frames):
    with pytest.raises(NotApplicable):
        said(motion(frames=frames))


def test_seeds_in_real_clips_are_found():
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    missed, every = [], 0
    for subject in subjects(folder(), (".bvh",)):
        if not subject.file.startswith(("accad_male1_b", "accad_male2", "cmu_02", "cmu_14")):
            continue
        clip, rate = subject.motion.clip, subject.motion.sample_rate_hz
        chance = np.random.default_rng(zlib.crc32(subject.file.encode()))
        for seed in (
            standstill(clip, 2, chance),
            converted(clip, rate / 2.0),
            frozen(clip, subject.figure, "left", 300.0, chance),
            frozen(clip, subject.figure, "right", 300.0, chance, space=True),
        ):
            if seed is None:
                continue
            every += 1
            hits = [
                one
                for one in said(Motion(seed.clip, subject.figure, subject.motion.cue))
                if seed.parts[0] in one.parts
                and one.span.first <= round(seed.last_s * rate)
                and one.span.last >= round(seed.first_s * rate)
            ]
            missed += [] if hits else [f"{subject.file}: {seed.kind}: {seed.detail}"]
    assert every > 15
    assert len(missed) <= 0.05 * every, missed
