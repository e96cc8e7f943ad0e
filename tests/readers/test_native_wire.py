"""What comes back from a child: the same asset to the last bit, or a typed error."""

from __future__ import annotations

import io
import json
import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bvh_text import PLAIN
from kinelint.clip import Asset, Clip, Skeleton, Skin, Source
from kinelint.finding import Note
from kinelint.readers import read
from kinelint.readers.native_asset import from_plain, to_plain
from kinelint.readers.native_wire import MAGIC, MAX_HEADER_BYTES, Arrays, WireError, receive, send
from kinelint.readers.options import ReadOptions
from readers.same_asset import differences
from real_data import folder

MOST = 1 << 24
REAL = sorted(
    path for kind in ("bvh", "gltf") for path in (folder() / kind).glob("*.*") if path.is_file()
)


def sent(asset: Asset) -> bytes:
    arrays, out = Arrays(), io.BytesIO()
    send(out.write, {"kind": "asset", "asset": to_plain(asset, arrays)}, arrays)
    return out.getvalue()


def received(data: bytes, most: int = MOST, options: ReadOptions | None = None) -> Asset:
    answer = receive(io.BytesIO(data), most)
    if answer is None:
        raise WireError("there is none")
    header, arrays = answer
    return from_plain(header.get("asset"), arrays, options or ReadOptions())


def ferryman() -> Asset:
    """An asset that uses every field of every class."""
    skeleton = Skeleton(
        ("Hüfte", "", "夜\x00"),
        np.array([-1, 0, 1]),
        np.array([[0, 0.9, 0], [0, 0.2, 0], [0, 0.1, 1e-300]]),
        rest_scales=np.full((3, 3), 0.5),
        tips=np.array([False, False, True]),
        handles=("line 1", "line 2", "line 3"),
        humanoid={"hips": 0},
    )
    turned = np.zeros((3, 4, 5))
    turned[:, 0] = 1.0
    turned[1, :, 2] = np.nan
    one = Clip(
        "haul",
        skeleton,
        29.97,
        turned,
        start_s=-0.5,
        translated=np.array([0]),
        translations=np.arange(15.0).reshape(1, 3, 5),
        scaled=np.array([2, 0]),
        scales=np.full((2, 3, 5), -0.0),
        metres_per_unit=0.01,
        up_axis="z",
        key_times_s=np.array([0.0, 0.1]),
        weight_names=("smile", "blink"),
        weights=np.linspace(0, 1, 10).reshape(2, 5),
        source=Source("fbx", True, "/stacks/0", np.arange(7, 12)),
        frame_offset=3,
        notes=(Note("scale-keys", "2 joints"),),
    )
    other = Clip("stand", Skeleton(("post",), np.array([-1]), np.zeros((1, 3))), 30.0, turned[:1])
    bound = np.full((3, 3), np.nan)
    skin = Skin(
        "coat",
        np.arange(12.0).reshape(4, 3),
        np.array([[0, 1, 2, 0]] * 4),
        np.full((4, 4), 0.25),
        bound,
        np.full((3, 4), np.nan),
        np.array([[0, 1, 2], [3, 2, 1]]),
    )
    return Asset((one, other, one), skeleton, (skin,), (Note("constraints", "1: aim"),))


def test_every_field_comes_back() -> None:
    asset = ferryman()
    back = received(sent(asset))
    assert differences(back, asset) == []
    # Clips that share a skeleton still do.
    assert back.clips[0].skeleton is back.clips[2].skeleton is back.skeleton
    assert not back.clips[0].rotations.flags.writeable


def test_an_asset_without_anything_comes_back() -> None:
    assert differences(received(sent(Asset(()))), Asset(())) == []


@pytest.mark.parametrize("path", REAL, ids=lambda path: path.name)
def test_real_assets_of_the_other_readers_come_back(path) -> None:
    asset = read(path)
    assert differences(received(sent(asset), most=1 << 30), asset) == []


def test_a_made_bvh_comes_back(tmp_path) -> None:
    path = tmp_path / "walk.bvh"
    path.write_text(PLAIN, encoding="utf-8")
    assert differences(received(sent(read(path))), read(path)) == []


def test_names_with_half_characters_become_text() -> None:
    odd = Asset((), Skeleton(("a\udce4b", "\ud800"), np.array([-1, 0]), np.zeros((2, 3))))
    names = received(sent(odd)).skeleton.names
    assert all(name.encode("utf-8") for name in names)


def changed(**values: object) -> bytes:
    """The ferryman's answer with some values of its first clip, skeleton or skin replaced."""
    arrays = Arrays()
    said = to_plain(ferryman(), arrays)
    for dotted, value in values.items():
        kind, _, name = dotted.partition("__")
        row = said if kind == "asset" else said[kind][0]
        row[name] = arrays.add(value) if isinstance(value, np.ndarray) else value
    out = io.BytesIO()
    send(out.write, {"kind": "asset", "asset": said}, arrays)
    return out.getvalue()


