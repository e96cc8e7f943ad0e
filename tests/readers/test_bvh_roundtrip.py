"""Random skeletons in random layouts come back as they went in."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from bvh_text import POSITIONS, Bone, clip_of, hierarchy, motion, rotations

ORDERS = st.sampled_from(["", "X", "Y", "Z", "XY", "ZX", "XYZ", "ZXY", "YXZ", "ZYX", "ZXZ", "YXY"])
LENGTHS = st.floats(-100, 100).map(lambda value: round(value, 4))
NAMES = st.text(st.characters(categories=["L", "N"]), min_size=1, max_size=8)
OFFSETS = st.tuples(LENGTHS, LENGTHS, LENGTHS)


@st.composite
def bones(draw: st.DrawFn, depth: int = 0) -> Bone:
    channels = rotations(draw(ORDERS))
    if depth == 0:
        # Positions of a root, anywhere among its rotations.
        for axis in draw(st.lists(st.sampled_from(POSITIONS), unique=True)):
            channels.insert(draw(st.integers(0, len(channels))), axis)
    count = draw(st.integers(0, 2 if depth < 3 else 0))
    children = [draw(bones(depth + 1)) for _ in range(count)]
    end = None if children else draw(st.none() | OFFSETS)
    return Bone(draw(NAMES), draw(OFFSETS), channels, children, end)


def flat(bone: Bone, parent: int, out: list[tuple[Bone, int]]) -> list[tuple[Bone, int]]:
    me = len(out)
    out.append((bone, parent))
    for child in bone.children:
        flat(child, me, out)
    if bone.end is not None:
        out.append((Bone(f"{bone.name} end", bone.end), me))
    return out


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(
    roots=st.lists(bones(), min_size=1, max_size=2).filter(
        lambda roots: any(one.channels for root in roots for one, _ in flat(root, -1, []))
    ),
    seed=st.integers(0, 2**32 - 1),
    frames=st.integers(1, 5),
    newline=st.sampled_from(["\n", "\r\n", "\r"]),
    gap=st.sampled_from([" ", "\t", "  "]),
)
def test_what_is_written_is_read(
    roots: list[Bone], seed: int, frames: int, newline: str, gap: str, tmp_path: Path
) -> None:
    joints = [pair for root in roots for pair in flat(root, -1, [])]
    columns = sum(len(bone.channels) for bone, _ in joints)
    values = np.random.default_rng(seed).uniform(-400, 400, (frames, columns))
    text = hierarchy(roots, gap=gap) + motion(values).replace(" ", gap)
    text = text.replace("\n", newline)
    clip = clip_of(text.encode(), tmp_path)
    assert clip.frames == frames
    assert clip.skeleton.names == tuple(bone.name for bone, _ in joints)
    assert clip.skeleton.rest_translations.tolist() == [list(bone.offset) for bone, _ in joints]
    assert_lines(clip, text.splitlines(), joints)
    at = 0
    moved = {int(joint): clip.translations[i] for i, joint in enumerate(clip.translated)}
    for i, (bone, _) in enumerate(joints):
        own = dict(zip(bone.channels, values[:, at : at + len(bone.channels)].T, strict=False))
        turned = [k for k, one in enumerate(bone.channels) if one.endswith("rotation")]
        order = "".join(bone.channels[k][0] for k in turned)
        expected = Rotation.identity(frames)
        if order:
            angles = values[:, [at + k for k in turned]]
            expected = Rotation.from_euler(order, angles, degrees=True)
        found = Rotation.from_quat(clip.rotations[i][[1, 2, 3, 0]].T)
        assert np.max((found.inv() * expected).magnitude()) < 1e-9
        if any(one in POSITIONS for one in bone.channels):
            rest = [np.full(frames, value) for value in bone.offset]
            paths = [own.get(one, rest[k]) for k, one in enumerate(POSITIONS)]
            np.testing.assert_array_equal(moved.pop(i), paths)
        at += len(bone.channels)
    assert not moved


def assert_lines(clip: Any, lines: list[str], joints: list[tuple[Bone, int]]) -> None:
    for handle, (bone, _) in zip(clip.skeleton.handles, joints, strict=True):
        line = lines[int(handle.removeprefix("line ")) - 1]
        assert line.endswith(bone.name) or line == "End Site"
    assert clip.source.frame_lines.tolist() == list(
        range(len(lines) - clip.frames + 1, len(lines) + 1)
    )
