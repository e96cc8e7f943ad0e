"""FBX files that are, or say they are, very large; and files that point to others."""

from __future__ import annotations

import os
import struct
from pathlib import Path

import numpy as np
import pytest

from hostile.oracle import TIGHT
from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.readers import ReadOptions
from readers.fbx_writer import Curve, Joint, Layer, Scene, Take, curves, frame_ticks, ticks
from readers.fbx_writer_checks import assert_moves_as_written, needs_fbx
from readers.fbx_writer_held import Held
from readers.fbx_writer_records import MAGIC, Record, Value, array, binary, text
from readers.fbx_writer_spoilt import record, small, zeros

pytestmark = needs_fbx
FREE = ReadOptions(max_seconds=40.0)
GIB = 1 << 30


def with_array(name: str, raw: bytes, number: int = 0, version: int = 7400) -> bytes:
    """The small scene, with the first array of that name put in as these bytes."""
    records = small(mesh=True).records(version)
    mark = "\x01here\x01"
    record(records, name, number).values = (mark,)
    data = binary(records, version)
    old = b"S" + struct.pack("<I", len(mark)) + mark.encode()
    at = data.index(old)
    return regrown(data, at, old, raw, version)


def regrown(data: bytes, at: int, old: bytes, new: bytes, version: int) -> bytes:
    """Replaces bytes and mends the ends of all records around and behind them."""
    more = len(new) - len(old)
    counts, head = ("<QQQ", 24) if version >= 7500 else ("<III", 12)
    out = bytearray(data[:at] + new + data[at + len(old) :])

    def mend(start: int, end: int) -> None:
        while start < end:
            stop, values, size = struct.unpack_from(counts, data, start)
            if not stop:
                return
            inside = start + head + 1 + data[start + head]
            moved = more if start > at else 0
            holds = start < at < stop
            own = holds and at < inside + size
            grown = (stop + (more if stop > at else 0), values, size + (more if own else 0))
            struct.pack_into(counts, out, start + moved, *grown)
            mend(inside + size, stop)
            start = stop

    mend(27, len(data))
    return bytes(out)


def test_the_surgery_itself_changes_nothing(tmp_path: Path) -> None:
    """An array put in as it was is the file as it was."""
    for version in (7400, 7700):
        records = small(mesh=True).records(version)
        (kept,) = record(records, "KeyTime").values
        assert isinstance(kept, np.ndarray)
        plain = binary(records, version)
        put_in = with_array("KeyTime", array(kept, packed=kept.nbytes > 128), version=version)
        # What follows the tree is padded by its length.
        tree = binary(records, version).index(bytes(range(16)))
        assert put_in[:tree] == plain[:tree]
    held = Held(tmp_path)
    held.clip(plain)


ARRAYS = {"KeyTime": "int64", "KeyValueFloat": "float32", "Vertices": "float64"}
ARRAYS |= {"PolygonVertexIndex": "int32", "Indexes": "int32", "Weights": "float64"}


@pytest.mark.parametrize("name", ARRAYS)
@pytest.mark.parametrize("size", [256 << 20, 4 * GIB - (1 << 20)])
def test_a_bomb_of_zeros_in_an_array(name: str, size: int, tmp_path: Path) -> None:
    """A megabyte that unpacks to gigabytes, as the count promises."""
    dtype = np.dtype(ARRAYS[name])
    raw = zeros(size)
    count = size // dtype.itemsize
    data = with_array(name, array(np.zeros(0, dtype), packed=True, count=count, raw=raw))
    held = Held(tmp_path)
    held.refused(data, f"{len(data)} bytes, {size} inside")


@pytest.mark.parametrize("name", ["KeyTime", "Vertices"])
def test_a_bomb_larger_than_its_count(name: str, tmp_path: Path) -> None:
    dtype = np.dtype(ARRAYS[name])
    raw = zeros(256 << 20)
    held = Held(tmp_path)
    held.read(with_array(name, array(np.zeros(0, dtype), packed=True, count=4, raw=raw)))
    assert not held.lost