BAD = {
    "no number of a skeleton": {"clips__skeleton": 2},
    "a truth for a number": {"clips__skeleton": True},
    "a negative number": {"clips__skeleton": -1},
    "no rate": {"clips__sample_rate_hz": 0},
    "an endless rate": {"clips__sample_rate_hz": float("inf")},
    "a rate that is no number": {"clips__sample_rate_hz": float("nan")},
    "a start past all floats": {"clips__start_s": 10**400},
    "an unknown axis": {"clips__up_axis": "w"},
    "another number of joints": {"clips__rotations": np.zeros((2, 4, 5))},
    "whole numbers for rotations": {"clips__rotations": np.zeros((3, 4, 5), dtype=int)},
    "another number of frames": {"clips__translations": np.zeros((1, 3, 4))},
    "a joint that is not there": {"clips__translated": np.array([3])},
    "a joint twice": {"clips__scaled": np.array([1, 1])},
    "a channel without a name": {"clips__weight_names": ["smile"]},
    "lines of other frames": {"clips__frame_lines": np.arange(4)},
    "key times that are no numbers": {"clips__key_times_s": np.array([np.nan])},
    "a name that is no text": {"clips__name": 5},
    "notes that are no pairs": {"clips__notes": [["a"]]},
    "an array twice": {"clips__scales": 0},
    "a child before its parent": {"skeletons__parents": np.array([-1, 2, 1])},
    "a joint that is its own parent": {"skeletons__parents": np.array([-1, 1, 1])},
    "a parent below none": {"skeletons__parents": np.array([-2, 0, 1])},
    "a rest pose that is no number": {"skeletons__rest_translations": np.full((3, 3), np.inf)},
    "too few handles": {"skeletons__handles": ["line 1"]},
    "a bone of no joint": {"skeletons__humanoid": {"hips": 3}},
    "fewer names than joints": {"skeletons__names": ["post"]},
    "a vertex on no joint": {"skins__joints": np.array([[0, 0, 0, 3]] * 4)},
    "a triangle of no vertex": {"skins__triangles": np.array([[0, 1, 4]])},
    "a skin without a skeleton": {"asset__skeleton": None},
    "skins that are no list": {"asset__skins": {}},
}


@pytest.mark.parametrize("name", BAD)
def test_what_does_not_fit_together_is_refused(name: str) -> None:
    with pytest.raises(WireError):
        received(changed(**BAD[name]))


def test_the_limits_hold_before_memory_is_taken() -> None:
    data = sent(ferryman())
    for options in (ReadOptions(max_joints=2), ReadOptions(max_frames=4)):
        with pytest.raises(WireError, match="more than the"):
            received(data, options=options)
    with pytest.raises(WireError, match="more than the 100 allowed"):
        received(data, most=100)
    for shape in ([1 << 39, 1 << 39, 1 << 39], [1 << 39], [0, 1 << 39, 1 << 39]):
        with pytest.raises(WireError):
            received(_raw({"arrays": [["float", shape]], "asset": {}}))


def _raw(header: object, magic: bytes = MAGIC) -> bytes:
    text = json.dumps(header).encode()
    return struct.pack("<4sI", magic, len(text)) + text


@pytest.mark.parametrize(
    "data",
    [
        b"Warning: node 7 has no name\n",
        b"kin1",
        _raw({"arrays": []}, b"kin2"),
        struct.pack("<4sI", MAGIC, MAX_HEADER_BYTES + 1),
        struct.pack("<4sI", MAGIC, 40) + b"[" * 40,
        struct.pack("<4sI", MAGIC, 1 << 20) + b"[" * (1 << 20),
        struct.pack("<4sI", MAGIC, 2) + b"\xff\xff",
        _raw([]),
        _raw({}),
        _raw({"arrays": [["float"]]}),
        _raw({"arrays": [["text", [1]]]}),
        _raw({"arrays": [["float", [-1]]]}),
        _raw({"arrays": [["float", [1.0]]]}),
        _raw({"arrays": [["float", [1, 1, 1, 1]]]}),
        _raw({"arrays": [["float", [2]]]}) + bytes(15),
        _raw({"arrays": [["yes", [1]]]}) + b"\x02",
    ],
    ids=range(16),
)
def test_what_is_no_answer_is_refused(data: bytes) -> None:
    with pytest.raises(WireError):
        receive(io.BytesIO(data), MOST)


def test_a_stream_may_end_between_answers_only() -> None:
    assert receive(io.BytesIO(b""), MOST) is None


WHOLE = sent(ferryman())
HEADER = 8 + struct.unpack("<4sI", WHOLE[:8])[1]


@settings(max_examples=400, deadline=None)
@given(
    st.lists(st.tuples(st.integers(0, len(WHOLE) - 1), st.integers(0, 255)), max_size=6),
    st.one_of(st.none(), st.integers(0, len(WHOLE))),
)
def test_changed_bytes_give_an_asset_or_a_typed_error(changes, end) -> None:
    data = bytearray(WHOLE)
    for place, value in changes:
        data[place] = value
    _either(bytes(data[:end]))


@settings(max_examples=600, deadline=None)
@given(st.integers(8, HEADER - 1), st.sampled_from([b"0", b"-1", b"1e999", b"[]", b"{}", b"null"]))
def test_other_values_in_the_header_give_an_asset_or_a_typed_error(place, value) -> None:
    text = WHOLE[8:place] + value + WHOLE[place + 1 : HEADER]
    _either(struct.pack("<4sI", MAGIC, len(text)) + text + WHOLE[HEADER:])


def _either(data: bytes) -> None:
    try:
        asset = received(data)
    except WireError:
        return
    for clip in asset.clips:
        joints, frames = len(clip.skeleton), clip.frames
        assert clip.rotations.shape == (joints, 4, frames)
        assert np.isfinite(clip.sample_rate_hz)
        assert np.isfinite(clip.skeleton.rest_translations).all()
        assert clip.skeleton.signature
    # It is whole: what came can go once more.
    assert differences(received(sent(asset)), asset) == []
