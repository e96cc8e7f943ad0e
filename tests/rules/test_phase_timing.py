"""Phases against a team's windows: arithmetic is the reference."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Level
from kinelint.policy import load_policy
from kinelint.registry import load
from kinelint.synthetic import motion
from kinelint_rules.timing.phase_timing import PhaseTiming, PhaseTimingSettings
from kinelint_rules.timing.phases import found

CUE = Cue(phases=(("preparation", 0.1, 0.6), ("action", 0.6, float("inf"))))


def said(one, **settings):
    return list(PhaseTiming.check(one, PhaseTimingSettings(**settings)))


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120])
@pytest.mark.parametrize(
    ("window", "level", "limit"),
    [
        ((400, 600), None, 0),
        ((400, 450), Level.WARNING, 450),
        ((100, 300), Level.ERROR, 300),
        ((700, 900), Level.ERROR, 700),
    ],
)
def test_declared_phases_are_judged_in_milliseconds(rate_hz, window, level, limit):
    made = motion(frames=2 * rate_hz, sample_rate_hz=rate_hz, cue=CUE)
    found_ = said(made, windows_ms={"preparation": window})
    assert [one.level for one in found_] == ([level] if level else [])
    if level:
        assert (found_[0].measured, found_[0].limit) == (pytest.approx(500.0), limit)
        assert found_[0].span.first == round(0.1 * rate_hz)


def test_a_reference_pose_that_was_cut_off_does_not_move_the_phases():
    made = motion(frames=120, cue=CUE)
    cut = replace(made, clip=made.clip.cut(3, 119), _derived={})
    [one] = said(cut, windows_ms={"preparation": (100, 200)})
    assert (one.span.first, one.span.last) == (3, 33)


def test_frames_of_a_thirtieth_are_milliseconds_too():
    [one] = said(motion(frames=120, cue=CUE), windows_at_30_hz={"preparation": (6, 9)})
    assert one.limit == pytest.approx(300.0)


@pytest.mark.parametrize("rate_hz", [30, 60, 120])
def test_the_action_is_found_where_the_hand_is_quickest(rate_hz):
    time = np.arange(round(2.5 * rate_hz)) / rate_hz
    swing = 70.0 / (1.0 + np.exp(-(time - 1.2) / 0.05))
    turns = {"right_upper_arm": [("X", -swing)]}
    made = motion(frames=len(time), sample_rate_hz=rate_hz, turns=turns)
    named = {one.name: one for one in found(made)}
    assert named["action"].part == "right_hand"
    assert abs(time[(named["action"].first + named["action"].last) // 2] - 1.2) < 0.05
    # A logistic curve is quicker than 0.4 of its peak for 4.08 of its widths: 2 acosh(2.5^0.5).
    width_s = 0.05 * 4.0 * np.arccosh(2.5**0.5)
    assert named["action"].seconds == pytest.approx(width_s, abs=0.05)


def test_clips_without_windows_or_phases_are_not_judged():
    with pytest.raises(NotApplicable):
        said(motion(cue=CUE))
    with pytest.raises(NotApplicable):
        said(motion(), windows_ms={"action": (1, 2)})


def test_a_window_that_runs_backwards_is_an_error_of_the_policy(tmp_path):
    path = tmp_path / "kinelint.toml"
    path.write_text("[rules.phase-timing]\nwindows_ms = { action = [300, 200] }\n")
    with pytest.raises(Exception, match="from less to more"):
        load_policy(path, load())