@pytest.mark.parametrize("count", [5, 1000, 2**31 - 1, 2**31, 2**32 - 1])
@pytest.mark.parametrize("packed", [True, False])
@pytest.mark.parametrize("version", [7400, 7700])
def test_a_count_beyond_the_file(count: int, packed: bool, version: int, tmp_path: Path) -> None:
    held = Held(tmp_path)
    for name, dtype in ARRAYS.items():
        made = array(np.zeros(4, dtype), packed=packed, count=count)
        held.refused(with_array(name, made, version=version), name)
    assert not held.lost


@pytest.mark.parametrize("size", [0, 1, 2**31, 2**32 - 1])
@pytest.mark.parametrize("packed", [True, False])
def test_a_size_of_stored_bytes_that_is_a_lie(size: int, packed: bool, tmp_path: Path) -> None:
    held = Held(tmp_path)
    for name, dtype in ARRAYS.items():
        made = array(np.arange(4).astype(dtype), packed=packed, size=size)
        held.refused(with_array(name, made), name)
    assert not held.lost


@pytest.mark.parametrize(
    "raw", [b"", b"\x78", b"\x78\xda", b"\x78\xda\x03\x00", b"not zlib", b"\xff" * 99]
)
def test_packed_arrays_that_do_not_unpack(raw: bytes, tmp_path: Path) -> None:
    held = Held(tmp_path)
    for name, dtype in ARRAYS.items():
        made = array(np.zeros(4, dtype), packed=True, count=4, raw=raw)
        held.refused(with_array(name, made), name)
    assert not held.lost


@pytest.mark.parametrize("said", ["*4294967295", "*-1", "*18446744073709551616", "*", "*1e9", "*0"])
def test_counts_of_text_arrays_are_not_believed(said: str, tmp_path: Path) -> None:
    data = small().spelled().replace(b"KeyTime: *4", b"KeyTime: " + said.encode())
    held = Held(tmp_path)
    held.read(data)
    assert not held.lost


@pytest.mark.parametrize("spell", [text, binary], ids=["text", "binary"])
@pytest.mark.parametrize("depth", [50, 2_000, 60_000])
def test_deep_nesting(spell: object, depth: int, tmp_path: Path) -> None:
    if spell is text:
        deep = b"a: {" * depth + b"}" * depth + b"\n"
        data = small().spelled() + deep
    else:
        data = nested(depth)
    held = Held(tmp_path)
    found = held.read(data, label=f"{depth} deep")
    assert not held.lost
    if depth > 50:
        assert isinstance(found, AssetError)


def nested(depth: int) -> bytes:
    """A sound binary file with a record inside a record, and so on."""
    sound = small().spelled(ascii_text=False)
    body = bytearray(sound[:27])
    end = 27 + depth * 14 + depth * 13
    for level in range(depth):
        body += struct.pack("<III", end - level * 13, 0, 0) + b"\x01a"
    body += b"\0" * (13 * depth)
    return bytes(body) + sound[27:]


@pytest.mark.parametrize("joints", [200, 299])
def test_a_long_chain_of_joints(joints: int, tmp_path: Path) -> None:
    scene = chain(joints)
    clip = Held(tmp_path).clip(scene.spelled(ascii_text=False))
    assert len(clip.skeleton) == joints
    assert_moves_as_written(scene, scene.takes[0], clip)


def chain(joints: int, arms: int = 1) -> Scene:
    """Chains side by side on one root; the first and the last joint turn."""
    made = [Joint("hips", -1, (0.0, 90.0, 0.0))]
    for i in range(1, joints):
        made.append(Joint(f"j{i}", max(i - arms, 0), (1.0, 0.1, 0.0)))
    at = frame_ticks(3, 30.0)
    turned = [[0.0, 10.0, 20.0], [0.0, 0.0, 0.0], [0.0, -5.0, 5.0]]
    keyed = curves(0, "R", turned, at) + curves(joints - 1, "R", turned, at)
    return Scene(made, [Take("row", [Layer(keyed)], 0.0, 2 / 30.0)])


