"""How long an overlap lasts: read between frames, from first touch where it is brief."""

import numpy as np
import pytest

from kinelint.finding import Finding, FrameSpan, Level
from kinelint.synthetic import motion
from kinelint_rules.contact.lasting import held_frames, touching
from kinelint_rules.contact.penetration import Penetration, PenetrationSettings

# The left arm of a made person hangs beside the thigh: turned inward so far it is 35 mm inside.
DEEP_DEG = 4.0


def test_time_past_the_limit_against_a_parabola():
    """12.5 mm deep at most and past 10 mm for a known time, wherever the frames fall."""
    rate = 60.0
    for shift in np.linspace(0.0, 1.0, 11):
        times = (np.arange(40) + shift) / rate - 0.3
        depth = np.maximum(12.5 - 2.5 * (times / 0.05) ** 2, 0.0)
        inside = np.flatnonzero(depth > 10.0)
        span = FrameSpan(int(inside[0]), int(inside[-1]))
        assert held_frames(depth, 10.0, span) / rate == pytest.approx(0.1, abs=0.006)


def test_ends_of_the_clip_and_clear_frames_count_half():
    depth = np.array([30.0, 30.0, 0.0, 200.0, 0.0])
    assert held_frames(depth, 10.0, FrameSpan(0, 1)) == pytest.approx(2.0)
    assert held_frames(depth, 10.0, FrameSpan(3, 3)) == pytest.approx(1.0)


def test_touch_goes_on_while_the_parts_meet():
    depth = np.array([0.0, 1.0, 4.0, 12.0, 3.0, 0.0, 5.0])
    assert touching(depth, FrameSpan(3, 3)) == FrameSpan(1, 4)


def found(inward: np.ndarray, rate_hz: float) -> list[Finding]:
    turns = {"left_upper_arm": [("Z", -inward)]}
    one = motion(frames=len(inward), sample_rate_hz=rate_hz, turns=turns)
    said = Penetration.check(one, PenetrationSettings())
    return [f for f in said if isinstance(f, Finding)]


def hump(rate_hz: float, half_s: float, at_s: float) -> np.ndarray:
    times = np.arange(round(rate_hz)) / rate_hz - at_s
    return DEEP_DEG * np.maximum(1.0 - (times / half_s) ** 2, 0.0)


@pytest.mark.parametrize("rate_hz", [24.0, 30.0, 60.0, 120.0])
def test_a_brief_overlap_is_found_at_every_rate_and_wherever_the_frames_fall(rate_hz: float):
    """An arm that dips in and out within 0.16 s is past the least depth for half of that."""
    for shift in np.linspace(0.0, 1.0 / rate_hz, 6):
        leader = found(hump(rate_hz, 0.08, 0.5 + shift), rate_hz)
        assert {"left_forearm", "left_hand"} & {one.parts[0] for one in leader}


@pytest.mark.parametrize("rate_hz", [30.0, 60.0, 120.0])
def test_a_twitch_is_not(rate_hz: float):
    assert not found(hump(rate_hz, 0.015, 0.5), rate_hz)


def test_parts_that_touch_long_but_lie_deep_for_a_moment_are_a_note():
    """Nearly in for a tenth of a second, then 35 mm deep for two frames at 120 Hz."""
    rate = 120.0
    inward = np.zeros(120)
    inward[50:66] = 1.0
    inward[57:60] = DEEP_DEG
    said = found(inward, rate)
    assert said
    assert {one.level for one in said} == {Level.NOTE}
    assert max(one.measured or 0.0 for one in said) > 30.0
