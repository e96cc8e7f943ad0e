"""What a malformed glTF file gets: an AssetError that names the place by JSON pointer."""

import struct
from pathlib import Path

import numpy as np
import pytest

from kinelint.errors import AssetError
from kinelint.readers.gltf import READER
from kinelint.readers.options import ReadOptions
from readers.gltf_maker import GltfMaker

TIMES = np.arange(4) / 30
STILL = np.tile([0.0, 0.0, 0.0, 1.0], (4, 1))


def sound() -> GltfMaker:
    """A file that is read without complaint: accessor 0 are times, 1 rotations."""
    maker = GltfMaker()
    maker.chain("hips", "spine")
    maker.animation("idle", (1, "rotation", TIMES, STILL))
    return maker


def refusal(path: Path, **options) -> AssetError:
    with pytest.raises(AssetError) as caught:
        READER.read(path, ReadOptions(**options))
    assert caught.value.path == str(path)
    return caught.value


def spoilt(folder: Path, change, **options) -> AssetError:
    maker = sound()
    change(maker.tree)
    return refusal(maker.glb(folder / "spoilt.glb"), **options)


def put(*keys, value):
    """A change that sets one value in the tree."""

    def change(tree):
        for key in keys[:-1]:
            tree = tree[key]
        tree[keys[-1]] = value

    return change


def test_the_sound_file_is_read(tmp_path):
    assert READER.read(sound().glb(tmp_path / "a.glb"), ReadOptions()).clips[0].frames == 4


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (put("asset", value=3), "/asset"),
        (put("asset", "version", value="1.0"), "/asset/version"),
        (put("asset", "minVersion", value="2.1"), "/asset/minVersion"),
        (put("extensionsRequired", value=["STUDIO_bones"]), "/extensionsRequired/0"),
        (put("nodes", value={}), "/nodes"),
        (put("nodes", 0, value=7), "/nodes/0"),
        (put("nodes", 0, "name", value=7), "/nodes/0/name"),
        (put("nodes", 0, "children", value=[9]), "/nodes/0/children/0"),
        (put("nodes", 0, "children", value=[-1]), "/nodes/0/children/0"),
        (put("nodes", 0, "children", value=[True]), "/nodes/0/children/0"),
        (put("nodes", 0, "children", value=[1, 1]), "/nodes/0/children/1"),
        (put("nodes", 1, "children", value=[0]), "/nodes/0"),
        (put("nodes", 1, "children", value=[1]), "/nodes/1/children/0"),
        (put("nodes", 0, "rotation", value=[0, 0, 0, 0]), "/nodes/0/rotation"),
        (put("nodes", 0, "scale", value=[1, 1]), "/nodes/0/scale"),
        (put("nodes", 0, "matrix", value=["x"] * 16), "/nodes/0/matrix"),
        (put("skins", value=[{"joints": []}]), "/skins/0/joints"),
        (put("skins", value=[{"joints": [5]}]), "/skins/0/joints/0"),
        (put("accessors", 1, "componentType", value=5124), "/accessors/1/componentType"),
        (put("accessors", 1, "componentType", value=[]), "/accessors/1/componentType"),
        (put("accessors", 1, "type", value="VEC9"), "/accessors/1/type"),
        (put("accessors", 1, "count", value=0), "/accessors/1/count"),
        (put("accessors", 1, "count", value=10**15), "/accessors/1"),
        (put("accessors", 1, "byteOffset", value=4), "/accessors/1"),
        (put("accessors", 1, "byteOffset", value=-4), "/accessors/1/byteOffset"),
        (put("accessors", 1, "bufferView", value=9), "/accessors/1/bufferView"),
        (put("accessors", 1, "type", value="VEC3"), "/animations/0/samplers/0/output"),
        (put("accessors", 1, "count", value=3), "/animations/0/samplers/0/output"),
        (put("accessors", 0, "type", value="VEC4"), "/accessors/0"),
        (put("bufferViews", 1, "byteLength", value=10**12), "/bufferViews/1"),
        (put("bufferViews", 1, "byteOffset", value=10**12), "/bufferViews/1"),
        (put("bufferViews", 1, "buffer", value=1), "/bufferViews/1/buffer"),
        (put("bufferViews", 1, "byteStride", value=8), "/bufferViews/1/byteStride"),
        (put("bufferViews", 1, "byteStride", value=0), "/bufferViews/1/byteStride"),
        (put("buffers", value=[{"byteLength": 10**6}]), "/buffers/0"),
        (
            put("animations", 0, "channels", 0, "sampler", value=3),
            "/animations/0/channels/0/sampler",
        ),
        (
            put("animations", 0, "channels", 0, "target", "node", value=99),
            "/animations/0/channels/0/target/node",
        ),
        (
            put("animations", 0, "samplers", 0, "interpolation", value="EASE"),
            "/animations/0/samplers/0/interpolation",
        ),
        (
            put("animations", 0, "samplers", 0, "interpolation", value="CUBICSPLINE"),
            "/animations/0/samplers/0/output",
        ),
        (put("animations", 0, "samplers", 0, "input", value=9), "/animations/0/samplers/0/input"),
    ],
)
def test_a_fault_in_the_tree_is_named_by_its_pointer(tmp_path, change, place):
    assert spoilt(tmp_path, change).place == place


def test_an_unknown_required_extension_is_named(tmp_path):
    error = spoilt(tmp_path, put("extensionsRequired", value=["STUDIO_bones"]))
    assert "'STUDIO_bones'" in error.what


