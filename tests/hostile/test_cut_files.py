"""Files that end too early, at every byte: the motion that is left, or one error."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import pytest

from hostile.mutations import container
from hostile.oracle import check_asset_error, read_and_check
from hostile.seeds import bvh_seeds, gltf_seeds
from kinelint.clip import Asset
from kinelint.errors import AssetError

BVH = bvh_seeds()
GLTF = gltf_seeds()


def lengths(name: str, first: int, end: int) -> range:
    """Every byte of one file of a kind, every fifth of the others."""
    return range(first, end, 1 if name.startswith("turn") else 5)


@pytest.mark.parametrize("name", BVH)
def test_a_bvh_cut_at_any_byte_holds_whole_frames_or_is_refused(name: str, tmp_path: Path) -> None:
    data, path = BVH[name], tmp_path / "cut.bvh"
    path.write_bytes(data)
    whole = read_and_check(path)
    assert isinstance(whole, Asset)
    read = 0
    # The long file is cut at every byte of its numbers, and here and there before them.
    step = 1 if len(data) < 1000 else 7
    for length in range(0, len(data), step):
        path.write_bytes(data[:length])
        found = read_and_check(path)
        if isinstance(found, Asset):
            clip, of = found.clips[0], whole.clips[0]
            assert clip.skeleton.equals(of.skeleton)
            # A cut inside the very last number leaves another number, as good as any.
            sure = clip.frames - 1
            same = clip.rotations[..., :sure] == of.rotations[..., :sure]
            assert clip.frames <= of.frames
            assert np.all(same)
            read += 1
    assert 0 < read < len(data) / step / 2


@pytest.mark.parametrize("name", [name for name in GLTF if name.endswith("glb")])
def test_a_binary_gltf_cut_at_any_byte_is_refused(name: str, tmp_path: Path) -> None:
    data, path = GLTF[name], tmp_path / "cut.glb"
    for length in lengths(name, 0, len(data)):
        path.write_bytes(data[:length])
        assert isinstance(read_and_check(path), AssetError), length


@pytest.mark.parametrize("name", [name for name in GLTF if name.endswith("glb")])
def test_one_whose_header_tells_the_shorter_length_is_refused_too(
    name: str, tmp_path: Path
) -> None:
    data, path = GLTF[name], tmp_path / "cut.glb"
    for length in lengths(name, 20, len(data)):
        path.write_bytes(struct.pack("<4sII", b"glTF", 2, length) + data[12:length])
        assert isinstance(read_and_check(path), AssetError), length


@pytest.mark.parametrize("name", ["skinned.glb", "turn.glb"])
def test_a_bin_chunk_cut_at_any_byte_is_refused(name: str, tmp_path: Path) -> None:
    data, path = GLTF[name], tmp_path / "cut.glb"
    size = struct.unpack_from("<I", data, 12)[0]
    text, binary = data[20 : 20 + size], data[28 + size :]
    path.write_bytes(container(text, binary))
    assert isinstance(read_and_check(path), Asset)
    for length in range(len(binary) - 4):
        path.write_bytes(container(text, binary[:length]))
        error = read_and_check(path)
        assert isinstance(error, AssetError)
        assert error.place == "/buffers/0"


@pytest.mark.parametrize("name", ["turn.gltf", "skinned.gltf"])
def test_a_json_gltf_cut_at_any_byte_is_refused(name: str, tmp_path: Path) -> None:
    data, path = GLTF[name], tmp_path / "cut.gltf"
    for length in lengths(name, 0, len(data)):
        path.write_bytes(data[:length])
        assert isinstance(read_and_check(path), AssetError), length


def test_base64_cut_anywhere_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "cut.gltf"
    tree = json.loads(GLTF["turn.gltf"])
    uri = tree["buffers"][0]["uri"]
    for length in range(len(uri)):
        tree["buffers"][0]["uri"] = uri[:length]
        path.write_text(json.dumps(tree))
        error = read_and_check(path)
        assert isinstance(error, AssetError)
        assert error.place.startswith("/buffers/0")


def test_an_empty_file_is_refused_whatever_it_is_called(tmp_path: Path) -> None:
    for name in ("a.bvh", "a.glb", "a.gltf", "a.vrm", "a.fbx", "a.usd", "a"):
        path = tmp_path / name
        path.write_bytes(b"")
        error = read_and_check(path)
        assert isinstance(error, AssetError)
        check_asset_error(error, path)
