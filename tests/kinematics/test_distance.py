"""Capsules in capsules: a worked table, MuJoCo, coal, and a dense grid of both segments."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kinelint.kinematics import rotations
from kinelint.kinematics.distance import (
    SPAN,
    Capsules,
    end_points,
    overlaps,
    overlaps_of,
    segment_distance,
)

# (p1, q1, p2, q2, distance, s, t); None where s or t is not unique. Worked by hand.
TABLE = [
    ((0, 0, 0), (2, 0, 0), (1, -1, 1), (1, 1, 1), 1.0, 0.5, 0.5),
    ((0, 0, 0), (3, 0, 0), (1, 1, -1), (2, 1, 2), 1.0, 4 / 9, 1 / 3),
    ((0, 0, 0), (4, 0, 0), (1, 3, 0), (3, 3, 0), 3.0, None, None),
    ((0, 0, 0), (1, 0, 0), (3, 0, 0), (5, 0, 0), 2.0, 1.0, 0.0),
    ((0, 0, 0), (1, 0, 0), (4, 4, 0), (4, 8, 0), 5.0, 1.0, 0.0),
    ((0, 0, 0), (1, 0, 0), (3, -2, 0), (3, 2, 0), 2.0, 1.0, 0.5),
    ((0, 0, 0), (1, 0, 0), (2, 3, 0), (3, 1, 0), 5**0.5, 1.0, 1.0),
    ((0, 0, 0), (2, 2, 0), (0, 2, 0), (2, 0, 0), 0.0, 0.5, 0.5),
    ((0, 5, 0), (0, 5, 0), (-1, 0, 0), (1, 0, 0), 5.0, None, 0.5),
    ((1, 2, 3), (1, 2, 3), (4, 6, 3), (4, 6, 3), 5.0, None, None),
    ((0, 0, 0), (1, 0, 0), (0, 1, 0), (1, 1 + 1e-9, 0), 1.0, None, None),
]
STILL = np.array([[[1.0], [0], [0], [0]]])


def column(point):
    return np.array(point, dtype=float)[:, None]


@pytest.mark.parametrize("row", TABLE)
@pytest.mark.parametrize("swapped", [False, True])
def test_worked_segments(row, swapped: bool):
    p1, q1, p2, q2, expected, s_expected, t_expected = row
    if swapped:
        p1, q1, p2, q2, s_expected, t_expected = p2, q2, p1, q1, t_expected, s_expected
    distance, s, t = segment_distance(*(column(p) for p in (p1, q1, p2, q2)))
    assert distance[0] == pytest.approx(expected, abs=1e-12)
    if s_expected is not None:
        assert s[0] == pytest.approx(s_expected, abs=1e-12)
    if t_expected is not None:
        assert t[0] == pytest.approx(t_expected, abs=1e-12)


def segments(seed: int, count: int):
    """Random segments; a third of them points, parallel or crossing."""
    rng = np.random.default_rng(seed)
    p1, q1, p2, q2 = rng.normal(size=(4, 3, count))
    third = count // 6
    q1[:, :third] = p1[:, :third]
    q2[:, third : 2 * third] = p2[:, third : 2 * third] + 0.7 * (
        q1[:, third : 2 * third] - p1[:, third : 2 * third]
    )
    q2[:, 2 * third : 3 * third] = (p1 + q1 - p2)[:, 2 * third : 3 * third]
    return p1, q1, p2, q2


@pytest.mark.parametrize("seed", range(3))
def test_never_above_a_dense_grid_and_reached_by_its_own_points(seed: int):
    p1, q1, p2, q2 = segments(seed, 600)
    distance, s, t = segment_distance(p1, q1, p2, q2)
    share = np.linspace(0.0, 1.0, 41)
    on_1 = p1[..., None, None] + share[:, None] * (q1 - p1)[..., None, None]
    on_2 = p2[..., None, None] + share * (q2 - p2)[..., None, None]
    grid = np.sqrt(((on_1 - on_2) ** 2).sum(axis=0)).min(axis=(1, 2))
    assert np.all(distance <= grid + 1e-12)
    step = (np.linalg.norm(q1 - p1, axis=0) + np.linalg.norm(q2 - p2, axis=0)) / 40
    assert np.all(distance >= grid - step)
    own = np.linalg.norm((p1 + s * (q1 - p1)) - (p2 + t * (q2 - p2)), axis=0)
    np.testing.assert_allclose(own, distance, rtol=0, atol=1e-12)


def made(points, radii):
    """Capsules of given ends ``(caps, 2, 3)`` on one joint that stays at the origin."""
    points = np.asarray(points, dtype=float)
    joints = np.zeros(points.shape[:2], dtype=int)
    return Capsules(joints, points, np.asarray(radii, dtype=float)), np.zeros((1, 3, 1)), STILL


def test_depths_worked_by_hand():
    """R 0.05 + 0.04 at 0.07: 0.02 deep. An upper arm (57.0) beside a chest (168.5) at 200: 25.5."""
    ends = [[[0, 0, 0], [1, 0, 0]], [[0, 0.07, 0], [1, 0.07, 0]]]
    found = overlaps(made(ends, [0.05, 0.04])[0], np.array([[0, 1]]), np.zeros((1, 3, 1)), STILL)
    assert found.depth_m[0] == pytest.approx(0.02, abs=1e-12)
    np.testing.assert_allclose(found.direction[:, 0], [0, -1, 0], atol=1e-12)
    # The first reaches up to 0.05, the second down to 0.03: the middle lies at 0.04.
    assert found.point_m[1, 0] == pytest.approx(0.04, abs=1e-12)
    arm = [[[0, 0, 0], [0, 0.4, 0]], [[0.2, 0.1, 0], [0.2, 0.3, 0]]]
    found = overlaps(made(arm, [0.0570, 0.1685])[0], np.array([[0, 1]]), np.zeros((1, 3, 1)), STILL)
    assert found.depth_m[0] == pytest.approx(0.0255, abs=1e-12)


@pytest.mark.parametrize(
    ("second", "name"),
    [
        ([[0.5, -1, 0], [0.5, 1, 0]], "crossing axes"),
        ([[0.2, 0, 0], [0.9, 0, 0]], "one axis in the other"),
        ([[0.4, 0, 0], [0.4, 0, 0]], "a ball on the axis"),
    ],
)
def test_touching_axes_have_a_direction_that_clears(second, name: str):
    capsules, positions, still = made([[[0, 0, 0], [1, 0, 0]], second], [0.06, 0.05])
    found = overlaps(capsules, np.array([[0, 1]]), positions, still)
    assert found.depth_m[0] == pytest.approx(0.11, abs=1e-12), name
    assert np.linalg.norm(found.direction[:, 0]) == pytest.approx(1.0, abs=1e-12)
    moved = capsules.offsets_m.copy()
    moved[0] += found.direction[:, 0] * (0.11 + 1e-9)
    clear = Capsules(capsules.joints, moved, capsules.radii_m)
    assert len(overlaps(clear, np.array([[0, 1]]), positions, still)) == 0, name


def test_two_balls_at_one_place():
    capsules, positions, still = made([[[0, 0, 0]] * 2, [[0, 0, 0]] * 2], [0.06, 0.05])
    found = overlaps(capsules, np.array([[0, 1]]), positions, still)
    assert found.depth_m[0] == pytest.approx(0.11)
    assert np.linalg.norm(found.direction[:, 0]) == pytest.approx(1.0)


def random_body(seed: int, caps: int = 14, joints: int = 9, frames: int = 60):
    rng = np.random.default_rng(seed)
    positions = rng.normal(size=(joints, 3, frames)) * 0.5
    orientations = rng.normal(size=(joints, 4, frames))
    orientations /= np.linalg.norm(orientations, axis=1, keepdims=True)
    offsets = rng.normal(size=(caps, 2, 3)) * 0.2
    offsets[::3] = 0.0
    capsules = Capsules(
        rng.integers(0, joints, size=(caps, 2)), offsets, rng.uniform(0.02, 0.2, caps)
    )
    pairs = np.array([(i, j) for i in range(caps) for j in range(i + 1, caps)])
    return capsules, rng.permutation(pairs), positions, orientations


@pytest.mark.parametrize("seed", range(3))
def test_agrees_with_mujoco(seed: int):
    """Oracle: mj_geomDistance, and its contact frames, of capsules of the same ends."""
    mujoco = pytest.importorskip("mujoco")
    capsules, pairs, positions, orientations = random_body(seed)
    starts, ends = end_points(capsules, positions, orientations)
    spec = mujoco.MjSpec()
    for cap in range(len(capsules)):
        body = spec.worldbody.add_body(name=f"b{cap}")
        body.mocap = True
        body.add_geom(
            name=f"g{cap}",
            type=mujoco.mjtGeom.mjGEOM_CAPSULE,
            size=[capsules.radii_m[cap], 0.1, 0],
        )
    model = spec.compile()
    data = mujoco.MjData(model)
    depth = depths(overlaps(capsules, pairs, positions, orientations), len(pairs), 60)
    fromto = np.zeros(6)
    for f in range(0, 60, 3):
        for cap in range(len(capsules)):
            axis = ends[cap, :, f] - starts[cap, :, f]
            length = np.linalg.norm(axis)
            model.geom_size[cap, 1] = length / 2
            data.mocap_pos[cap] = (starts[cap, :, f] + ends[cap, :, f]) / 2
            up = np.array([0.0, 0, 1])[:, None]
            across = axis[:, None] if length else up
            data.mocap_quat[cap] = rotations.between(up, across)[:, 0]
        mujoco.mj_kinematics(model, data)
        for row, (i, j) in enumerate(pairs):
            distance = mujoco.mj_geomDistance(model, data, int(i), int(j), 10.0, fromto)
            assert depth[row, f] == pytest.approx(max(0.0, -distance), abs=1e-9)


def test_agrees_with_coal():
    """Oracle: coal's capsule-capsule distance, negative inside."""
    coal = pytest.importorskip("coal")
    capsules, pairs, positions, orientations = random_body(7)
    starts, ends = end_points(capsules, positions, orientations)
    depth = depths(overlaps(capsules, pairs, positions, orientations), len(pairs), 60)
    request = coal.DistanceRequest()
    for f in range(0, 60, 6):
        shapes, places = [], []
        for cap in range(len(capsules)):
            axis = (ends - starts)[cap, :, f]
            length = float(np.linalg.norm(axis))
            shapes.append(coal.Capsule(float(capsules.radii_m[cap]), length))
            up = np.array([0.0, 0, 1])[:, None]
            turn = rotations.between(up, axis[:, None] if length else up)
            middle = (starts + ends)[cap, :, f] / 2
            places.append(coal.Transform3s(rotations.to_matrix(turn)[..., 0], middle))
        for row, (i, j) in enumerate(pairs):
            result = coal.DistanceResult()
            distance = coal.distance(shapes[i], places[i], shapes[j], places[j], request, result)
            assert depth[row, f] == pytest.approx(max(0.0, -distance), abs=1e-9)


