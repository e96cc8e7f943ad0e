"""Contact phases of points whose path is known in closed form.

Thresholds of height and speed are common practice, no source; published ones are given per frame
and differ twenty-fold in m/s, which is why the same path is tried at 30, 60 and 120 Hz.
"""

import numpy as np
import pytest

from kinelint.kinematics.contact import (
    ContactLimits,
    contact_phases,
    hysteresis,
    steps,
    trimmed,
)
from kinelint.synthetic_walk import ramp, walk

RATES_HZ = (30.0, 60.0, 120.0)
LIMITS = ContactLimits()


def path(height, along):
    """A point that moves along z at a height."""
    return np.stack((0 * along, height, along))


def seconds(phases, rate_hz):
    return [(first / rate_hz, last / rate_hz) for first, last in phases]


def test_hysteresis_holds_from_enter_until_leave():
    enter = np.array([0, 1, 0, 0, 0, 1, 1, 0], dtype=bool)
    leave = np.array([0, 0, 0, 1, 0, 0, 1, 0], dtype=bool)
    assert hysteresis(enter, leave).tolist() == [0, 1, 1, 0, 0, 1, 0, 0]


def test_nothing_enters_nothing_holds():
    none = np.zeros(5, dtype=bool)
    assert not hysteresis(none, none).any()


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_point_that_comes_down_and_lifts_bears_in_between(rate_hz):
    frames = int(2 * rate_hz) + 1
    t = np.arange(frames) / rate_hz
    height = 0.2 * np.clip(np.maximum(0.5 - t, t - 1.5), 0.0, 1.0)
    [(first, last)] = seconds(contact_phases(path(height, 0 * t), height, rate_hz, LIMITS), rate_hz)
    # 30 mm is passed at 0.35 s on the way down, 50 mm at 1.75 s on the way up.
    assert first == pytest.approx(0.35, abs=1.01 / rate_hz)
    assert last == pytest.approx(1.75, abs=1.01 / rate_hz)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_fast_slide_does_not_part_a_contact(rate_hz):
    """120 mm in 0.1 s: 2.2 m/s at its fastest, far over the speed at which a contact ends."""
    frames = int(2 * rate_hz) + 1
    along = 0.12 * ramp(frames, round(0.95 * rate_hz), round(1.05 * rate_hz))
    height = np.zeros(frames)
    assert contact_phases(path(height, along), height, rate_hz, LIMITS) == [(0, frames - 1)]


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_a_step_does(rate_hz):
    frames = int(2 * rate_hz) + 1
    first, last = round(0.9 * rate_hz), round(1.1 * rate_hz)
    along = 0.3 * ramp(frames, first, last)
    height = 0.04 * np.sin(np.pi * np.clip((np.arange(frames) - first) / (last - first), 0, 1))
    assert len(contact_phases(path(height, along), height, rate_hz, LIMITS)) == 2


def test_a_touch_shorter_than_a_tenth_of_a_second_is_none():
    rate_hz, frames = 120.0, 121
    height = np.full(frames, 0.2)
    height[60:70] = 0.0  # 10 frames last 0.075 s
    assert contact_phases(path(height, np.zeros(frames)), height, rate_hz, LIMITS) == []
    height[60:74] = 0.0
    assert contact_phases(path(height, np.zeros(frames)), height, rate_hz, LIMITS) == [(60, 73)]


def test_limits_scale_with_the_leg_but_times_stay():
    half = LIMITS.scaled_by(0.5)
    assert half.enter_height_m == pytest.approx(0.015)
    assert half.leave_speed_m_per_s == pytest.approx(0.4)
    assert (half.window_s, half.bridge_s, half.min_s, half.trim_s) == (0.1, 0.2, 0.1, 0.08)


def test_a_small_figure_at_small_speed_has_the_same_contacts():
    rate_hz, frames = 60.0, 121
    t = np.arange(frames) / rate_hz
    height = 0.2 * np.clip(np.maximum(0.5 - t, t - 1.5), 0.0, 1.0)
    along = 0.3 * ramp(frames, 0, 40)
    large = contact_phases(path(height, along), height, rate_hz, LIMITS)
    small = contact_phases(path(height / 4, along / 4), height / 4, rate_hz, LIMITS.scaled_by(0.25))
    assert large == small


def test_only_a_foot_that_is_lifted_and_put_down_steps():
    frames = 100
    speed = np.where((np.arange(frames) >= 40) & (np.arange(frames) < 60), 0.5, 0.0)
    down = np.ones(frames, dtype=bool)
    lifted = np.where(np.arange(frames) == 50, 0.012, 0.0)
    rising = 0.02 * ramp(frames, 40, 60)
    assert not steps(speed, np.zeros(frames), down, 0.12, 0.008).any()
    assert not steps(speed, rising, down, 0.12, 0.008).any()
    stepping = steps(speed, lifted, down, 0.12, 0.008)
    assert np.flatnonzero(stepping).tolist() == list(range(40, 60))


def test_a_foot_that_lands_from_the_air_steps():
    speed = np.array([0.0, 0.5, 0.5, 0.5, 0.0])
    height = np.array([0.030, 0.025, 0.018, 0.010, 0.005])
    landing = np.array([False, False, True, True, True])
    assert steps(speed, height, landing, 0.12, 0.008)[1:4].all()
    assert not steps(speed, height, np.ones(5, dtype=bool), 0.12, 0.008).any()


def test_trimming_spares_the_ends_of_the_clip():
    assert trimmed((0, 99), 100.0, 0.08, 100) == (0, 99)
    assert trimmed((10, 50), 100.0, 0.08, 100) == (18, 42)
    assert trimmed((10, 26), 100.0, 0.08, 100) is None
    assert trimmed((0, 99), 100.0, 0.08, 100, (False, True)) == (8, 99)
    assert trimmed((0, 99), 100.0, 0.08, 100, (True, False)) == (0, 91)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_contacts_of_the_made_walk_are_where_it_was_made_to_step(rate_hz):
    """Heel strikes to within 40 ms, toe-offs to within 60 ms, at each rate."""
    from kinelint.anatomy.contacts import stance
    from kinelint.frame_spans import spans

    placed = walk(seconds=5.0, sample_rate_hz=rate_hz)
    motion = placed.motion()
    for side in ("left", "right"):
        found = [(s.first / rate_hz, s.last / rate_hz) for s in spans(stance(motion, side))]
        made = [s for s in placed.stances if s.side == side and s.toe_off_s > 0.1]
        assert len(found) == len(made)
        for (first, last), one in zip(found, made, strict=True):
            assert first == pytest.approx(max(one.heel_strike_s, 0.0), abs=0.04)
            assert last == pytest.approx(min(one.toe_off_s, 5.0), abs=0.06)