def test_more_joints_than_the_limit(tmp_path: Path) -> None:
    held = Held(tmp_path)
    error = held.refused(chain(TIGHT.max_joints + 1, arms=20).spelled(ascii_text=False))
    assert str(TIGHT.max_joints) in str(error)


def test_5000_joints(tmp_path: Path) -> None:
    scene = chain(5_000, arms=50)
    held = Held(tmp_path, FREE)
    clip = held.clip(scene.spelled(ascii_text=False))
    assert len(clip.skeleton) == 5_000
    assert_moves_as_written(scene, scene.takes[0], clip)
    error = held.refused(chain(5_001, arms=50).spelled(ascii_text=False))
    assert "5000" in str(error).replace(",", "").replace(" ", "")


def long(frames: int, rate_hz: float) -> Scene:
    at = frame_ticks(frames, rate_hz)
    keyed = curves(1, "R", np.linspace(0.0, 720.0, frames) * np.ones((3, 1)), at)
    scene = small()
    scene.time_mode = {30.0: 6, 120.0: 1}[rate_hz]
    scene.takes = [Take("row", [Layer(keyed)], 0.0, (frames - 1) / rate_hz)]
    return scene


def test_100_000_frames(tmp_path: Path) -> None:
    scene = long(100_000, 120.0)
    held = Held(tmp_path, FREE)
    clip = held.clip(scene.spelled(ascii_text=False))
    assert clip.frames == 100_000
    assert_moves_as_written(scene, scene.takes[0], clip.cut(98_000, 99_999))


def test_more_frames_than_the_limit(tmp_path: Path) -> None:
    held = Held(tmp_path)
    error = held.refused(long(TIGHT.max_frames + 2, 120.0).spelled(ascii_text=False))
    assert f"{TIGHT.max_frames + 2} frames" in str(error).replace(",", "")


@pytest.mark.parametrize("stop_s", [1e5, 1e7, 1.9e8])
def test_two_keys_years_apart_ask_for_no_frames_between(stop_s: float, tmp_path: Path) -> None:
    """Refused by the limit of frames before any is made."""
    scene = small()
    scene.takes = [Take("row", [Layer([Curve(0, "T", "X", ticks([0.0, stop_s]), [0.0, 1.0])])])]
    for options in (TIGHT, FREE):
        held = Held(tmp_path, options)
        found = held.read(scene.spelled())
        assert not held.lost
        if isinstance(found, Asset):
            (clip,) = found.clips
            assert clip.frames <= options.max_frames
            assert_moves_as_written(scene, scene.takes[0], clip)


@pytest.mark.parametrize("version", [0, 1, 2000, 3000, 5000, 7999, 8000, 99999, 2**31, 2**32 - 1])
def test_versions_that_are_none(version: int, tmp_path: Path) -> None:
    held = Held(tmp_path)
    data = small().spelled(ascii_text=False)
    held.read(MAGIC + struct.pack("<I", version) + data[27:])
    held.read(small().spelled().replace(b"7400", str(version).encode()))
    assert not held.lost


@pytest.mark.parametrize("flag", [1, 2, 255])
def test_another_order_of_bytes_than_the_mark_says(flag: int, tmp_path: Path) -> None:
    data = bytearray(small().spelled(ascii_text=False))
    data[22] = flag
    held = Held(tmp_path)
    held.read(bytes(data))
    assert not held.lost


ENCODINGS = ["utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp037"]


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_text_in_another_encoding_is_refused(encoding: str, tmp_path: Path) -> None:
    held = Held(tmp_path)
    held.refused(small().spelled().decode().encode(encoding))
    assert not held.lost


def test_a_mark_of_utf_8_before_the_text(tmp_path: Path) -> None:
    scene = small()
    clip = Held(tmp_path).clip(b"\xef\xbb\xbf" + scene.spelled())
    assert_moves_as_written(scene, scene.takes[0], clip)


