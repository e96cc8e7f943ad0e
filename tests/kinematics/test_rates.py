"""Rates of change on motions whose rates are known in closed form."""

import numpy as np
import pytest

from kinelint.kinematics import rates, rotations


def test_rate_is_the_change_from_the_frame_before():
    values = np.array([[0.0, 1.0, 3.0, 3.0]])
    np.testing.assert_array_equal(rates.rate(values, 10.0), [[10.0, 10.0, 20.0, 0.0]])


def test_one_frame_has_no_rate():
    assert rates.rate(np.ones((3, 1)), 30.0).tolist() == [[0.0]] * 3
    assert rates.turn_rate(np.array(rotations.IDENTITY), 30.0).tolist() == [0.0]


def test_turn_rate_of_a_steady_turn_across_the_half_turn():
    q = rotations.about("Y", np.radians(np.arange(0, 720, 6.0)))
    np.testing.assert_allclose(np.degrees(rates.turn_rate(q, 60.0)), 360.0, atol=1e-6)


@pytest.mark.parametrize("rate_hz", [24.0, 30.0, 60.0, 120.0])
def test_windowed_velocity_is_the_same_at_every_rate(rate_hz):
    t = np.arange(round(2 * rate_hz) + 1) / rate_hz
    found = rates.windowed_velocity(np.sin(2 * np.pi * t)[None], rate_hz, 0.1)
    # The mean of a cosine over the window: the derivative times sin(x)/x, from the integral.
    x = np.pi * 0.1
    expected = 2 * np.pi * np.cos(2 * np.pi * t) * np.sin(x) / x
    inside = slice(round(0.1 * rate_hz), -round(0.1 * rate_hz))
    np.testing.assert_allclose(found[0, inside], expected[inside], atol=0.35)


def test_reading_between_frames_is_linear_and_stops_at_the_ends():
    values = np.array([[0.0, 10.0, 30.0]])
    got = rates.at_times(values, 10.0, np.array([-1.0, 0.05, 0.15, 9.0]))
    np.testing.assert_allclose(got, [[0.0, 5.0, 20.0, 30.0]])
