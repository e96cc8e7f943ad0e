"""Paths at a higher rate, against SciPy's monotone interpolation."""

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from kinelint.kinematics.finer import finer, per_frame


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