@pytest.mark.parametrize(
    ("times", "what"),
    [
        ([0, 0.1, np.nan, 0.3], "key 2 has no finite time"),
        ([0, 0.1, np.inf, 0.3], "key 2 has no finite time"),
        ([0, 0.1, 0.1, 0.3], "key 2 at 0.1 s"),
        ([0.3, 0.2, 0.1, 0.0], "key 1 at 0.2 s"),
    ],
)
def test_key_times_must_be_finite_and_rise(tmp_path, times, what):
    maker = GltfMaker()
    maker.chain("hips", "spine")
    maker.animation("idle", (1, "rotation", times, STILL))
    error = refusal(maker.glb(tmp_path / "a.glb"))
    assert error.place == "/animations/0/samplers/0/input"
    assert what in error.what


def test_a_clip_of_too_many_frames_is_refused_before_it_is_made(tmp_path):
    maker = GltfMaker()
    maker.chain("hips", "spine")
    maker.animation("idle", (1, "rotation", [0.0, 1e30], STILL[:2]))
    error = refusal(maker.glb(tmp_path / "a.glb"))
    assert error.place == "/animations/0"
    assert refusal(sound().glb(tmp_path / "b.glb"), max_frames=3).place == "/animations/0"


def test_many_clips_over_the_same_few_keys_are_refused_before_memory_ends(tmp_path):
    maker = GltfMaker()
    maker.chain("hips", "spine")
    times, values = maker.accessor([0.0, 50_000.0]), maker.accessor(STILL[:2])
    for _ in range(50):
        maker.animation(None, (1, "rotation", times, values))
    assert "more than may be read" in refusal(maker.glb(tmp_path / "a.glb")).what


def test_limits_of_bytes_and_joints_hold(tmp_path):
    path = sound().glb(tmp_path / "a.glb")
    assert "bytes" in refusal(path, max_bytes=100).what
    assert refusal(path, max_joints=1).place == "/nodes"


def test_a_clip_may_not_drive_morph_targets_without_number(tmp_path):
    maker = sound()
    weights = maker.accessor(np.zeros(4))
    del maker.tree["accessors"][weights]["bufferView"]
    maker.tree["accessors"][weights]["count"] = 4 * 50_000_000
    maker.animation("grin", (0, "weights", 0, weights))
    error = refusal(maker.glb(tmp_path / "a.glb"))
    assert "50000000 morph targets" in error.what


def test_an_accessor_of_zeros_may_not_ask_for_the_world(tmp_path):
    def change(tree):
        del tree["accessors"][1]["bufferView"]
        tree["accessors"][1]["count"] = 10**12

    assert spoilt(tmp_path, change).place == "/accessors/1/count"


@pytest.mark.parametrize(
    ("rows", "place"),
    [([0, 9], "indices"), ([2, 1], "indices"), ([1, 1], "indices"), ([0, 1, 2, 3, 3], "count")],
)
def test_sparse_rows_must_rise_and_stay_inside(tmp_path, rows, place):
    maker = GltfMaker()
    maker.chain("hips", "spine")
    values = maker.sparse(STILL, 4, rows, np.ones((len(rows), 4)))
    maker.animation("idle", (1, "rotation", TIMES, values))
    error = refusal(maker.glb(tmp_path / "a.glb"))
    assert error.place == f"/accessors/{values}/sparse/{place}"


@pytest.mark.parametrize(
    ("cut", "what"),
    [
        (slice(0, 12), "ends inside its header"),
        (slice(0, -8), "cut off"),
    ],
)
def test_a_cut_binary_container_is_refused(tmp_path, cut, what):
    path = sound().glb(tmp_path / "a.glb")
    path.write_bytes(path.read_bytes()[cut])
    assert what in refusal(path).what


def test_chunks_and_versions_of_the_container_are_checked(tmp_path):
    path = sound().glb(tmp_path / "a.glb")
    data = path.read_bytes()

    def with_word(at, word):
        path.write_bytes(data[:at] + struct.pack("<I", word) + data[at + 4 :])
        return refusal(path).what

    assert "version 1" in with_word(4, 1)
    assert "runs past the end" in with_word(12, 2**31)
    assert "first chunk must be JSON" in with_word(16, 0x004E4942)
    assert "no JSON chunk" in with_word(8, 16)


def test_text_that_is_no_json_or_no_object_is_refused(tmp_path):
    path = tmp_path / "a.gltf"
    path.write_text('{"asset": {"version": "2.0"},\n "nodes": [NaN]}')
    assert refusal(path).place.startswith("JSON line 2")
    path.write_text("[]")
    assert "must be an object" in refusal(path).what


def test_every_prefix_of_a_file_is_read_or_refused_but_never_crashes(tmp_path):
    data = sound().glb(tmp_path / "a.glb").read_bytes()
    path = tmp_path / "b.glb"
    for length in range(20, len(data), 7):
        head = struct.pack("<4sII", b"glTF", 2, length) + data[12:length]
        path.write_bytes(head)
        refusal(path)


def test_random_damage_is_read_or_refused_but_never_crashes(tmp_path):
    data = bytearray(sound().glb(tmp_path / "a.glb").read_bytes())
    random = np.random.default_rng(7)
    path = tmp_path / "b.glb"
    refused = 0
    for _ in range(400):
        hurt = data.copy()
        for at in random.integers(12, len(hurt), 3):
            hurt[at] = random.integers(0, 256)
        path.write_bytes(hurt)
        try:
            READER.read(path, ReadOptions(max_frames=1000))
        except AssetError:
            refused += 1
    assert refused > 100
