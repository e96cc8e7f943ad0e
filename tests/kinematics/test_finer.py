"""Paths at a higher rate, against SciPy's monotone interpolation."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from kinelint.kinematics.finer import finer, per_frame, smoothed


@pytest.mark.parametrize("steps", [2, 4, 5])
@pytest.mark.parametrize("frames", [2, 3, 4, 60])
def test_it_is_the_monotone_cubic_of_scipy(frames, steps):
    values = np.cumsum(np.random.default_rng(frames).normal(size=(3, 2, frames)), axis=-1)
    values[0, 0] = np.round(values[0, 0])
    times = np.arange(steps * (frames - 1) + 1) / steps
    expected = PchipInterpolator(np.arange(frames), values, axis=-1)(times)
    assert finer(values, steps) == pytest.approx(expected, abs=1e-12)


def test_a_leap_is_not_seen_before_it_comes():
    path = finer(np.repeat([0.0, 1.0], 10), 4)
    assert path.min() == 0.0
    assert path.max() == 1.0
    assert np.all(path[:37] == 0.0)


def test_one_step_a_frame_is_the_path_itself():
    values = np.arange(5.0)
    assert finer(values, 1) is values
    assert finer(values[:1], 4).tolist() == [0.0]


@pytest.mark.parametrize(
    ("rate_hz", "steps"), [(24.0, 5), (25.0, 5), (30.0, 4), (29.97, 4), (59.94, 1), (60.0, 1)]
)
def test_low_rates_are_read_at_120_hz_or_a_little_more(rate_hz, steps):
    assert per_frame(rate_hz) == steps
    assert per_frame(120.0) == 1


@pytest.mark.parametrize("rate_hz", [60.0, 120.0, 240.0])
def test_smoothing_keeps_what_stands_or_moves_steadily_and_takes_shivers_out(rate_hz):
    times = np.arange(round(rate_hz) + 1) / rate_hz
    steady = np.stack((0.3 * times, 0.0 * times))
    assert smoothed(steady, rate_hz, 0.05) == pytest.approx(steady, abs=1e-12)
    # A triangle of 0.05 s has its first zero at 20 Hz: sinc(f / 20 Hz) squared.
    shiver = smoothed(np.sin(2.0 * np.pi * 20.0 * times), rate_hz, 0.05)
    assert np.abs(shiver[10:-10]).max() < 1e-9
    sway = smoothed(np.sin(2.0 * np.pi * 2.0 * times), rate_hz, 0.05)
    wanted = np.sinc(2.0 / 20.0) ** 2
    assert np.abs(sway).max() == pytest.approx(wanted, abs=0.006)


def test_smoothing_leaves_too_short_paths_alone():
    assert smoothed(np.array([1.0, 2.0]), 60.0, 0.05).tolist() == [1.0, 2.0]
    assert smoothed(np.arange(3.0), 60.0, 0.05).shape == (3,)
    assert smoothed(np.arange(4.0), 120.0, 0.05).shape == (4,)