def depths(found, pairs: int, frames: int):
    """``(pairs, frames)`` depth, 0 where clear."""
    dense = np.zeros((pairs, frames))
    dense[found.pair, found.frame] = found.depth_m
    return dense


def test_the_cull_drops_nothing_over_many_chunks():
    """Sparse answer against every pair and frame in closed form."""
    capsules, pairs, positions, orientations = random_body(11, frames=4 * SPAN + 5)
    found = overlaps(capsules, pairs, positions, orientations)
    starts, ends = end_points(capsules, positions, orientations)
    for row, (i, j) in enumerate(pairs):
        distance, _, _ = segment_distance(starts[i], ends[i], starts[j], ends[j])
        expected = np.maximum(0.0, capsules.radii_m[i] + capsules.radii_m[j] - distance)
        one = depths(found, len(pairs), positions.shape[-1])[row] if row == 0 else None
        mine = np.zeros(positions.shape[-1])
        mine[found.frame[found.pair == row]] = found.depth_m[found.pair == row]
        np.testing.assert_allclose(mine, expected, rtol=0, atol=1e-12)
        if one is not None:
            np.testing.assert_array_equal(one, mine)
    assert np.all(np.diff(found.pair) >= 0)


def test_a_least_depth_for_each_pair():
    capsules, pairs, positions, orientations = random_body(5)
    everything = overlaps(capsules, pairs, positions, orientations)
    least = np.linspace(0.0, 0.2, len(pairs))
    some = overlaps(capsules, pairs, positions, orientations, least)
    kept = everything.depth_m > least[everything.pair]
    np.testing.assert_array_equal(some.pair, everything.pair[kept])
    np.testing.assert_array_equal(some.frame, everything.frame[kept])
    np.testing.assert_array_equal(some.depth_m, everything.depth_m[kept])
    np.testing.assert_array_equal(some.point_m, everything.point_m[:, kept])


