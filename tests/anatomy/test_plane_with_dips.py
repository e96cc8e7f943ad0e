"""A floor's slope stands though one foot of a short walk sinks into it."""

import numpy as np
import pytest

from kinelint.anatomy.plane import slope_of

# A walk of eight steps up a slope of 1 in 100, feet some millimetres off.
STEEP = 0.01
NOISE_M = np.array([0.001, -0.002, 0.0, 0.002, -0.001, 0.002])


def plants(start_m: float, dips_m: dict[int, float]) -> np.ndarray:
    z = start_m + 0.7 * np.arange(6)
    y = STEEP * z + NOISE_M
    for step, depth in dips_m.items():
        y[step] -= depth
    return np.stack((0.1 * np.sign(start_m + 0.1) + 0.0 * z, y, z))


@pytest.mark.parametrize("depth_m", [0.025, 0.05, 0.10])
@pytest.mark.parametrize("step", range(6))
def test_one_foot_that_sinks_leaves_the_slope(depth_m, step):
    found = slope_of([plants(0.0, {step: depth_m}), plants(0.35, {})])
    assert found.slope[1] == pytest.approx(STEEP, abs=0.002)


def test_two_feet_that_sink_leave_it_too():
    found = slope_of([plants(0.0, {2: 0.06}), plants(0.35, {3: 0.06})])
    assert found.slope[1] == pytest.approx(STEEP, abs=0.002)


def test_dips_make_no_slope_of_a_level_floor():
    level = [
        one - np.outer([0, STEEP, 0], one[2]) for one in (plants(0.0, {4: 0.05}), plants(0.3, {}))
    ]
    assert slope_of(level).slope == (0.0, 0.0)


@pytest.mark.parametrize("steps", [2, 5])
def test_few_plants_tell_of_gentle_slopes_only(steps):
    """Two steps of each foot, the later two 42 mm lower, look like a slope of 2 degrees."""
    z = 1.2 * np.arange(steps)
    steep, gentle = ([np.stack((0 * z, k * z, z)) for _ in range(2)] for k in (0.035, STEEP))
    assert slope_of(steep).slope[1] == pytest.approx(0.035 if steps > 3 else 0.0, abs=1e-9)
    assert slope_of(gentle).slope[1] == pytest.approx(STEEP, abs=1e-9)
