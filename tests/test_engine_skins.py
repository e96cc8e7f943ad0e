"""Meshes of a body file on the skeleton of the clips."""

from __future__ import annotations

import numpy as np
import pytest

from kinelint.clip import Asset, Clip, Skeleton, Skin
from kinelint.engine.skins import fitted


def skeleton(names, parents, scale=1.0):
    rest = np.array([[0.0, 1.0, 0.0]] * len(names)) * scale
    return Skeleton(tuple(names), np.array(parents), rest)


BODY = skeleton(["crew:Hips", "crew:Spine", "crew:Twist", "crew:Hand"], [-1, 0, 1, 2])


def asset(metres_per_unit):
    skin = Skin(
        "mesh",
        vertices=np.array([[0.0, 1.0, 0.0], [0.0, 2.0, 0.5], [0.0, 3.0, 0.0]]),
        joints=np.array([[0, 0, 0, 0], [2, 3, 0, 0], [3, 0, 0, 0]]),
        weights=np.array([[1.0, 0, 0, 0], [0.75, 0.25, 0, 0], [1.0, 0, 0, 0]]),
        bind_positions=np.array([[0.0, y, 0.0] for y in (1, 2, 3, 4)]),
        bind_rotations=np.tile([1.0, 0, 0, 0], (4, 1)),
    )
    clip = Clip("pose", BODY, 30.0, np.tile([[1.0], [0], [0], [0]], (4, 1, 1)))
    clip = Clip("pose", BODY, 30.0, clip.rotations, metres_per_unit=metres_per_unit)
    return Asset((clip,), BODY, (skin,))


def test_the_same_skeleton_keeps_its_skins():
    made = asset(1.0)
    assert fitted(made, BODY, 1.0) == made.skins


def test_joints_are_paired_by_name_and_lengths_brought_to_the_clips_unit():
    onto = skeleton(["root", "hips", "spine", "hand"], [-1, 0, 1, 2], scale=100.0)
    [skin] = fitted(asset(1.0), onto, 0.01)
    assert skin.joints[0, 0] == 1
    # The twist joint has no pair: what hangs on it goes to the spine.
    assert skin.joints[1, :2].tolist() == [2, 3]
    assert skin.weights.sum(axis=1) == pytest.approx(1.0)
    assert skin.vertices[1].tolist() == [0.0, 200.0, 50.0]
    assert skin.bind_positions[3].tolist() == [0.0, 400.0, 0.0]
    assert np.isnan(skin.bind_positions[0]).all()


def test_a_stranger_has_no_skin():
    assert fitted(asset(1.0), skeleton(["a", "b", "hand"], [-1, 0, 1]), 1.0) == ()
    assert fitted(Asset((), None, asset(1.0).skins), BODY, 1.0) == ()
