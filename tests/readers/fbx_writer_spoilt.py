"""Places at which to cut a written FBX file, and ways to spoil it."""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator
from copy import deepcopy
from dataclasses import dataclass, field

import numpy as np

from readers.fbx_writer import Cluster, Joint, Layer, Mesh, Scene, Shape, Take, curves, frame_ticks
from readers.fbx_writer_modern import FIRST_ID
from readers.fbx_writer_records import WIDE_FROM, Flag, Long, Record, Value

_SIZES = {"C": 1, "B": 1, "Y": 2, "I": 4, "F": 4, "D": 8, "L": 8}


def small(*, mesh: bool = False, frames: int = 4) -> Scene:
    """A small sound scene: three joints that turn, the first moves; with a skin if asked."""
    at = frame_ticks(frames, 30.0)
    phase = np.linspace(0.0, 1.0, frames)
    joints = [
        Joint(name, i - 1, (0.0, 10.0, 0.0)) for i, name in enumerate(("hips", "chest", "head"))
    ]
    keyed = curves(0, "T", [phase, 10.0 + phase, -phase], at)
    keyed += [
        one for i in range(3) for one in curves(i, "R", 40.0 * phase * np.eye(3)[i][:, None], at)
    ]
    scene = Scene(joints, [Take("row", [Layer(keyed)], 0.0, (frames - 1) / 30.0)])
    if mesh:
        joints.append(Joint("coat", -1, kind="Mesh"))
        corners = [[0.0, 0.0, 0.0], [5.0, 0.0, 0.0], [0.0, 25.0, 5.0], [5.0, 25.0, 5.0]]
        clusters = [Cluster(i, range(4), [0.5] * 4, np.eye(4)) for i in (0, 1)]
        shapes = [Shape("smile", [0, 1], [[1.0, 0.0, 0.0]] * 2)]
        scene.meshes = [Mesh(3, corners, [[0, 1, 2], [1, 3, 2]], clusters, shapes)]
    return scene


@dataclass
class Cuts:
    """Offsets in a file by the class of byte that stands there."""

    by_class: dict[str, list[int]] = field(default_factory=dict)

    def put(self, kind: str, at: int) -> None:
        self.by_class.setdefault(kind, []).append(at)

    def spread(self, each: int) -> list[tuple[str, int]]:
        """Some of every class, spread over the file."""
        found = []
        for kind, places in self.by_class.items():
            chosen = np.unique(np.linspace(0, len(places) - 1, min(each, len(places))).astype(int))
            found += [(kind, places[one]) for one in chosen.tolist()]
        return found


def binary_cuts(data: bytes) -> Cuts:
    """Every class of byte in a binary file: counts, names, type codes, sizes, payloads, nulls."""
    cuts = Cuts()
    for at in (0, 1, 10, 20, 22, 23, 25, 26):
        cuts.put("mark and version", at)
    (version,) = struct.unpack_from("<I", data, 23)
    wide = version >= WIDE_FROM
    counts, head = ("<QQQ", 24) if wide else ("<III", 12)
    end = _record_list(data, 27, len(data), counts, head, cuts)
    for at in range(end, len(data), 16):
        cuts.put("footer", at)
    return cuts


