"""Slow drifts against a robust line of SciPy, and what a take ends with against its start."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import theilslopes

from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level
from kinelint.synthetic import motion
from kinelint.synthetic_walk import walk
from kinelint_rules.continuity.drift import Drift, DriftSettings
from kinelint_rules.continuity.trend import trend


def said(one, **settings):
    return [o for o in Drift.check(one, DriftSettings(**settings)) if isinstance(o, Finding)]


def test_the_trend_is_that_of_scipys_theil_sen_line():
    chance = np.random.default_rng(3)
    values = 0.02 * np.arange(600) + chance.normal(0, 2.0, 600)
    found = trend(values, 60.0, 0.5)
    middles = np.median(values.reshape(20, 30), axis=1)
    slope = theilslopes(middles, np.arange(20)).slope
    assert found.total == pytest.approx(slope * 599 / 30, rel=1e-9)
    assert trend(values[:100], 60.0, 0.5) is None


@pytest.mark.parametrize("rate_hz", [30, 60, 120])
@pytest.mark.parametrize("part", ["head", "thorax", "left_foot", "right_shank"])
def test_a_part_that_turns_slowly_is_found_with_its_angle(rate_hz, part):
    frames = 15 * rate_hz
    way = np.linspace(0.0, 1.0, frames)
    sway = 4.0 * np.sin(2 * np.pi * 0.7 * np.arange(frames) / rate_hz)
    turns = {part: [("Y", 24.0 * way + sway)]}
    found = said(motion(frames=frames, sample_rate_hz=rate_hz, turns=turns))
    assert part in {one.parts[0] for one in found}
    worst = next(one for one in found if one.parts[0] == part)
    assert worst.measured == pytest.approx(24.0, abs=2.0)


def test_a_pose_that_is_changed_once_is_no_drift():
    step = np.where(np.arange(900) > 450, 25.0, 0.0)
    assert said(motion(frames=900, turns={"head": [("Y", step)]})) == []


def test_feet_that_turn_out_together_are_another_stance():
    way = np.linspace(0.0, 25.0, 900)
    turns = {"left_foot": [("Y", way)], "right_foot": [("Y", -way)]}
    assert said(motion(frames=900, turns=turns)) == []


@pytest.mark.parametrize(
    ("off_m", "level"), [(0.05, None), (0.15, Level.WARNING), (0.4, Level.ERROR)]
)
def test_a_take_that_is_to_return_ends_on_its_mark(off_m, level):
    along = np.linspace(0.0, 1.0, 300) * off_m + np.sin(np.linspace(0, np.pi, 300))
    shift = np.stack((along, 0 * along, 0 * along))
    found = said(motion(frames=300, shifts_m={"pelvis": shift}, cue=Cue(returns=True)))
    assert [one.level for one in found] == ([level] if level else [])
    if level:
        assert found[0].measured == pytest.approx(1000 * off_m, rel=0.03)


def test_a_take_that_ends_turned_is_found():
    turns = {"pelvis": [("Y", np.linspace(0.0, 330.0, 300))]}
    [found] = said(motion(frames=300, turns=turns, cue=Cue(returns=True)))
    assert found.detail == "heading"
    assert found.measured == pytest.approx(30.0, abs=4.0)


def test_a_floor_that_creeps_is_found():
    rise = np.linspace(0.0, 0.06, 900)
    made = motion(frames=900, shifts_m={"pelvis": np.stack((0 * rise, rise - 0.03, 0 * rise))})
    found = [one for one in said(made) if one.detail == "height"]
    # Feet that are lifted too high no longer count as planted: the rest shows the creep.
    assert all(one.unit == "mm" for one in found)


def test_a_long_walk_does_not_drift():
    assert said(walk(seconds=20.0).motion()) == []


def test_short_takes_without_a_cue_are_not_judged():
    with pytest.raises(NotApplicable):
        said(motion(frames=100))
