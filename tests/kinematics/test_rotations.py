"""Quaternions against SciPy's `Rotation` and the worked values of the ISB sequences.

Worked values: intrinsic Z-X-Y (30, 20, 10) and Y-X-Y (30, 60, 20), derived from the definitions of
Wu et al. 2002 and 2005 and checked with a second method; swing and twist after Dobrowolski 2015.
"""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation, Slerp

from kinelint.kinematics import rotations as r

Q_ZXY = np.array([0.943714, 0.144878, 0.127679, 0.268536])[:, None]
R_ZXY = np.array(
    [
        [0.823173, -0.469846, 0.318796],
        [0.543838, 0.813798, -0.204874],
        [-0.163176, 0.342020, 0.925417],
    ]
)
ORDERS = [
    "".join(order)
    for order in itertools.product("XYZ", repeat=3)
    if order[0] != order[1] and order[1] != order[2]
]


def wxyz(rotation):
    return np.moveaxis(rotation.as_quat()[..., [3, 0, 1, 2]], -1, -2)


def scipy_of(q):
    return Rotation.from_quat(np.moveaxis(q, -2, -1)[..., [1, 2, 3, 0]])


def same(a, b, tolerance=1e-12):
    return bool(np.all(r.angle_between(a, b) < tolerance * 1e4))


@pytest.fixture
def pair():
    rng = np.random.default_rng(3)
    return [wxyz(Rotation.random(500, random_state=rng)) for _ in range(2)]


@pytest.mark.parametrize("order", ORDERS)
def test_all_twelve_orders_equal_scipys_intrinsic_sequences(order):
    angles = np.random.default_rng(1).uniform(-180, 180, size=(3, 200))
    ours = r.from_euler(order, np.radians(angles))
    theirs = wxyz(Rotation.from_euler(order, angles.T, degrees=True))
    assert same(ours, theirs)


def test_worked_zxy_is_met():
    q = r.from_euler("ZXY", np.radians([[30.0], [20.0], [10.0]]))
    np.testing.assert_allclose(q, Q_ZXY, atol=1e-6)
    np.testing.assert_allclose(r.to_matrix(q)[..., 0], R_ZXY, atol=1e-6)


def test_products_and_turned_vectors_equal_scipys(pair):
    a, b = pair
    assert same(r.multiply(a, b), wxyz(scipy_of(a) * scipy_of(b)))
    v = np.random.default_rng(4).normal(size=(3, 500))
    np.testing.assert_allclose(r.rotate(a, v), scipy_of(a).apply(v.T).T, atol=1e-12)
    np.testing.assert_allclose(r.unrotate(a, r.rotate(a, v)), v, atol=1e-12)


def test_matrices_there_and_back(pair):
    a, _ = pair
    m = r.to_matrix(a)
    np.testing.assert_allclose(np.moveaxis(m, -1, 0), scipy_of(a).as_matrix(), atol=1e-12)
    assert same(r.from_matrix(m), a)


def test_half_turns_survive_matrices():
    for axis in "XYZ":
        q = r.about(axis, np.array([np.pi]))
        assert same(r.from_matrix(r.to_matrix(q)), q)


def test_angles_between_do_not_see_the_sign(pair):
    a, b = pair
    expected = (scipy_of(a).inv() * scipy_of(b)).magnitude()
    np.testing.assert_allclose(r.angle_between(a, b), expected, atol=1e-7)
    np.testing.assert_allclose(r.angle_between(a, -b), expected, atol=1e-7)


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.75, 1.0])
def test_slerp_equals_scipys(pair, share):
    a, b = (q[:, :40] for q in pair)
    ours = r.slerp(a, -b, np.full(40, share))
    ends = [
        Slerp([0, 1], Rotation.concatenate([x, y]))
        for x, y in zip(scipy_of(a), scipy_of(b), strict=True)
    ]
    theirs = wxyz(Rotation.concatenate([one(share) for one in ends]))
    assert same(ours, theirs, 1e-10)


def test_slerp_worked_values():
    quarter = r.about("X", np.radians([90.0]))
    q = r.slerp(np.array(r.IDENTITY), quarter, np.array([0.25]))
    np.testing.assert_allclose(q[:, 0], (0.980785, 0.195090, 0, 0), atol=1e-6)


@pytest.mark.parametrize(
    ("axis", "twist_deg", "swing_deg"),
    [("Y", 15.41004668, 35.53134776), ("X", 17.45570520, 34.59630928)],
)
def test_swing_and_twist_worked_values(axis, twist_deg, swing_deg):
    q = r.from_euler("ZXY", np.radians([[30.0], [20.0], [10.0]]))
    swing, twist = r.swing_twist(q, np.eye(3)[:, "XYZ".index(axis)][:, None])
    assert np.degrees(r.angle(twist))[0] == pytest.approx(twist_deg, abs=1e-6)
    assert np.degrees(r.angle(swing))[0] == pytest.approx(swing_deg, abs=1e-6)
    assert same(r.multiply(swing, twist), q)


def test_twist_of_a_pure_half_turn_swing_is_none():
    _, twist = r.swing_twist(r.about("X", np.array([np.pi])), np.array([[0.0], [1.0], [0.0]]))
    np.testing.assert_allclose(twist, r.IDENTITY, atol=1e-12)


def test_between_turns_one_direction_onto_another():
    rng = np.random.default_rng(5)
    a, b = rng.normal(size=(2, 3, 300))
    a[:, 0], b[:, 0] = (1, 0, 0), (-1, 0, 0)
    q = r.between(a, b)
    got = r.rotate(q, a / np.linalg.norm(a, axis=0))
    np.testing.assert_allclose(got, b / np.linalg.norm(b, axis=0), atol=1e-9)


def test_mean_equals_scipys(pair):
    near = r.multiply(pair[0][:, :1], r.from_euler("XYZ", 0.3 * pair[1][1:]))
    theirs = scipy_of(near).mean().as_quat()[[3, 0, 1, 2]]
    assert same(r.mean(near), theirs[:, None], 1e-9)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(-7, 7), min_size=3, max_size=3))
def test_any_rotation_keeps_lengths_and_is_undone_by_its_conjugate(angles):
    q = r.from_euler("YXZ", np.array(angles)[:, None])
    v = np.array([[0.3], [-2.0], [5.0]])
    assert np.linalg.norm(r.rotate(q, v)) == pytest.approx(np.linalg.norm(v), rel=1e-12)
    np.testing.assert_allclose(r.multiply(q, r.conjugate(q)), r.IDENTITY, atol=1e-12)