def _record_list(data: bytes, at: int, end: int, counts: str, head: int, cuts: Cuts) -> int:
    while at < end:
        stop, values, size = struct.unpack_from(counts, data, at)
        if not stop:
            cuts.put("null record", at + 1)
            cuts.put("end of null record", at + head + 1)
            return at + head + 1
        cuts.put("record", at)
        cuts.put("counts", at + head // 2)
        cuts.put("name length", at + head)
        name_end = at + head + 1 + data[at + head]
        cuts.put("name", at + head + 2)
        cuts.put("end of name", name_end)
        _values(data, name_end, values, cuts)
        inside = name_end + size
        if inside < stop:
            _record_list(data, inside, stop, counts, head, cuts)
        cuts.put("end of record", stop)
        at = stop
    return at


def _values(data: bytes, at: int, count: int, cuts: Cuts) -> None:
    for _ in range(count):
        code = chr(data[at])
        cuts.put("type code", at + 1)
        if code in _SIZES:
            cuts.put(f"value {code}", at + 1 + _SIZES[code] // 2)
            at += 1 + _SIZES[code]
        elif code in "SR":
            (size,) = struct.unpack_from("<I", data, at + 1)
            cuts.put("string size", at + 3)
            cuts.put("string", at + 5 + size // 2)
            at += 5 + size
        else:
            size = struct.unpack_from("<III", data, at + 1)[2]
            cuts.put("array count", at + 3)
            cuts.put("array encoding", at + 7)
            cuts.put("array size", at + 11)
            cuts.put("array", at + 13 + size // 2)
            at += 13 + size


_TEXT_CLASSES = {
    "comment": rb";.",
    "line end": rb"\n",
    "indent": rb"\n\t",
    "word": rb"[A-Z][a-z]",
    "colon": rb":",
    "open brace": rb"\{",
    "close brace": rb"\}",
    "end of block": rb"\}\n",
    "comma": rb",",
    "open quote": rb'"',
    "in quotes": rb'"[A-Za-z]',
    "digit": rb"\d",
    "point": rb"\.",
    "array star": rb"\*",
    "class mark": rb"::",
}


def text_cuts(data: bytes) -> Cuts:
    """Every class of byte in a text file: a cut falls behind each match."""
    cuts = Cuts()
    for kind, pattern in _TEXT_CLASSES.items():
        for match in re.finditer(pattern, data):
            cuts.put(kind, match.end())
    return cuts


def record(records: list[Record], name: str, number: int = 0) -> Record:
    """The record of that name, the first unless said."""
    found = [one for top in records for one in top.walk() if one.name == name]
    return found[number]


def zeros(size: int) -> bytes:
    """A zlib stream (RFC 1950) of `size` zero bytes, made in no time and in no space."""
    block = 1 << 20
    deflate = zlib.compressobj(9, zlib.DEFLATED, -15)
    # After a full flush every block of zeros is the same bytes again.
    first = deflate.compress(bytes(block)) + deflate.flush(zlib.Z_FULL_FLUSH)
    rest = zlib.compressobj(9, zlib.DEFLATED, -15)
    last = rest.compress(bytes(size % block)) + rest.flush()
    # Adler-32 of n zero bytes: a stays 1, b counts n.
    checksum = struct.pack(">I", (size % 65521) << 16 | 1)
    return b"\x78\xda" + first * (size // block) + last + checksum


def flipped(data: bytes, rng: np.random.Generator, bits: int) -> bytes:
    """Some bits turned over."""
    spoilt = bytearray(data)
    for at in rng.integers(0, 8 * len(data), bits).tolist():
        spoilt[at // 8] ^= 1 << at % 8
    return bytes(spoilt)


def numbers_in(data: bytes) -> Iterator[int]:
    """Offsets of all counts and sizes in a binary file."""
    cuts = binary_cuts(data).by_class
    for at in cuts["counts"]:
        yield at - 6
    for kind, back in (("array count", 2), ("array encoding", 2), ("array size", 2)):
        yield from (at - back for at in cuts.get(kind, ()))
    yield from (at - 2 for at in cuts["string size"])


ODD_VALUES: tuple[Value, ...] = (
    0, 1, -1, 2**31 - 1, -(2**31), Long(2**63 - 1), Long(-(2**63)), Long(FIRST_ID + 1), 0.0, -1.0,
    1e308, float("nan"), float("inf"), "", "x" * 3000, "T", "Lcl Rotation", "OO", Flag("Y"),
    b"\xff\xfe\0", np.zeros(0), np.array([np.nan, np.inf, -1.0]), np.array([2**31 - 1], np.int32),
    np.array([-(2**63), 2**63 - 1]), np.full(300, -1, np.int32), np.zeros(100_000, np.float32),
)  # fmt: skip


def shaken(records: list[Record], rng: np.random.Generator, steps: int) -> list[Record]:
    """The tree with some records dropped, doubled, moved or given values of others."""
    for _ in range(steps):
        holders = [one for top in records for one in top.walk() if one.children]
        holder = holders[int(rng.integers(len(holders)))]
        at = int(rng.integers(len(holder.children)))
        one = holder.children[at]
        every = [inner for top in records for inner in top.walk()]
        alike = [inner for inner in every if inner.name == one.name]
        kind = int(rng.integers(6))
        if kind == 0:
            del holder.children[at]
        elif kind == 1:
            holder.children.insert(at, deepcopy(one))
        elif kind == 2:
            one.values = alike[int(rng.integers(len(alike)))].values
        elif kind == 3:
            one.children = deepcopy(alike[int(rng.integers(len(alike)))].children)
        elif one.values:
            values = list(one.values)
            values[int(rng.integers(len(values)))] = ODD_VALUES[int(rng.integers(len(ODD_VALUES)))]
            one.values = tuple(values)
        if not any(top.children for top in records):
            break
    return records
