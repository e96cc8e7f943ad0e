"""Interpolation against glTF 2.0, appendix C, and SciPy; and the choice of rate."""

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial.transform import Rotation, Slerp

from kinelint.kinematics import rotations
from kinelint.readers import sampling


def sample(function, keys, times, *values):
    at = sampling.lookup(np.array(keys, float), np.array(times, float), 1e-9)
    return function(*(np.array(one, float) for one in values), at)


@pytest.mark.parametrize(
    ("keys", "slope", "expected"),
    [
        ([0, 1], 0, [0.15625, 0.5, 0.84375]),
        ([0, 2], 0, [0.15625, 0.5, 0.84375]),
        ([0, 1], 1, [0.25, 0.5, 0.75]),
        ([0, 2], 1, [0.34375, 0.5, 0.65625]),  # catches a missing factor of the gap
    ],
)
def test_cubicspline_gives_the_worked_values_from_0_to_1(keys, slope, expected):
    # Worked by hand from the formula in glTF 2.0, appendix C.5.
    times = np.array([0.25, 0.5, 0.75]) * keys[1]
    found = sample(sampling.cubic, keys, times, [[9, slope]], [[0, 1]], [[slope, 9]])
    np.testing.assert_allclose(found, [expected], atol=1e-15)


@pytest.mark.parametrize(("gap", "expected"), [(1, 2.875), (2, 2.25)])
def test_cubicspline_tells_in_from_out_tangents(gap, expected):
    # v0 = 2, b0 = -1, v1 = 5, a1 = 4 at the middle, by the same formula.
    found = sample(sampling.cubic, [0, gap], [gap / 2], [[77, 4]], [[2, 5]], [[-1, 77]])
    assert found[0, 0] == pytest.approx(expected, abs=1e-15)


def test_cubicspline_equals_scipy_on_many_uneven_keys():
    random = np.random.default_rng(1)
    keys = np.cumsum(random.uniform(0.01, 0.5, 12))
    values, slope = random.normal(size=(2, 3, 12))
    times = np.linspace(keys[0], keys[-1], 301)
    found = sample(sampling.cubic, keys, times, slope, values, slope)
    expected = CubicHermiteSpline(keys, values.T, slope.T)(times).T
    np.testing.assert_allclose(found, expected, atol=1e-12)


def test_linear_rotation_gives_the_worked_values_either_way_round():
    # Half of 90 degrees about X: cos and sin of 22.5 degrees.
    half = np.sqrt(0.5)
    for sign in (1.0, -1.0):
        keys = np.array([[1, 0, 0, 0], [sign * half, sign * half, 0, 0]]).T
        found = sample(sampling.linear_rotation, [0, 1], [0.25, 0.5, 0.75], keys)
        expected = [[0.980785, 0.923880, 0.831470], [0.195090, 0.382683, 0.555570]]
        np.testing.assert_allclose(found[:2], expected, atol=5e-7)


def test_linear_rotation_equals_scipy_slerp():
    random = np.random.default_rng(2)
    keys = np.cumsum(random.uniform(0.01, 0.5, 20))
    turns = Rotation.random(20, random_state=3)
    times = np.linspace(keys[0], keys[-1], 401)
    stored = turns.as_quat()[:, [3, 0, 1, 2]].T * random.choice([-1.0, 1.0], 20)
    found = sample(sampling.linear_rotation, keys, times, stored)
    expected = Slerp(keys, turns)(times).as_quat()[:, [3, 0, 1, 2]].T
    assert rotations.angle_between(found, expected).max() < 1e-7


def test_linear_rotation_across_half_a_turn_stays_finite():
    # The printed formula divides 0 by 0 where the dot product is 0; appendix C is silent.
    found = sample(sampling.linear_rotation, [0, 1], [0.5], [[1, 0], [0, 1], [0, 0], [0, 0]])
    np.testing.assert_allclose(np.degrees(rotations.angle(found)), [90.0])


