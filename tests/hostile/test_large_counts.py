"""Few bytes that ask for much: refused by a limit, before anything is made."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import bvh_text
from hostile.bounds import below, in_memory, in_time
from hostile.mutations import container
from hostile.oracle import TIGHT, read_and_check
from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.readers import ReadOptions
from readers.gltf_maker import GltfMaker

ONE = """HIERARCHY
ROOT hips
{
OFFSET 0 0 0
CHANNELS 1 Yrotation
%s}
MOTION
Frames: %s
Frame Time: 0.01
"""
LEAF = "JOINT leaf { OFFSET 0 1 0 CHANNELS 0 }\n"
MB = 1 << 20


def bvh(folder: Path, text: str | bytes, options: ReadOptions = TIGHT) -> Asset | AssetError:
    path = folder / "large.bvh"
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    with in_time(), in_memory(path, options):
        return read_and_check(path, options)


def gltf(folder: Path, tree: dict[str, Any], binary: bytes = b"") -> Asset | AssetError:
    path = folder / "large.glb"
    path.write_bytes(container(json.dumps(tree).encode(), binary))
    with in_time(), in_memory(path):
        return read_and_check(path)


def refused(found: Asset | AssetError, place: str = "", what: str = "") -> None:
    assert isinstance(found, AssetError)
    assert place in found.place
    assert what in found.what


@pytest.mark.parametrize("count", ["1000000000000", "999999999999999999999999"])
def test_frames_that_are_only_announced_are_a_note(count: str, tmp_path: Path) -> None:
    found = bvh(tmp_path, ONE % ("", count) + "1\n2\n")
    assert isinstance(found, Asset)
    assert found.clips[0].frames == 2
    assert any(count in note.text for note in found.clips[0].notes)


@pytest.mark.parametrize("count", ["1e12", "-", "0x10", "٣", "1" * 5000, "1_0"])
def test_a_count_of_frames_that_is_no_number_is_refused(count: str, tmp_path: Path) -> None:
    refused(bvh(tmp_path, ONE % ("", count) + "1\n"), "line 8", "number of frames")


def test_joints_without_channels_cost_a_file_nothing_and_are_counted(tmp_path: Path) -> None:
    """200 joints over 5,000 frames: 13 KB of text, 32 MB of poses."""
    options = ReadOptions(max_memory_bytes=16 * MB)
    text = ONE % (LEAF * 200, "5000") + "1\n" * 5000
    path = tmp_path / "large.bvh"
    path.write_text(text)
    with below(8 * MB):
        refused(read_and_check(path, options), "line ", "take 30 MB, more than the 16 MB")


def test_frames_joints_and_bytes_beyond_the_limits_are_refused(tmp_path: Path) -> None:
    rows = "1\n" * (TIGHT.max_frames + 1)
    refused(bvh(tmp_path, ONE % ("", "3") + rows), "line 5010", "5001 frames")
    refused(bvh(tmp_path, ONE % (LEAF * 300, "1") + "1\n"), "line ", "more than 300 joints")
    big = b" " * (TIGHT.max_bytes + 1)
    refused(bvh(tmp_path, b"HIERARCHY" + big), "", "more than the 8388608")


def test_a_hundred_thousand_frames_and_five_thousand_joints_are_read(tmp_path: Path) -> None:
    options = ReadOptions()
    found = bvh(tmp_path, ONE % ("", "100000") + "1\n" * 100_000, options)
    assert isinstance(found, Asset)
    assert found.clips[0].frames == 100_000
    found = bvh(tmp_path, ONE % (LEAF * 4999, "2") + "1\n2\n", options)
    assert isinstance(found, Asset)
    assert len(found.clips[0].skeleton) == 5000


@pytest.mark.parametrize(
    ("part", "what"),
    [
        ("JOINT a {" * 100_000, "there is no MOTION section"),
        ("}" * 100_000, "there is no MOTION section"),
    ],
)
def test_braces_without_end(part: str, what: str, tmp_path: Path) -> None:
    refused(bvh(tmp_path, f"HIERARCHY ROOT a {{ OFFSET 0 0 0 CHANNELS 0 {part}"), "line ", what)


def test_a_hundred_thousand_nested_joints_are_too_many(tmp_path: Path) -> None:
    nested = "JOINT a { OFFSET 0 1 0 CHANNELS 1 Xrotation\n" * 100_000 + "}" * 100_000
    text = ONE % (nested, "1") + "1 " * 100_001
    refused(bvh(tmp_path, text), "line ", "more than 300 joints")


def test_five_thousand_nested_joints_are_read(tmp_path: Path) -> None:
    nested = "JOINT a { OFFSET 0 1 0 CHANNELS 1 Xrotation\n" * 4999 + "}" * 4999
    found = bvh(tmp_path, ONE % (nested, "1") + "1 " * 5000, ReadOptions())
    assert isinstance(found, Asset)
    assert found.clips[0].skeleton.path(4999).count("/") == 4999


@pytest.mark.parametrize(
    "spoil",
    [
        lambda text: text.replace("Frames: 3", "Frames:" + " " * MB),
        lambda text: text.replace("MOTION\nFrames: 3", "MOTION" + " " * MB),
        lambda text: text.partition("0.0333")[0] + " " * MB,
        lambda text: text.replace("0.0333333", "0." + "0" * MB + "1"),
        lambda text: text.replace("0.0333333", "0.03e-" + "0" * MB),
        lambda text: text.replace("OFFSET 0 90", "OFFSET 0 0." + "1" * MB),
        lambda text: text.replace("1 90 3", "1 90 " + "3" * MB),
        lambda text: text.replace("chest", "chest " * (MB // 6)),
        lambda text: text.replace("CHANNELS 3", "CHANNELS 3 " + "Xrotation " * (MB // 10)),
        lambda text: text.replace("hips", "h" * MB),
        lambda text: text + " 1" * MB,
        lambda text: text + "1\t" * MB,
        lambda text: text + "1\n" * (MB // 2) + "1 2",
        lambda text: text.replace("Zrotation", "{" * MB, 1),
    ],
)
def test_a_megabyte_of_one_thing_is_refused_in_time(spoil: Any, tmp_path: Path) -> None:
    refused(bvh(tmp_path, spoil(bvh_text.PLAIN)), "line ")


def times_and_turns() -> GltfMaker:
    maker = GltfMaker()
    maker.chain("hips", "spine")
    still = np.tile([0.0, 0.0, 0.0, 1.0], (2, 1))
    maker.animation("row", (1, "rotation", [0.0, 0.1], still))
    return maker


@pytest.mark.parametrize("count", [2**31, 2**32, 2**40, 2**62, 2**63, 2**64 - 1])
@pytest.mark.parametrize("what", ["accessor", "offset", "view", "view offset", "buffer", "zeros"])
def test_counts_offsets_and_lengths_beyond_the_file(count: int, what: str, tmp_path: Path) -> None:
    maker = times_and_turns()
    tree = maker.finished()
    if what == "zeros":
        del tree["accessors"][1]["bufferView"]
    holder, key, place = {
        "accessor": (tree["accessors"][1], "count", "/accessors/1"),
        "zeros": (tree["accessors"][1], "count", "/accessors/1/count"),
        "offset": (tree["accessors"][1], "byteOffset", "/accessors/1"),
        "view": (tree["bufferViews"][1], "byteLength", "/bufferViews/1"),
        "view offset": (tree["bufferViews"][1], "byteOffset", "/bufferViews/1"),
        "buffer": (tree["buffers"][0], "byteLength", "/buffers/0"),
    }[what]
    holder[key] = count
    refused(gltf(tmp_path, tree, bytes(maker.data)), place)


def test_a_stride_of_one_byte_makes_no_more_of_less(tmp_path: Path) -> None:
    maker = times_and_turns()
    tree = maker.finished()
    tree["bufferViews"][1]["byteStride"] = 1
    refused(gltf(tmp_path, tree, bytes(maker.data)), "/bufferViews/1/byteStride")


def test_many_sparse_copies_of_one_buffer_are_counted(tmp_path: Path) -> None:
    """Each accessor is a hundred bytes of JSON and, once it is read, a copy of a megabyte."""
    maker = GltfMaker()
    maker.chain("hips", "spine")
    values = np.zeros((MB // 16, 4))
    channels = []
    first = maker.sparse(values, len(values), [0], np.ones((1, 4)))
    for i in range(400):
        maker.tree["accessors"].append(dict(maker.tree["accessors"][first]))
        maker.node(f"n{i}")
        channels.append((2 + i, "rotation", [0.0, 1.0], len(maker.tree["accessors"]) - 1))
    for node, path, times, accessor in channels:
        maker.animation(None, (node, path, times, accessor))
    found = gltf(tmp_path, maker.finished(), bytes(maker.data))
    refused(found, "", "")


def test_many_channels_on_many_keys_are_counted_before_they_are_stacked(tmp_path: Path) -> None:
    """Keys a microsecond apart make few frames: only the keys themselves cost."""
    maker = GltfMaker()
    keys = maker.accessor(np.arange(40_000) * 1e-6)
    values = maker.accessor(np.tile([0.0, 0.0, 0.0, 1.0], (40_000, 1)))
    nodes = [maker.node(f"n{i}") for i in range(290)]
    maker.animation("all", *((node, "rotation", keys, values) for node in nodes))
    refused(gltf(tmp_path, maker.finished(), bytes(maker.data)), "/animations/0", "more than may")


@pytest.mark.parametrize(
    ("part", "place"),
    [
        ('"nodes":[' + "{}," * 100_000 + "{}]", "/nodes"),
        ('"animations":[' + "{}," * 100_000 + "{}]", "/animations"),
        ('"x":' + "[" * 100_000 + "]" * 100_000, "JSON line 1"),
        ('"x":' + '{"a":' * 100_000 + "1" + "}" * 100_000, "JSON line 1"),
        ('"nodes":[{"children":[' + "0," * 100_000 + "0]}]", "/nodes/0/children"),
    ],
)
def test_json_without_end(part: str, place: str, tmp_path: Path) -> None:
    path = tmp_path / "large.gltf"
    path.write_text('{"asset":{"version":"2.0"},' + part + "}")
    with in_time(), in_memory(path):
        refused(read_and_check(path), place)


def test_one_file_named_by_many_buffers_is_held_once(tmp_path: Path) -> None:
    maker = times_and_turns()
    (tmp_path / "a.bin").write_bytes(bytes(maker.data) + bytes(MB))
    tree = maker.finished(uri="a.bin")
    # One for each accessor, and one that asks for far more than there is.
    for number, view in enumerate(tree["bufferViews"]):
        view["buffer"] = number
    tree["buffers"] = [{"byteLength": MB, "uri": "a.bin"}] * 6
    path = tmp_path / "a.gltf"
    path.write_text(json.dumps(tree))
    with below(2 * MB):
        assert isinstance(read_and_check(path), Asset)
    tree["buffers"] = [{"byteLength": 7 * MB, "uri": "a.bin"}] * 6
    path.write_text(json.dumps(tree))
    with below(4 * MB):
        refused(read_and_check(path), "/buffers/0", "7340032 bytes promised")
