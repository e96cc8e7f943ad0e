"""Alignment of two poses, against the worked example and a general optimiser."""

import numpy as np
import pytest
from scipy.optimize import minimize

from kinelint.kinematics.alignment import align

# Worked example for the closed form of Kovar, Gleicher & Pighin 2002 (ACM TOG 21:473-482),
# computed apart from this project's code and checked by brute force.
P = np.array([[0.0, 0, 0], [1, 0, 0], [0, 2, 1], [2, 1, 1]])
Q = np.array(
    [
        [-1.389230, 0, 0.006218],
        [-0.523205, 0, 0.506218],
        [-1.889230, 2, 0.872243],
        [-0.157180, 1, 1.872243],
    ]
)


def test_worked_example_is_met():
    found = align(P, Q, np.ones(4))
    assert np.degrees(found.yaw_rad) == pytest.approx(30.0, abs=1e-4)
    assert (found.x_m, found.z_m) == pytest.approx((1.2, -0.7), abs=1e-5)
    assert found.residual == pytest.approx(0.0, abs=1e-10)


def test_a_raised_point_leaves_the_alignment_alone():
    raised = P.copy()
    raised[3, 1] += 0.1
    found = align(raised, Q, np.ones(4))
    assert np.degrees(found.yaw_rad) == pytest.approx(30.0, abs=1e-4)
    assert found.residual == pytest.approx(0.01, abs=1e-6)


def test_a_point_moved_along_the_floor_turns_it():
    moved = P.copy()
    moved[3, 0] += 0.1
    found = align(moved, Q, np.ones(4))
    assert np.degrees(found.yaw_rad) == pytest.approx(30.739259, abs=1e-4)
    assert (found.x_m, found.z_m) == pytest.approx((1.209480, -0.705706), abs=1e-5)
    assert found.residual == pytest.approx(0.006854866, abs=1e-7)


def test_nothing_a_general_optimiser_finds_is_better():
    rng = np.random.default_rng(7)
    for _ in range(40):
        p, q, w = rng.normal(size=(9, 3)), rng.normal(size=(9, 3)), rng.uniform(0.1, 2, 9)

        def cost(t, p=p, q=q, w=w):
            c, s = np.cos(t[0]), np.sin(t[0])
            x = q[:, 0] * c + q[:, 2] * s + t[1]
            z = -q[:, 0] * s + q[:, 2] * c + t[2]
            moved = np.stack((x, q[:, 1], z), axis=1)
            return float(np.sum(w[:, None] * (p - moved) ** 2))

        best = min(minimize(cost, [a, 0, 0]).fun for a in (-2.0, 0.0, 2.0))
        assert align(p, q, w).residual <= best + 1e-7