def test_a_key_time_gives_the_stored_value_as_it_is():
    # Appendix C.2: "the stored value MUST be used as-is" - even beside a value of NaN.
    values = [[0.1, np.nan, 0.3]]
    for function, columns in ((sampling.linear, 1), (sampling.step, 1), (sampling.cubic, 3)):
        found = sample(function, [0, 1, 2], [0, 2], *[values] * columns)
        assert found.tolist() == [[0.1, 0.3]]


def test_values_are_held_before_the_first_and_after_the_last_key():
    # Appendix C.1: outside the keys the nearest end value is used.
    for function, columns in ((sampling.linear, 1), (sampling.step, 1), (sampling.cubic, 3)):
        found = sample(function, [1, 2], [0, 0.999, 2.001, 9], *[[[5.0, 7.0]]] * columns)
        assert found.tolist() == [[5.0, 5.0, 7.0, 7.0]]


def test_step_changes_on_its_own_key_in_spite_of_float32_times():
    keys = (np.arange(31) / 30).astype(np.float32).astype(float)
    plan = sampling.plan(keys)
    at = sampling.lookup(keys, plan.times_s, plan.tolerance_s)
    assert sampling.step(np.arange(31.0), at).tolist() == list(range(31))


@pytest.mark.parametrize(
    ("keys", "rate_hz", "frames"),
    [
        (np.arange(24) / 24, 48.0, 47),
        (np.arange(26) / 25, 50.0, 51),
        (np.arange(31) / 30, 30.0, 31),
        (np.arange(121) / 120, 120.0, 121),
        ([0.0, 0.5, 1.0], 30.0, 31),
        ([0.0, 1.25], 48.0, 61),
        (np.arange(300) * 1001 / 30000, 30000 / 1001, 300),
        (np.arange(50) / 37, 37.0, 50),
        (np.arange(90) / 17, 34.0, 179),
        (np.arange(2000) / 1000, 1000.0, 2000),
        ([3.0], 30.0, 1),
    ],
)
def test_uniform_keys_keep_their_rate_or_its_least_multiple_from_30_hz(keys, rate_hz, frames):
    plan = sampling.plan(np.asarray(keys, float))
    assert plan.rate_hz == pytest.approx(rate_hz, rel=1e-6)
    assert plan.steps + 1 == frames
    assert plan.key_rate_hz is not None


def test_every_uniform_key_is_a_frame():
    keys = (0.2 + np.arange(23) / 24).astype(np.float32).astype(float)
    plan = sampling.plan(keys)
    np.testing.assert_allclose(plan.times_s[::2], keys, atol=1e-6)


@pytest.mark.parametrize(
    ("keys", "wanted", "asked", "frames"),
    [
        ([0.0, 0.0617, 1.0003], None, 30.0, 32),  # 16 Hz is too coarse
        ([0.0, 0.0117, 1.0003], None, 1 / 0.0117, 87),
        ([0.0, 0.0021, 1.0003], None, 240.0, 242),
        ([0.0, 0.0617, 1.0003], 60.0, 60.0, 62),
        (np.arange(31) / 30, 60.0, 30.0, 31),  # the caller's rate is for uneven keys only
    ],
)
def test_uneven_keys_are_sampled_at_their_densest_gap_or_as_asked(keys, wanted, asked, frames):
    plan = sampling.plan(np.asarray(keys, float), wanted)
    assert plan.asked_hz == pytest.approx(asked)
    assert plan.steps + 1 == frames


def test_the_grid_holds_the_first_and_the_exact_last_key():
    # A loop of 23/24 s, sampled at 30 Hz without its end, shows a seam that is not there.
    keys = np.array([0.1, 0.1517, 0.1 + 23 / 24])
    plan = sampling.plan(keys)
    assert plan.times_s[0] == keys[0]
    assert plan.times_s[-1] == keys[-1]
    assert plan.rate_hz == pytest.approx(29 / (23 / 24))
    assert plan.rate_hz >= 30.0


def test_two_keys_at_one_moment_do_not_ask_for_a_huge_rate():
    keys = np.array([0.0, 0.2137, 0.2137001, 0.3391, 0.7177])
    assert sampling.plan(keys).asked_hz == 30.0