@given(seed=st.integers(0, 10_000))
@settings(max_examples=30, deadline=None)
def test_moving_along_the_direction_by_the_depth_just_clears(seed: int):
    rng = np.random.default_rng(seed)
    starts, ends = rng.normal(size=(2, 2, 3, 20)) * 0.3
    radii = rng.uniform(0.05, 0.3, 2)
    pair = np.array([[0, 1]])
    found = overlaps_of(starts, ends, radii, pair)
    starts, ends = starts[..., found.frame], ends[..., found.frame]
    for factor, clear in ((1.0 + 1e-9, True), (0.99, False)):
        step = found.direction * found.depth_m * factor + found.direction * 1e-12 * clear
        moved = np.stack((starts[0] + step, starts[1])), np.stack((ends[0] + step, ends[1]))
        assert (len(overlaps_of(*moved, radii, pair)) == 0) or not clear
        if not clear:
            assert len(overlaps_of(*moved, radii, pair)) == len(found)


def test_no_pairs_and_no_frames():
    capsules, pairs, positions, orientations = random_body(5)
    none = np.empty((0, 2), dtype=int)
    assert len(overlaps(capsules, none, positions, orientations)) == 0
    assert len(overlaps(capsules, pairs, positions[..., :0], orientations[..., :0])) == 0


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(ValueError, match="2 radii"):
        Capsules(np.zeros((1, 2), dtype=int), np.zeros((1, 2, 3)), np.ones(2))
