"""Every BVH file that is here, whole, against a second reading that shares nothing with the first.

Words by `str.split`, numbers by `float`, turns by SciPy, places by products of 4 x 4 matrices.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.clip import Clip
from kinelint.motion import world
from kinelint.readers import read
from real_data import folder

NAMES = sorted(path.name for path in folder().glob("bvh/*.bvh")) or [None]
_AT_MOST = 40  # frames whose places are worked out, spread over the clip


@pytest.fixture(params=NAMES)
def path(request: pytest.FixtureRequest) -> Path:
    if request.param is None:
        pytest.skip("no real BVH files are here (KINELINT_TEST_DATA)")
    return folder() / "bvh" / str(request.param)


@dataclass
class Bone:
    """A joint as its lines say."""

    name: str
    parent: int
    offset: list[float] = field(default_factory=list)
    channels: list[str] = field(default_factory=list)


@cache
def plain(path: Path) -> tuple[list[Bone], float, np.ndarray]:
    """Bones, the frame time, and the values ``(frames, columns)``."""
    head, _, body = path.read_text("latin-1").partition("MOTION")
    bones: list[Bone] = []
    opened: list[int] = []
    for line in head.splitlines():
        words = line.split()
        match words[:1]:
            case ["ROOT" | "JOINT"]:
                bones.append(Bone(" ".join(words[1:]), opened[-1] if opened else -1))
            case ["End"]:
                bones.append(Bone(f"{bones[opened[-1]].name} end", opened[-1]))
            case ["{"]:
                opened.append(len(bones) - 1)
            case ["}"]:
                opened.pop()
            case ["OFFSET"]:
                bones[-1].offset = [float(word) for word in words[1:]]
            case ["CHANNELS"]:
                bones[-1].channels = words[2:]
    found = re.search(r"Frame Time:\s*(\S+)", body)
    assert found
    rows = [[float(word) for word in line.split()] for line in body[found.end() :].splitlines()]
    return bones, float(found[1]), np.array([row for row in rows if row])


@cache
def clip_of(path: Path) -> Clip:
    return read(path).clips[0]


def columns_of(bones: list[Bone]) -> list[int]:
    starts = np.cumsum([0, *(len(bone.channels) for bone in bones)])
    return [int(start) for start in starts]


def test_names_parents_offsets_and_times(path: Path) -> None:
    bones, frame_s, values = plain(path)
    clip = clip_of(path)
    assert clip.skeleton.names == tuple(bone.name for bone in bones)
    assert clip.skeleton.parents.tolist() == [bone.parent for bone in bones]
    np.testing.assert_array_equal(clip.skeleton.rest_translations, [one.offset for one in bones])
    assert clip.frames == len(values)
    assert clip.sample_rate_hz == pytest.approx(1.0 / frame_s, rel=2e-3)


def test_every_rotation_of_every_joint(path: Path) -> None:
    bones, _, values = plain(path)
    clip = clip_of(path)
    for joint, (bone, start) in enumerate(zip(bones, columns_of(bones), strict=False)):
        turns = [i for i, one in enumerate(bone.channels) if one.endswith("rotation")]
        found = Rotation.from_quat(clip.rotations[joint][[1, 2, 3, 0]].T)
        if not turns:
            assert found.magnitude().max() == 0.0
            continue
        order = "".join(bone.channels[i][0] for i in turns)
        angles = values[:, [start + i for i in turns]]
        expected = Rotation.from_euler(order, angles, degrees=True)
        assert (found.inv() * expected).magnitude().max() < 1e-7


def test_every_joint_stands_where_its_matrices_take_it(path: Path) -> None:
    bones, _, values = plain(path)
    clip = clip_of(path)
    frames = np.unique(np.linspace(0, len(values) - 1, _AT_MOST).astype(int))
    meaning = next((one.text for one in clip.notes if one.topic == "position-channels"), "")
    positions, _ = world(clip)
    placed: list[np.ndarray] = []
    for joint, (bone, start) in enumerate(zip(bones, columns_of(bones), strict=False)):
        local = np.tile(np.eye(4), (len(frames), 1, 1))
        local[:, :3, 3] = bone.offset
        moves = [i for i, one in enumerate(bone.channels) if one.endswith("position")]
        for i in moves:
            axis = "XYZ".index(bone.channels[i][0])
            added = bone.offset[axis] if bone.parent >= 0 and "they add" in meaning else 0.0
            local[:, axis, 3] = values[frames, start + i] + added
        turns = [i for i, one in enumerate(bone.channels) if one.endswith("rotation")]
        if turns:
            order = "".join(bone.channels[i][0] for i in turns)
            angles = values[frames][:, [start + i for i in turns]]
            local[:, :3, :3] = Rotation.from_euler(order, angles, degrees=True).as_matrix()
        above = placed[bone.parent] if bone.parent >= 0 else np.eye(4)
        found = above @ local
        if moves and bone.parent >= 0 and "world positions" in meaning:
            found[:, :3, 3] = local[:, :3, 3]
        placed.append(found)
        # Joints that never leave their OFFSET by more than a file's digits are taken to rest.
        size = float(np.abs([one.offset for one in bones]).max())
        slack = 5e-4 * size * len(bones) if meaning else 1e-7 * max(size, 1.0)
        apart = np.abs(positions[joint][:, frames].T - found[:, :3, 3]).max()
        assert apart <= slack + 1e-9 * np.abs(found).max(), bone.name
