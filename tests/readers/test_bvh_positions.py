"""Position channels below the root: three readings, and the file decides."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bvh_text import POSITIONS, Bone, clip_of, hierarchy, motion, rotations
from kinelint.clip import Clip
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.forward import forward
from kinelint.readers import read
from real_data import real

FRAMES = 90
OFFSETS = [(0.0, 90.0, 0.0), (0.0, 30.0, 2.0), (0.0, 25.0, -3.0)]


def walk() -> tuple[Floats, Floats]:
    """Root path ``(frames, 3)`` and angles ``(frames, 3 joints, 3)`` of a turning, leaning walk."""
    t = np.linspace(0.0, 3.0, FRAMES)
    path = np.stack((120.0 * t, 90.0 + 3.0 * np.sin(9 * t), 40.0 * t), axis=1)
    waves = [[20 * np.sin(3 * t + i + k) for k in range(3)] for i in range(3)]
    return path, np.array(waves).transpose(2, 0, 1)


def text_of(inner: list[Floats]) -> str:
    """Hips, chest, head; `inner` are the position columns of chest and head."""
    path, angles = walk()
    channels = [*POSITIONS, *rotations("ZXY")]
    head = Bone("head", OFFSETS[2], channels, end=(0, 15, 0))
    hips = Bone("hips", OFFSETS[0], channels, [Bone("chest", OFFSETS[1], channels, [head])])
    columns = [path, angles[:, 0], inner[0], angles[:, 1], inner[1], angles[:, 2]]
    return hierarchy([hips]) + motion(np.hstack(columns))


def placed(clip: Clip) -> Floats:
    skeleton = clip.skeleton
    positions, _ = forward(
        skeleton.parents,
        clip.rotations,
        skeleton.rest_translations,
        clip.translated,
        clip.translations,
    )
    return positions


def still(values: tuple[float, float, float]) -> Floats:
    return np.tile(values, (FRAMES, 1))


@pytest.fixture
def rigid(tmp_path: Path) -> Clip:
    """The same walk without position channels below the root."""
    path, angles = walk()
    turns = rotations("ZXY")
    head = Bone("head", OFFSETS[2], turns, end=(0, 15, 0))
    hips = Bone(
        "hips", OFFSETS[0], [*POSITIONS, *turns], [Bone("chest", OFFSETS[1], turns, [head])]
    )
    rows = np.hstack([path, angles.reshape(FRAMES, 9)])
    return clip_of(hierarchy([hips]) + motion(rows), tmp_path, "rigid.bvh")


def readings(rigid: Clip) -> dict[str, list[Floats]]:
    world = placed(rigid)
    return {
        "they replace the OFFSET": [still(OFFSETS[1]), still(OFFSETS[2])],
        "they add to the OFFSET": [still((0, 0, 0)), still((0, 0, 0))],
        "they hold world positions": [world[1].T, world[2].T],
    }


@pytest.mark.parametrize("told", ["replace the", "add to the", "hold world"])
def test_a_rigid_body_is_seen_as_rigid_in_all_three_readings(
    told: str, rigid: Clip, tmp_path: Path
) -> None:
    (inner,) = (columns for text, columns in readings(rigid).items() if told in text)
    clip = clip_of(text_of(inner), tmp_path)
    # Joints that never leave their OFFSET are not listed: there is nothing there to stretch.
    assert clip.translated.tolist() == [0]
    (note,) = clip.notes
    assert note.topic == "position-channels"
    assert told in note.text
    assert "none of these joints leaves its OFFSET" in note.text
    np.testing.assert_allclose(placed(clip), placed(rigid), atol=1e-9)


@pytest.mark.parametrize("told", ["replace the", "add to the", "hold world"])
def test_a_stretch_of_one_bone_comes_out_the_same_in_all_readings(
    told: str, rigid: Clip, tmp_path: Path
) -> None:
    stretch = np.zeros((FRAMES, 3))
    stretch[40:60, 1] = 6.0
    head = still(OFFSETS[2]) + stretch
    clip_with = clip_of(text_of([still(OFFSETS[1]), head]), tmp_path, "truth.bvh")
    world = placed(clip_with)
    inner = {
        "replace the": [still(OFFSETS[1]), head],
        "add to the": [still((0, 0, 0)), stretch],
        "hold world": [world[1].T, world[2].T],
    }[told]
    clip = clip_of(text_of(inner), tmp_path)
    assert told in clip.notes[0].text
    assert "1 of 2 joints move" in clip.notes[0].text
    assert clip.translated.tolist() == [0, 2]
    np.testing.assert_allclose(clip.translations[1].T, head, atol=1e-9)
    np.testing.assert_allclose(placed(clip), world, atol=1e-9)


def test_hips_that_travel_under_a_reference_root_replace_their_offset(tmp_path: Path) -> None:
    path, angles = walk()
    turns = rotations("ZXY")
    channels = [*POSITIONS, *turns]
    hips = Bone("hips", (0, 0, 0), channels, [Bone("chest", OFFSETS[1], turns, end=(0, 9, 0))])
    rows = np.hstack([still((0, 0, 0)), still((0, 0, 0)), path, angles[:, 0], angles[:, 1]])
    text = hierarchy([Bone("reference", (0, 0, 0), channels, [hips])]) + motion(rows)
    clip = clip_of(text, tmp_path)
    assert clip.translated.tolist() == [0, 1]
    np.testing.assert_allclose(placed(clip)[1].T, path, atol=1e-9)


def test_an_axis_without_a_channel_keeps_its_offset(tmp_path: Path) -> None:
    turns = rotations("ZXY")
    chest = Bone("chest", OFFSETS[1], ["Yposition", *turns], end=(0, 9, 0))
    hips = Bone("hips", OFFSETS[0], [*POSITIONS, *turns], [chest])
    rows = np.zeros((4, 10))
    rows[:, 6] = [30, 30, 33, 30]
    clip = clip_of(hierarchy([hips]) + motion(rows), tmp_path)
    assert clip.translations[1].tolist() == [[0.0] * 4, [30, 30, 33, 30], [2.0] * 4]


def test_a_real_file_with_world_positions_keeps_its_head_on() -> None:
    # By the usual reading the head of this file flies about 1.7 m (68 inches) off the body.
    clip = read(real("bvh/cmu_135_04_frontkick_zup.bvh")).clips[0]
    assert "they hold world positions" in clip.notes[0].text
    names = clip.skeleton.names
    values = np.loadtxt(
        real("bvh/cmu_135_04_frontkick_zup.bvh").read_text().splitlines()[99:], dtype=np.float64
    )
    world = placed(clip)
    # Columns of the world positions, counted in the file's hierarchy: thorax 30, head 36.
    np.testing.assert_allclose(world[names.index("thorax")].T, values[:, 30:33], atol=1e-9)
    np.testing.assert_allclose(world[names.index("head")].T, values[:, 36:39], atol=1e-9)
    neck = np.linalg.norm(world[names.index("head")] - world[names.index("thorax")], axis=0)
    assert neck.min() > 17.5
    assert neck.max() < 19.5
