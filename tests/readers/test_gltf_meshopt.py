"""Streams of EXT_meshopt_compression, against the worked examples of the standard and against the
general-purpose native codec (PyPI meshoptimizer), where that is installed."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.errors import AssetError
from kinelint.readers.gltf import READER
from kinelint.readers.gltf_meshopt import StreamError, attributes
from kinelint.readers.gltf_meshopt_filters import exponential, octahedral, quaternion
from kinelint.readers.gltf_meshopt_indices import indices, triangles
from kinelint.readers.options import ReadOptions
from readers.gltf_maker import GltfMaker

RANDOM = np.random.default_rng(11)
TIMES = np.arange(40) / 30


def stream(*parts):
    return np.frombuffer(b"".join(map(bytes, parts)), np.uint8)


def native():
    return pytest.importorskip("meshoptimizer", reason="the native codec is not installed")


def smooth(count, stride, kind):
    """Bytes as vertex and key data have them: counters, floats, shorts, noise."""
    steps = {
        "counters": lambda: np.cumsum(RANDOM.integers(-2, 3, (count, stride // 4)), axis=0),
        "floats": lambda: np.cumsum(RANDOM.normal(size=(count, stride // 4)), axis=0),
        "shorts": lambda: np.cumsum(RANDOM.integers(-200, 200, (count, stride // 2)), axis=0),
        "noise": lambda: RANDOM.integers(0, 256, (count, stride)),
        "constant": lambda: np.full((count, stride), 7),
    }[kind]()
    dtype = {"counters": "<i4", "floats": "<f4", "shorts": "<i2"}.get(kind, "u1")
    return np.ascontiguousarray(steps.astype(dtype).view(np.uint8).reshape(count, stride))


def test_the_worked_example_of_the_standard():
    # EXT_meshopt_compression, appendix A, mode 0: ten bytes in 4-bit coding and their 16 deltas.
    packed = [0x17, 0x5F, 0xF0, 0xBC, 0x77, 0xA9, 0x21, 0x00, 0x34, 0xB5]
    deltas = [-1, -4, -3, 26, -91, 0, -6, 6, -4, -4, 5, -5, 1, -1, 0, 0]
    # Four bytes an element: the first coded in 4 bits (header 2), the others unchanged (header 0).
    data = stream([0xA0], [2], packed, [0], [0], [0], [0] * 28, [100, 1, 2, 3])
    found = attributes(data, 16, 4)
    assert found[:, 0].tolist() == ((100 + np.cumsum(deltas)) % 256).tolist()
    assert found[:, 1:].tolist() == [[1, 2, 3]] * 16


def test_the_worked_numbers_of_the_index_stream():
    # 0x7f is 0x7f and 0x81 0x04 is 0x201 (appendix A, mode 1). Its third example, 0x1fd005 for
    # 0xff 0xa0 0x05, has the digits the other way round and is not LEB128 as the text asks.
    words = [0x7F, 0x201]
    data = stream([0xD1], [0x7F, 0x81, 0x04], [0] * 4)
    last, expected = [0, 0], []
    for word in words:  # as the standard's own decode() has it
        delta = ~(word >> 2) if word & 2 else word >> 2
        last[word & 1] = (last[word & 1] + delta) % 2**32
        expected.append(last[word & 1])
    assert indices(data, 2).tolist() == expected


def test_words_that_are_told_by_exclusive_or_are_summed_up():
    # KHR_meshopt_compression, channel mode 2, turned by 8 bits; all bytes literal (control mode 3).
    words = np.array([0x11223344, 0x11223355, 0xFF223355], dtype="<u4")
    first = np.uint32(0x11000000)
    told = words ^ np.concatenate(([first], words[:-1]))
    turned = (told >> np.uint32(8)) | (told << np.uint32(24))
    literal = turned.astype("<u4").view(np.uint8).reshape(3, 4).T.tobytes()
    tail = bytes(24 - 5) + int(first).to_bytes(4, "little") + bytes([2 | 8 << 4])
    data = stream([0xA1], [0xFF], literal, tail)
    assert attributes(data, 3, 4).reshape(-1).view("<u4").tolist() == words.tolist()


@pytest.mark.parametrize("version", [0, 1])
@pytest.mark.parametrize("kind", ["counters", "floats", "shorts", "noise", "constant"])
@pytest.mark.parametrize("stride", [4, 12, 16, 64, 256])
def test_what_the_native_encoder_packs_comes_out_again(version, kind, stride):
    codec = native()
    codec.encode_vertex_version(version)
    for count in (1, 15, 16, 17, 257, 1003):
        raw = smooth(count, stride, kind)
        packed = codec.encode_vertex_buffer(raw.view(np.uint32), count, stride)
        np.testing.assert_array_equal(attributes(stream(packed), count, stride), raw)


@pytest.mark.parametrize("faces", [1, 2, 50, 3000])
def test_triangles_and_index_runs_are_those_of_the_native_decoder(faces):
    codec = native()
    row = np.arange(faces)
    ribbon = np.stack((row, row + 1, row + 2), axis=1)
    for order in (ribbon, RANDOM.integers(0, faces + 2, (faces, 3))):
        flat = order.astype(np.uint32).reshape(-1)
        packed = codec.encode_index_buffer(flat, len(flat), int(flat.max()) + 1)
        expected = codec.decode_index_buffer(len(flat), 4, packed)
        np.testing.assert_array_equal(triangles(stream(packed), len(flat)), expected)
        packed = codec.encode_index_sequence(flat, len(flat), int(flat.max()) + 1)
        np.testing.assert_array_equal(indices(stream(packed), len(flat)), flat)


def test_filters_are_within_one_step_of_the_native_ones():
    codec, count = native(), 1001
    one = (1 << 11) - 1
    unit = np.clip(RANDOM.normal(size=(count, 3)) * 0.5, -1.0, 1.0)
    octal = np.column_stack((np.rint(unit[:, :2] * one), np.full(count, one), np.arange(count)))
    largest = one & ~3 | RANDOM.integers(0, 4, count)
    turned = np.column_stack((np.rint(unit * one), largest))
    for ours, theirs, raw in (
        (octahedral, codec.decode_filter_oct, octal.astype("<i2")),
        (quaternion, codec.decode_filter_quat, turned.astype("<i2")),
    ):
        found = ours(raw.view(np.uint8)).view("<i2").astype(int)
        assert np.abs(found - theirs(raw.copy(), count, 8)).max() <= 1
    exponents = RANDOM.integers(-60, 60, (count, 2)) << 24
    raw = (exponents | RANDOM.integers(0, 1 << 24, (count, 2))).astype("<i4")
    found = exponential(raw.view(np.uint8)).view("<f4")
    np.testing.assert_array_equal(found, codec.decode_filter_exp(raw.copy(), count, 8).view("<f4"))


def test_filters_do_what_the_standard_writes():
    # Appendix B: the largest component of a quaternion is the one that is not stored.
    half = np.array([[0, 0, 0, 32767 & ~3 | 2]], dtype="<i2")
    assert quaternion(half.view(np.uint8)).view("<i2").tolist() == [[0, 0, 32767, 0]]
    down = np.array([[127, 127, 127, 5]], dtype="<i1")
    assert octahedral(down.view(np.uint8)).view("<i1").tolist() == [[0, 0, -127, 5]]
    eight = np.array([[3 << 24 | 1, -(1 << 24) + 3]], dtype="<i4")  # 2^3 * 1 and 2^-1 * 3
    assert exponential(eight.view(np.uint8)).view("<f4").tolist() == [[8.0, 1.5]]


def packed_view(maker, raw, stride, mode="ATTRIBUTES", **more):
    """The last view of `maker` replaced by its packed form; buffer 1 stands for what is gone."""
    codec = native()
    codec.encode_vertex_version(0)
    count = len(raw) // stride
    if mode == "ATTRIBUTES":
        words = np.frombuffer(raw, np.uint32)
        data = codec.encode_vertex_buffer(words, count, stride)
    else:
        numbers = np.frombuffer(raw, f"<u{stride}").astype(np.uint32)
        encode = codec.encode_index_buffer if mode == "TRIANGLES" else codec.encode_index_sequence
        data = encode(numbers, count, int(numbers.max()) + 1)
    maker.data += b"\0" * (-len(maker.data) % 4)
    packed = {"buffer": 0, "byteOffset": len(maker.data), "byteLength": len(data)}
    maker.data += data
    packed |= {"byteStride": stride, "count": count, "mode": mode, **more}
    return {
        "buffer": 1,
        "byteLength": len(raw),
        "extensions": {"EXT_meshopt_compression": packed},
    }


def compressed(maker):
    """All views of a file packed, its bytes gone."""
    plain = bytes(maker.data)
    tree, views = maker.tree, maker.tree["bufferViews"]
    maker.data = bytearray()
    index_views = {
        tree["accessors"][one["indices"]]["bufferView"]
        for mesh in tree.get("meshes", [])
        for one in mesh["primitives"]
        if "indices" in one
    }
    sizes = {5121: 1, 5123: 2, 5125: 4, 5126: 4}
    widths = {"SCALAR": 1, "VEC3": 3, "VEC4": 4, "MAT4": 16}
    for i, view in enumerate(views):
        raw = plain[view["byteOffset"] :][: view["byteLength"]]
        accessor = next(one for one in tree["accessors"] if one["bufferView"] == i)
        stride = sizes[accessor["componentType"]] * widths[accessor["type"]]
        views[i] = packed_view(
            maker, raw, stride, "TRIANGLES" if i in index_views else "ATTRIBUTES"
        )
    tree["extensionsRequired"] = tree["extensionsUsed"] = ["EXT_meshopt_compression"]
    tree["buffers"] = [{"byteLength": len(maker.data)}, {"byteLength": len(plain)}]
    return maker


def deckhand():
    """A skinned figure of two joints that bends."""
    maker = GltfMaker()
    maker.chain("hips", "spine")
    attributes_of = {
        "POSITION": maker.accessor(RANDOM.normal(size=(90, 3))),
        "JOINTS_0": maker.accessor(np.tile([0, 1, 0, 0], (90, 1)), "uint8"),
        "WEIGHTS_0": maker.accessor(np.tile([0.5, 0.5, 0, 0], (90, 1))),
    }
    faces = maker.accessor(np.arange(90), "uint16")
    mesh = maker.mesh("oilskin", attributes_of, indices=faces)
    maker.node("body", mesh=mesh, skin=maker.skin([0, 1], np.tile(np.eye(4), (2, 1, 1))))
    angle = np.linspace(0, 1, 40)[:, None] / 2
    turns = np.column_stack((np.sin(angle), np.zeros((40, 2)), np.cos(angle)))
    maker.animation("bend", (1, "rotation", TIMES, turns), (0, "translation", TIMES, turns[:, :3]))
    return maker


def test_a_packed_file_reads_as_the_plain_one(tmp_path):
    state = RANDOM.bit_generator.state
    plain = READER.read(deckhand().glb(tmp_path / "plain.glb"), ReadOptions())
    RANDOM.bit_generator.state = state
    path = compressed(deckhand()).glb(tmp_path / "packed.glb")
    packed = READER.read(path, ReadOptions())
    for ours, theirs in zip(packed.clips, plain.clips, strict=True):
        np.testing.assert_array_equal(ours.rotations, theirs.rotations)
        np.testing.assert_array_equal(ours.translations, theirs.translations)
    np.testing.assert_array_equal(packed.skins[0].vertices, plain.skins[0].vertices)
    # The codec may turn a triangle's corners round and sort triangles otherwise.
    corners = [sorted(map(sorted, one.skins[0].triangles.tolist())) for one in (packed, plain)]
    assert corners[0] == corners[1]


def test_a_buffer_that_is_there_is_read_in_place_of_the_packed_one(tmp_path):
    maker = deckhand()
    for view in maker.tree["bufferViews"]:
        view["extensions"] = {"EXT_meshopt_compression": {"buffer": 99, "mode": "?"}}
    maker.tree["extensionsUsed"] = ["EXT_meshopt_compression"]
    assert READER.read(maker.glb(tmp_path / "both.glb"), ReadOptions()).clips[0].frames == 40


def test_a_fallback_that_was_not_delivered_is_not_missed(tmp_path):
    maker = compressed(deckhand())
    mark = {"EXT_meshopt_compression": {"fallback": True}}
    maker.tree["buffers"][1] |= {"uri": "deckhand.fallback.bin", "extensions": mark}
    assert READER.read(maker.glb(tmp_path / "packed.glb"), ReadOptions()).clips[0].frames == 40


def as_three(turns, bits=16):
    """Quaternions as the filter QUATERNION stores them: appendix B, the other way round."""
    one = (1 << bits - 1) - 1
    largest = np.abs(turns).argmax(axis=1)
    turns = turns * np.sign(np.take_along_axis(turns, largest[:, None], axis=1))
    others = (largest[:, None] + [1, 2, 3]) % 4
    small = np.take_along_axis(turns, others, axis=1) * np.sqrt(2.0) * one
    last = (one & ~3 | largest)[:, None]
    return np.hstack((np.rint(small), last)).astype("<i2")


def as_exponents(values):
    """Floats as the filter EXPONENTIAL stores them: 24 bits and a power of two."""
    mantissa, exponent = np.frexp(values.astype(np.float64))
    whole = np.rint(mantissa * (1 << 22)).astype(np.int64)
    return ((exponent - 22).astype(np.int64) << 24 | whole & 0xFFFFFF).astype("<u4")


def test_filtered_keys_are_the_keys_that_were_stored(tmp_path):
    # As exporters for the web write them: rotations by QUATERNION, places by EXPONENTIAL.
    maker = GltfMaker()
    maker.chain("hips", "spine")
    turns = Rotation.random(40, random_state=9).as_quat()
    places = np.cumsum(RANDOM.normal(size=(40, 3)), axis=0)
    maker.animation("haul", (1, "rotation", TIMES, turns), (0, "translation", TIMES, places))
    accessors, views = maker.tree["accessors"], maker.tree["bufferViews"]
    maker.data = bytearray()
    times = TIMES.astype("<f4").tobytes()
    views[0] = packed_view(maker, times, 4)
    views[1] = packed_view(maker, as_three(turns).tobytes(), 8, filter="QUATERNION")
    views[3] = packed_view(maker, as_exponents(places).tobytes(), 12, filter="EXPONENTIAL")
    views[2] = views[0]
    accessors[1] |= {"componentType": 5122, "normalized": True}
    maker.tree["buffers"] = [{"byteLength": len(maker.data)}, {"byteLength": 4000}]
    maker.tree["extensionsRequired"] = ["EXT_meshopt_compression"]
    clip = READER.read(maker.glb(tmp_path / "web.glb"), ReadOptions()).clips[0]
    found = Rotation.from_quat(clip.rotations[1][[1, 2, 3, 0]].T)
    assert (found.inv() * Rotation.from_quat(turns)).magnitude().max() < 2e-4
    np.testing.assert_allclose(clip.translations[0], places.T, atol=1e-5)


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"mode": "NOISE"}, "mode 'NOISE'"),
        ({"filter": "SOFT"}, "filter 'SOFT'"),
        ({"filter": "QUATERNION"}, "QUATERNION"),
        ({"byteStride": 6}, "do not fill"),
        ({"count": 10**12}, "more than may be read"),
        ({"count": 39}, "do not fill"),
        ({"count": 41}, "do not fill"),
        ({"byteLength": 30}, "ends before"),
        ({"byteOffset": 10**9}, "ends at byte"),
        ({"buffer": 7}, "below 2"),
        ({"buffer": 1}, "names no data"),
    ],
)
def test_a_spoilt_packed_view_is_named(tmp_path, change, what):
    maker = compressed(deckhand())
    times = maker.tree["animations"][0]["samplers"][0]["input"]
    view = maker.tree["bufferViews"][maker.tree["accessors"][times]["bufferView"]]
    view["extensions"]["EXT_meshopt_compression"] |= change
    with pytest.raises(AssetError) as caught:
        READER.read(maker.glb(tmp_path / "spoilt.glb"), ReadOptions())
    assert what in caught.value.what
    assert caught.value.place.startswith(("/bufferViews/", "/buffers/"))


def test_random_streams_are_refused_or_read_but_never_crash():
    codec = native()
    raw = smooth(300, 12, "floats")
    sound = bytearray(codec.encode_vertex_buffer(raw.view(np.uint32), 300, 12))
    numbers = np.arange(300, dtype=np.uint32)
    faces = bytearray(codec.encode_index_buffer(numbers, 300, 300))
    run = bytearray(codec.encode_index_sequence(numbers, 300, 300))
    refused = 0
    for read, data, arguments in (
        (attributes, sound, (300, 12)),
        (triangles, faces, (300,)),
        (indices, run, (300,)),
    ):
        for _ in range(300):
            hurt = data[: RANDOM.integers(0, len(data) + 1)] if RANDOM.random() < 0.5 else data[:]
            for at in RANDOM.integers(0, max(len(hurt), 1), 4):
                if hurt:
                    hurt[at] = RANDOM.integers(0, 256)
            try:
                read(stream(hurt), *arguments)
            except StreamError:
                refused += 1
    assert refused > 400


def test_few_bytes_may_not_stand_for_very_many(tmp_path):
    maker = GltfMaker()
    maker.chain("hips", "spine")
    # In version 1 a byte says of 256 elements of 4 bytes that nothing changes.
    blocks = 16384
    maker.data += bytes([0xA1]) + bytes([0b10101010]) * blocks + bytes(24)
    count = 256 * blocks
    packed = {"buffer": 0, "byteLength": len(maker.data), "byteStride": 4, "count": count}
    view = {"buffer": 1, "byteLength": 4 * count}
    view["extensions"] = {"KHR_meshopt_compression": packed | {"mode": "ATTRIBUTES"}}
    maker.tree["bufferViews"] = [view]
    times = {"bufferView": 0, "componentType": 5126, "count": count, "type": "SCALAR"}
    maker.tree["accessors"] = [times]
    maker.tree["buffers"] = [{"byteLength": len(maker.data)}, {"byteLength": 4 * count}]
    maker.animation("still", (1, "rotation", 0, 0))
    with pytest.raises(AssetError) as caught:
        READER.read(maker.glb(tmp_path / "bomb.glb"), ReadOptions())
    assert "packed data grows" in caught.value.what
    assert np.all(attributes(stream(maker.data), count, 4) == 0)