@pytest.mark.parametrize("newline", ["\r\n", "\r", "\n\n", " \n\t"])
def test_ends_of_lines(newline: str, tmp_path: Path) -> None:
    scene = small()
    clip = Held(tmp_path).clip(text(scene.records(7400), 7400, newline))
    assert_moves_as_written(scene, scene.takes[0], clip)


JUNK = {
    "empty": b"",
    "one byte": b"K",
    "half a mark": MAGIC[:12],
    "mark only": MAGIC,
    "zeros": bytes(5000),
    "comment": b"; FBX 7.4.0 project file\n",
    "open string": b'; FBX 7.4.0 project file\nObjects: "never closed',
    "open array": b"; FBX 7.4.0 project file\na: *9 {\n a: 1,2,",
    "only braces": b"; FBX 7.4.0 project file\n" + b"{" * 5000,
    "only closing": b"; FBX 7.4.0 project file\n" + b"}" * 5000,
    "commas": b"; FBX 7.4.0 project file\na: " + b"," * 50_000,
    "long word": b"; FBX 7.4.0 project file\n" + b"a" * 200_000 + b": 1\n",
    "long number": b"; FBX 7.4.0 project file\na: " + b"9" * 200_000 + b"\n",
    "png": b"\x89PNG\r\n\x1a\n" + bytes(100),
    "zip": b"PK\x03\x04" + bytes(100),
}


@pytest.mark.parametrize("name", JUNK)
def test_what_is_no_fbx(name: str, tmp_path: Path) -> None:
    held = Held(tmp_path)
    error = held.refused(JUNK[name], name)
    assert str(error).count("cannot be read") <= 1
    assert "as FBX: " not in error.what
    assert not held.lost


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
@pytest.mark.parametrize("spell", [text, binary], ids=["text", "binary"])
def test_files_that_are_pointed_to_are_not_opened(spell: object, tmp_path: Path) -> None:
    """They are named pipes here: whoever opened one would wait for ever."""
    pipe = tmp_path / "cache.mc"
    os.mkfifo(pipe)
    records = small(mesh=True).records(7400)
    objects = record(records, "Objects")
    names: tuple[tuple[str, str], ...] = (
        ("Video", "Clip"),
        ("Texture", "TextureVideoClip"),
        ("CacheFile", ""),
        ("Audio", ""),
        ("SceneInfo", "UserData"),
    )
    for number, (kind, sub) in enumerate(names):
        one = objects.add(kind, 900 + number, kind, sub)
        props = one.add("Properties70", braces=True)
        for prop in ("CacheFileName", "CacheAbsoluteFileName", "Path", "RelPath", "DocumentUrl"):
            props.add("P", prop, "KString", "Url", "", str(pipe))
        for field in ("FileName", "Filename", "RelativeFilename", "Media"):
            values: tuple[Value, ...] = (str(pipe),)
            one.children.append(Record(field, values))
    deformer = objects.add("Deformer", 990, "cache", "VertexCacheDeformer")
    deformer.add("Properties70", braces=True).add("P", "Channel", "KString", "", "", "coat")
    links = record(records, "Connections")
    mesh = next(one.values[0] for one in objects.children if one.name == "Geometry")
    links.add("C", "OO", 990, mesh)
    links.add("C", "OO", 902, 990)
    assert callable(spell)
    scene = small(mesh=True)
    clip = Held(tmp_path).clip(spell(records, 7400))
    scene.joints = scene.joints[:3]
    assert_moves_as_written(scene, scene.takes[0], clip)


def test_an_embedded_file_is_left_where_it_is(tmp_path: Path) -> None:
    records = small().records(7400)
    video = record(records, "Objects").add("Video", 900, "sail", "Clip")
    video.add("RelativeFilename", "../../sail.png")
    video.add("Content", b"\x89PNG" + bytes(1 << 20))
    folder = tmp_path / "a" / "b"
    folder.mkdir(parents=True)
    Held(folder).clip(binary(records, 7400))
    made = [one for one in tmp_path.rglob("*") if one.is_file()]
    assert made == [folder / "spoilt.fbx"]
