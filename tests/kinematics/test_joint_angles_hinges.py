"""Hinges: how far, to which side, about what axis."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.kinematics import hinge

RNG = np.random.default_rng(7)
DOWN = np.array([[0.0], [-1.0], [0.0]])


def turned(axis: np.ndarray, degrees: np.ndarray, v: np.ndarray) -> np.ndarray:
    """By SciPy, ``(3, frames)``."""
    vectors = np.radians(degrees)[:, None] * axis / np.linalg.norm(axis)
    return Rotation.from_rotvec(vectors).apply(v[:, 0]).T


def test_bend_about_reads_the_turn_with_its_sign():
    degrees = np.linspace(-40, 150, 60)
    lower = turned(np.array([0, 0, 1.0]), degrees, DOWN)
    upper = np.broadcast_to(DOWN, lower.shape)
    axis = np.broadcast_to([[0.0], [0.0], [1.0]], lower.shape)
    assert np.degrees(hinge.bend_about(axis, upper, lower)) == pytest.approx(degrees, abs=1e-9)
    assert np.degrees(hinge.bend(upper, lower)) == pytest.approx(np.abs(degrees), abs=1e-6)


def test_a_bend_out_of_the_plane_does_not_count():
    """A carrying angle of 12 deg (men 11.6, Van Roy 2005) is no flexion."""
    lower = turned(np.array([1.0, 0, 0]), np.array([12.0]), DOWN)
    axis = np.array([[0.0], [0.0], [1.0]])
    assert np.degrees(hinge.bend_about(axis, DOWN, lower)) == pytest.approx([0.0], abs=1e-9)


def test_a_segment_along_the_axis_reads_nothing():
    axis = np.array([[0.0], [1.0], [0.0]])
    assert np.isnan(hinge.bend_about(axis, DOWN, np.array([[1.0], [0.0], [0.0]]))).all()


def planes_of(degrees: np.ndarray, axis: np.ndarray, frame_s: float = 1 / 60) -> hinge.BendPlanes:
    lower = turned(axis, degrees, DOWN)
    upper = np.broadcast_to(DOWN, lower.shape)
    return hinge.bend_planes(np.cross(upper, lower, axis=0), hinge.bend(upper, lower), frame_s)


def test_the_axis_is_learnt_from_clear_bends():
    axis = np.array([0.2, 0.0, 1.0])
    learnt = planes_of(np.linspace(-10, 90, 120), axis).axis()
    assert learnt is not None
    assert learnt[:, 0] == pytest.approx(axis / np.linalg.norm(axis), abs=1e-9)


def test_a_straight_limb_teaches_no_axis():
    assert planes_of(np.linspace(-12, 12, 600), np.array([0, 0, 1.0])).axis() is None


def test_a_bend_seen_for_too_short_teaches_no_axis():
    assert planes_of(np.full(10, 60.0), np.array([0, 0, 1.0])).axis() is None


def test_bends_about_two_axes_teach_none():
    one = planes_of(np.full(60, 60.0), np.array([0, 0, 1.0]))
    other = planes_of(np.full(60, 60.0), np.array([1.0, 0, 0]))
    assert one.axis() is not None
    assert hinge.merged([one, other]).axis() is None


def test_clips_of_one_skeleton_merge_to_what_one_long_clip_says():
    degrees, axis = np.linspace(25, 90, 100), np.array([0.1, 0, 1.0])
    whole = planes_of(degrees, axis)
    parts = hinge.merged([planes_of(degrees[:30], axis), planes_of(degrees[30:], axis)])
    assert parts.outer == pytest.approx(whole.outer)
    assert parts.toward == pytest.approx(whole.toward)
    assert parts.seconds == pytest.approx(whole.seconds)


def test_rigid_hinges_read_from_their_rotations_as_from_positions():
    """Two independent ways: a hinge's own rotation, and where its three joints are by SciPy."""
    chance = np.random.default_rng(7)
    frames, lower = 40, chance.normal(size=(2, 3))
    upper, axes = chance.normal(size=(2, 3)), chance.normal(size=(2, 3))
    axes /= np.linalg.norm(axes, axis=1, keepdims=True)
    upper -= 0.9 * np.einsum("hi,hi->h", axes, upper)[:, None] * axes
    turns = [Rotation.random(frames, random_state=chance) for _ in range(2)]
    local = np.stack([one.as_quat()[:, [3, 0, 1, 2]].T for one in turns])
    read = hinge.bends_of_rigid(local, np.arange(2), upper, lower, axes)
    for row, turn in enumerate(turns):
        below = turn.apply(lower[row]).T
        axis, above = (np.repeat(one[row][:, None], frames, 1) for one in (axes, upper))
        np.testing.assert_allclose(read[row], hinge.bend_about(axis, above, below), atol=1e-9)
    assert np.isnan(read).any()
    assert np.isfinite(read).sum() > frames
