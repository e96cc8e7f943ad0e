"""Units and axes of the file, whatever they are, come out as metres with Y up."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from kinelint.clip import Clip
from readers import fbx_writer_world
from readers.fbx_writer import Axes, Joint, Layer, RSrs, Scene, Take, curves, frame_ticks
from readers.fbx_writer_checks import (
    assert_moves_as_written,
    asset_of,
    clip_of,
    needs_fbx,
    positions_m,
)

pytestmark = needs_fbx
FRAMES = 7
AT = frame_ticks(FRAMES, 30.0)


def moving(axes: Axes | None = None, unit_cm: float = 1.0, size: float = 100.0) -> Scene:
    """Two roots of three joints that move and turn."""
    rng = np.random.default_rng(3)
    joints, keyed = [], []
    for root in (0, 3):
        for i in range(3):
            x, y, z = rng.uniform(-size / 3, size / 3, 3).tolist()
            joints.append(Joint(f"j{root + i}", root + i - 1 if i else -1, (x, y, z)))
            turned = rng.uniform(-40, 40, (3, FRAMES)).cumsum(axis=1)
            keyed += curves(root + i, "R", turned, AT)
        keyed += curves(root, "T", rng.uniform(-size, size, (3, FRAMES)), AT)
    take = Take("push off", [Layer(keyed)], 0.0, (FRAMES - 1) / 30.0)
    return Scene(joints, [take], unit_cm=unit_cm, axes=axes or Axes())


def right_handed() -> list[Axes]:
    """All 24 ways to lay three right-handed axes."""
    found = []
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1, -1), repeat=3):
            up, front, coord = order
            axes = Axes(up, signs[0], front, signs[1], coord, signs[2])
            if np.linalg.det(fbx_writer_world.basis(axes)) > 0:
                found.append(axes)
    assert len(found) == 24
    return found


def label(axes: Axes) -> str:
    words = []
    for name in ("up", "front"):
        words.append(
            ("-" if getattr(axes, f"{name}_sign") < 0 else "") + "xyz"[getattr(axes, name)]
        )
    return " ".join(words)


@pytest.mark.parametrize(
    ("unit_cm", "size"), [(1.0, 100.0), (100.0, 1.0), (2.54, 40.0), (0.1, 1000.0), (30.48, 3.0)]
)
@pytest.mark.parametrize("version", [7400, 6100])
def test_every_unit(unit_cm: float, size: float, version: int, tmp_path: Path) -> None:
    scene = moving(unit_cm=unit_cm, size=size)
    assert_moves_as_written(scene, scene.takes[0], clip_of(scene, tmp_path, version))


@pytest.mark.parametrize("axes", right_handed(), ids=label)
def test_every_right_handed_way_to_lay_the_axes(axes: Axes, tmp_path: Path) -> None:
    scene = moving(axes)
    assert_moves_as_written(scene, scene.takes[0], clip_of(scene, tmp_path))


@pytest.mark.parametrize("unit_cm", [100.0, 2.54])
def test_unit_and_axes_at_once(unit_cm: float, tmp_path: Path) -> None:
    scene = moving(Axes(2, 1, 1, -1, 0, 1), unit_cm, size=100.0 / unit_cm)
    assert_moves_as_written(scene, scene.takes[0], clip_of(scene, tmp_path))


def test_left_handed_axes_are_mirrored_not_turned(tmp_path: Path) -> None:
    scene = moving(Axes(coord_sign=-1))
    assert np.linalg.det(fbx_writer_world.basis(scene.axes)) < 0
    assert_moves_as_written(scene, scene.takes[0], clip_of(scene, tmp_path))


def test_a_rest_pose_is_in_the_same_space(tmp_path: Path) -> None:
    """A file without keys gives its skeleton, or clips that stand still, in metres, Y up."""
    scene = moving(Axes(2, 1, 1, -1, 0, 1), 2.54, 40.0)
    scene.takes = []
    asset = asset_of(scene, tmp_path)
    expected = fbx_writer_world.ours(scene, fbx_writer_world.world(scene, None, [0.0]))
    skeleton = asset.skeleton
    assert skeleton is not None
    still = Clip(
        "still",
        skeleton,
        30.0,
        skeleton.rest_rotations[:, :, None],
        metres_per_unit=1.0,
        up_axis="y",
    )
    found = positions_m(still)
    for i, joint in enumerate(scene.joints):
        assert joint.inherit == RSrs
        at = skeleton.names.index(joint.name)
        np.testing.assert_allclose(found[at], expected[i], atol=1e-5)
