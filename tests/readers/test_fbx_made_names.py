"""Names, kinds of nodes, and versions of the format."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from kinelint.readers import read
from readers import fbx_writer_world
from readers.fbx_writer import Joint, Layer, Scene, Take, curves, frame_ticks
from readers.fbx_writer_checks import (
    assert_moves_as_written,
    asset_of,
    clip_of,
    needs_fbx,
    positions_m,
)
from readers.fbx_writer_records import Record, binary, text

pytestmark = needs_fbx
VERSIONS = (6100, 7100, 7200, 7300, 7400, 7500, 7700)
FRAMES = 5
AT = frame_ticks(FRAMES, 30.0)


def chain(*names: str, kinds: tuple[str, ...] = ()) -> Scene:
    """Each the child of the one before, ten units up; all turn."""
    joints = [
        Joint(name, i - 1, (0.0, 10.0, 0.0), kind=kinds[i] if kinds else "LimbNode")
        for i, name in enumerate(names)
    ]
    rng = np.random.default_rng(2)
    keyed = []
    for i in range(len(names)):
        keyed += curves(i, "R", rng.uniform(-40, 40, (3, FRAMES)).cumsum(axis=1), AT)
    return Scene(joints, [Take("climb", [Layer(keyed)], 0.0, (FRAMES - 1) / 30.0)])


@pytest.mark.parametrize("version", VERSIONS)
@pytest.mark.parametrize("text", [True, False], ids=["text", "binary"])
def test_every_version(version: int, text: bool, tmp_path: Path) -> None:
    scene = chain("hips", "spine", "head")
    clip = clip_of(scene, tmp_path, version, ascii_text=text)
    assert clip.source.media == "fbx"
    assert clip.source.binary == (not text)
    assert clip.frames == FRAMES
    assert clip.skeleton.names == ("hips", "spine", "head")
    assert clip.skeleton.parents.tolist() == [-1, 0, 1]
    assert_moves_as_written(scene, scene.takes[0], clip)


def test_every_version_and_spelling_reads_to_the_same_numbers(tmp_path: Path) -> None:
    scene = chain("hips", "spine", "head")
    found = []
    for version in VERSIONS:
        for as_text in (True, False):
            path = scene.write(tmp_path / f"{version}{as_text}.fbx", version, ascii_text=as_text)
            (clip,) = read(path).clips
            found.append(positions_m(clip))
    # 6.1 keeps keys in double precision, 7.x in single.
    for one in found[1:]:
        np.testing.assert_allclose(one, found[0], atol=1e-6)


NAMES = [
    ("crew01:hips", "crew01:spine"),
    ("a:b:c:hips", "spine"),
    ("Hüfte", "背骨", "голова"),
    ("hips \U0001f6f6", "spine"),
    ("left hand", "left.hand", "left-hand", "left_hand"),
    ("hips|spine", "hips/spine"),
    ("hips\\spine", "'spine'"),
    ("7", "-1", "1e9"),
]


@pytest.mark.parametrize("names", NAMES)
@pytest.mark.parametrize(("version", "text"), [(7400, True), (7400, False), (6100, False)])
def test_names_come_through(
    names: tuple[str, ...], version: int, text: bool, tmp_path: Path
) -> None:
    scene = chain(*names)
    clip = clip_of(scene, tmp_path, version, ascii_text=text)
    assert clip.skeleton.names == names
    assert_moves_as_written(scene, scene.takes[0], clip)


@pytest.mark.parametrize("names", [("", "", ""), ("bone", "bone", "bone"), ("hips", "", "hips")])
@pytest.mark.parametrize("text", [True, False], ids=["text", "binary"])
def test_empty_and_repeated_names_keep_their_joints_apart(
    names: tuple[str, ...], text: bool, tmp_path: Path
) -> None:
    scene = chain(*names)
    clip = clip_of(scene, tmp_path, ascii_text=text)
    assert len(clip.skeleton) == len(names)
    assert clip.skeleton.parents.tolist() == [-1, 0, 1]
    named = chain("a", "b", "c")
    same = replace(clip, skeleton=replace(clip.skeleton, names=("a", "b", "c")))
    assert_moves_as_written(named, named.takes[0], same)


def test_names_that_are_no_text_are_read_with_a_stand_in(tmp_path: Path) -> None:
    data = chain("hips", "sp__ne", "head").spelled(ascii_text=False)
    path = tmp_path / "made.fbx"
    path.write_bytes(data.replace(b"sp__ne", b"sp\xff\xfene"))
    (clip,) = read(path).clips
    assert len(clip.skeleton) == 3
    for name in clip.skeleton.names:
        name.encode("utf-8")


@pytest.mark.parametrize(
    "kinds",
    [
        ("Root", "LimbNode", "LimbNode"),
        ("Null", "LimbNode", "LimbNode"),
        ("LimbNode", "Limb", "LimbNode"),
        ("LimbNode", "LimbNode", "Null"),
        ("Null", "Null", "Null"),
    ],
)
def test_kinds_of_nodes_that_make_a_skeleton(kinds: tuple[str, ...], tmp_path: Path) -> None:
    scene = chain("hips", "spine", "head", kinds=kinds)
    clip = clip_of(scene, tmp_path)
    limbs = [
        one for one, kind in zip(("hips", "spine", "head"), kinds, strict=True) if kind != "Null"
    ]
    assert set(limbs) <= set(clip.skeleton.names)
    found = positions_m(clip)
    everything = chain("hips", "spine", "head")
    expected = fbx_writer_world.ours(
        everything,
        fbx_writer_world.world(everything, everything.takes[0], clip.start_s + clip.times_s),
    )
    for joint, name in enumerate(clip.skeleton.names):
        at = ("hips", "spine", "head").index(name)
        np.testing.assert_allclose(found[joint], expected[at], atol=1e-5)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("spell", [text, binary], ids=["text", "binary"])
def test_the_order_of_objects_and_connections_is_free(
    seed: int, spell: Callable[[list[Record], int], bytes], tmp_path: Path
) -> None:
    scene = chain("hips", "spine", "neck", "head", "jaw")
    records = scene.records(7400)
    rng = np.random.default_rng(seed)
    for one in records:
        if one.name in ("Objects", "Connections"):
            rng.shuffle(one.children)  # type: ignore[arg-type]
    path = tmp_path / "made.fbx"
    path.write_bytes(spell(records, 7400))
    (clip,) = read(path).clips
    assert clip.skeleton.names == ("hips", "spine", "neck", "head", "jaw")
    assert_moves_as_written(scene, scene.takes[0], clip)


def test_a_crew_of_two_in_one_file(tmp_path: Path) -> None:
    scene = chain("a:hips", "a:spine")
    other = chain("b:hips", "b:spine")
    for joint in other.joints:
        joint.parent = joint.parent + 2 if joint.parent >= 0 else -1
    for curve in other.takes[0].layers[0].curves:
        curve.target += 2
    scene.joints += other.joints
    scene.takes[0].layers[0].curves += other.takes[0].layers[0].curves
    asset = asset_of(scene, tmp_path)
    for clip in asset.clips:
        assert {"a:hips", "b:hips"} <= set(clip.skeleton.names)
        assert_moves_as_written(scene, scene.takes[0], clip)
