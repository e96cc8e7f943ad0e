"""Which pose a skeleton rests in where the file has no bind pose: written files."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from kinelint.anatomy.tree import rest_positions
from kinelint.clip import Asset
from readers.fbx_writer import Joint, Layer, Scene, Take, curves, frame_ticks
from readers.fbx_writer_checks import asset_of, needs_fbx

pytestmark = needs_fbx

BUILT = [
    ("hips", -1, (0.0, 90.0, 0.0), (0.0, 0.0, 90.0)),
    ("chest", 0, (30.0, 0.0, 0.0), (0.0, 20.0, 0.0)),
    ("arm", 1, (20.0, 0.0, 5.0), (10.0, -35.0, 70.0)),
    ("hand", 2, (25.0, 0.0, 0.0), (0.0, 0.0, 15.0)),
]


def asset_saved_in(
    pose: int, folder: Path, pre: bool = True, pivot: bool = False, moves: bool = True
) -> Asset:
    """The same skeleton and take, saved in one of many poses."""
    rng = np.random.default_rng(pose)
    joints = []
    for name, parent, at, turned in BUILT:
        saved = tuple(rng.uniform(-60.0, 60.0, 3).tolist())
        joint = Joint(name, parent, at, rotation_deg=saved, order="ZXY")
        joint.pre_deg = turned if pre else (0.0, 0.0, 0.0)
        joint.rotation_pivot = (3.0, 0.0, 0.0) if pivot else (0.0, 0.0, 0.0)
        joints.append(joint)
    values = np.random.default_rng(99).uniform(-40.0, 40.0, (3, 5))
    layers = [
        Layer([one for j in range(4) for one in curves(j, "R", values, frame_ticks(5, 30.0))])
    ]
    return asset_of(Scene(joints, [Take("haul", layers, 0.0, 4 / 30)] if moves else []), folder)


def test_takes_saved_in_two_poses_share_a_skeleton(tmp_path):
    first, second = (asset_saved_in(pose, tmp_path) for pose in (1, 2))
    assert first.skeleton.signature == second.skeleton.signature
    np.testing.assert_allclose(
        rest_positions(first.skeleton), rest_positions(second.skeleton), atol=1e-9
    )
    np.testing.assert_allclose(first.clips[0].rotations, second.clips[0].rotations, atol=1e-9)
    assert [note.topic for note in first.notes].count("rest-pose") == 1


def test_the_pose_is_that_of_pre_rotations_alone(tmp_path):
    """By hand: the hips' 90 degrees about Z point the chest's 30 cm up."""
    at = dict(zip(*_placed(asset_saved_in(1, tmp_path)), strict=True))
    np.testing.assert_allclose(at["hips"], (0.0, 0.9, 0.0), atol=1e-9)
    np.testing.assert_allclose(at["chest"], (0.0, 1.2, 0.0), atol=1e-9)
    # 20 degrees about the chest's Y, which the hips turned to -X: (20 cos 20 + 5 sin 20) cm up.
    turn = np.radians(20.0)
    up, ahead = 20 * np.cos(turn) + 5 * np.sin(turn), 5 * np.cos(turn) - 20 * np.sin(turn)
    np.testing.assert_allclose(at["arm"], (0.0, 1.2 + up / 100, ahead / 100), atol=1e-9)


@pytest.mark.parametrize("odd", [{"pre": False}, {"pivot": True}, {"moves": False}])
def test_else_it_rests_as_it_was_saved(odd, tmp_path):
    first, second = (asset_saved_in(pose, tmp_path, **odd) for pose in (1, 2))
    assert first.skeleton.signature != second.skeleton.signature
    assert not [note for note in first.notes if note.topic == "rest-pose"]


def _placed(asset: Asset):
    return asset.skeleton.names, rest_positions(asset.skeleton)
