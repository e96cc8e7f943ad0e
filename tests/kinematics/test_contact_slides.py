"""Sizes and frames of slides whose path is known."""

import numpy as np
import pytest
from scipy.spatial.distance import pdist

from kinelint.kinematics.slides import excursion, parts_of, slides
from kinelint.synthetic_walk import ramp


def test_extent_agrees_with_the_largest_distance_of_all_pairs():
    """Against SciPy's pdist, over paths of all shapes: never above, at most 0.3 % below."""
    rng = np.random.default_rng(7)
    for _ in range(200):
        path = np.cumsum(rng.normal(size=(2, 60)), axis=1) * rng.uniform(0.001, 0.1)
        truth = pdist(path.T).max()
        size = excursion(path).size
        assert 0.997 * truth <= size <= truth * (1 + 1e-12)


def test_a_slide_has_its_size_its_way_and_its_frames():
    out = 0.05 * ramp(200, 80, 120)
    one = excursion(np.stack((-0.6 * out, 0.8 * out)))
    assert one.size == pytest.approx(0.05, rel=0.003)
    assert one.direction == pytest.approx((-0.6, 0.8), abs=0.07)
    # Minimum jerk passes a tenth of the way at a quarter of its time.
    assert 80 < one.first < 92
    assert 108 < one.last < 120


def test_out_and_back_is_one_extent():
    out = 0.05 * ramp(200, 40, 60) * (1 - ramp(200, 120, 140))
    one = excursion(np.stack((out, 0 * out)))
    assert one.size == pytest.approx(0.05)
    assert (one.first > 40, one.last < 140, one.last > 120) == (True, True, True)


def test_a_point_that_stays_has_no_extent():
    assert excursion(np.ones((2, 30))).size == 0.0


@pytest.mark.parametrize("rate_hz", [30.0, 60.0, 120.0])
def test_two_slides_of_one_stand_are_told_apart(rate_hz):
    frames = int(5 * rate_hz) + 1

    def at(time_s):
        return round(time_s * rate_hz)

    x = 0.06 * ramp(frames, at(1.0), at(1.25)) - 0.04 * ramp(frames, at(3.0), at(4.0))
    first, second, creep = slides(np.stack((x, 0 * x)), rate_hz, least=-1.0)
    assert first.size == pytest.approx(0.06, abs=0.001)
    assert second.size == pytest.approx(0.04, abs=0.002)
    assert creep.size < 0.002
    assert 1.0 <= first.first / rate_hz <= first.last / rate_hz <= 1.3
    assert 3.0 <= second.first / rate_hz <= second.last / rate_hz <= 4.0


def test_a_creep_below_the_speed_of_rest_adds_up():
    x = 0.015 * np.arange(601) / 120.0  # 15 mm/s for 5 s
    [creep] = slides(np.stack((x, 0 * x)), 120.0)
    assert creep.size == pytest.approx(0.075)


def test_parts_that_go_so_far_are_the_fastest_of_a_path_there_and_back():
    """60 mm and more each: 0.5 s there, a stop, and 0.1 s back; by construction."""
    out = 0.08 * (ramp(240, 20, 80) - ramp(240, 150, 162))
    path = np.stack((0.6 * out, 0.8 * out))
    (first, second) = sorted(parts_of(path, 0, 239, 0.06))
    assert 20 <= first[0] < first[1] <= 80
    assert 150 <= second[0] < second[1] <= 162
    for start, end in (first, second):
        assert np.hypot(*(path[:, end] - path[:, start])) >= 0.06
    assert not list(parts_of(path, 0, 239, 0.09))
    assert list(parts_of(path, 100, 239, 0.06)) == [second]
