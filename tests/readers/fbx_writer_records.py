"""FBX node records and their two spellings, text and binary, from the public layout of the format.

A file is a tree of records: a name, a row of values, records inside it. The same tree makes a text
file and a binary one of any version, so that a reader must find the same in both.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy as np

# Eight letters that say nothing of the file, then the format's name and a mark.
MAGIC = bytes.fromhex("4b61796461726120") + b"FBX Binary  \x00\x1a\x00"
# From 7.5 on the three counts that open a record have 64 bits.
WIDE_FROM = 7500
_TYPES = {"float64": b"d", "float32": b"f", "int64": b"l", "int32": b"i", "bool": b"b"}


@dataclass(frozen=True)
class Named:
    """An object's name with its class: "Model::hips" in text, the other way round in binary."""

    name: str
    kind: str


@dataclass(frozen=True)
class Long:
    """A 64-bit integer, however small."""

    value: int


@dataclass(frozen=True)
class Flag:
    """One letter that stands bare in text."""

    letter: str


@dataclass(frozen=True, eq=False)
class Bits:
    """Single-precision numbers that text spells as the integers of the same 32 bits."""

    values: np.ndarray[Any, Any]


Value: TypeAlias = "int | float | str | bytes | Named | Long | Flag | Bits | np.ndarray[Any, Any]"


@dataclass
class Record:
    """One node. `open_` writes the braces even where nothing is inside."""

    name: str
    values: tuple[Value, ...] = ()
    children: list[Record] = field(default_factory=list)
    braces: bool = False

    def add(self, name: str, *values: Value, braces: bool = False) -> Record:
        """A new record inside this one."""
        made = Record(name, values, braces=braces)
        self.children.append(made)
        return made

    def walk(self) -> Iterator[Record]:
        """This record and all inside it."""
        yield self
        for child in self.children:
            yield from child.walk()


def text(records: Sequence[Record], version: int, newline: str = "\n") -> bytes:
    """An ASCII file. Arrays stand in braces of their own from version 7 on."""
    digits = f"{version // 1000}.{version % 1000 // 100}.0"
    lines = [f"; FBX {digits} project file", "; " + "-" * 52, ""]
    for record in records:
        _lines(record, 0, version, lines)
    return (newline.join(lines) + newline).encode("utf-8", "surrogateescape")


def _lines(record: Record, depth: int, version: int, out: list[str]) -> None:
    tab = "\t" * depth
    spelled = [_spelled(value, version, depth + 1) for value in record.values]
    opens = record.children or record.braces
    head = f"{tab}{record.name}: {','.join(spelled)}"
    if not opens:
        out.append(head)
        return
    out.append(head + " {")
    for child in record.children:
        _lines(child, depth + 1, version, out)
    out.append(tab + "}")


def _spelled(value: Value, version: int, depth: int) -> str:
    if isinstance(value, Bits):
        value = np.asarray(value.values, dtype=np.float32).view(np.int32)
    if isinstance(value, np.ndarray):
        listed = ",".join(repr(one) for one in value.tolist())
        if version < 7000:
            return listed
        tab = "\t" * depth
        return f"*{value.size} {{\n{tab}a: {listed}\n{tab[:-1]}}}"
    if isinstance(value, Named):
        return quoted(f"{value.kind}::{value.name}")
    if isinstance(value, Long):
        return str(value.value)
    if isinstance(value, Flag):
        return value.letter
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, bytes):
        return quoted(value.decode("latin-1"))
    return repr(value)


def quoted(words: str) -> str:
    """In quotes, a quote inside as the format's entity."""
    return '"' + words.replace('"', "&quot;") + '"'


def binary(records: Sequence[Record], version: int, *, packed: bool = True) -> bytes:
    """A binary file; `packed` deflates arrays of more than 128 bytes."""
    out = bytearray(MAGIC + struct.pack("<I", version))
    for record in records:
        _bytes(record, version, packed, out)
    out += b"\0" * _null(version)
    # What follows the tree is a fixed mark, padding and the version once more.
    out += bytes(range(16)) + b"\0" * (4 + -(len(out) + 20) % 16)
    out += struct.pack("<I", version) + b"\0" * 120 + bytes(range(16))
    return bytes(out)


def _null(version: int) -> int:
    return 25 if version >= WIDE_FROM else 13


def _bytes(record: Record, version: int, packed: bool, out: bytearray) -> None:
    counts = "<QQQ" if version >= WIDE_FROM else "<III"
    start, name = len(out), record.name.encode()
    values = [one for value in record.values for one in _coded(value, version, packed)]
    body = b"".join(values)
    out += b"\0" * struct.calcsize(counts) + bytes([len(name)]) + name + body
    for child in record.children:
        _bytes(child, version, packed, out)
    if record.children or record.braces:
        out += b"\0" * _null(version)
    struct.pack_into(counts, out, start, len(out), len(values), len(body))


def _coded(value: Value, version: int, packed: bool) -> Iterator[bytes]:
    if isinstance(value, Bits):
        value = np.asarray(value.values, dtype=np.float32)
    if isinstance(value, np.ndarray):
        if version < 7000:
            for one in value.tolist():
                yield from _coded(one, version, packed)
        else:
            yield array(value, packed=packed and value.nbytes > 128)
    elif isinstance(value, Named):
        name = value.name.encode("utf-8", "surrogateescape")
        yield _sized(b"S", name + b"\0\1" + value.kind.encode())
    elif isinstance(value, str):
        yield _sized(b"S", value.encode("utf-8", "surrogateescape"))
    elif isinstance(value, bytes):
        yield _sized(b"R", value)
    elif isinstance(value, Flag):
        yield b"C" + value.letter.encode()
    elif isinstance(value, float):
        yield b"D" + struct.pack("<d", value)
    elif isinstance(value, Long):
        yield b"L" + struct.pack("<q", value.value)
    elif -(1 << 31) <= value < 1 << 31:
        yield b"I" + struct.pack("<i", value)
    else:
        yield b"L" + struct.pack("<q", value)


def _sized(code: bytes, raw: bytes) -> bytes:
    return code + struct.pack("<I", len(raw)) + raw


def array(
    values: np.ndarray[Any, Any],
    *,
    packed: bool,
    count: int | None = None,
    size: int | None = None,
    raw: bytes | None = None,
) -> bytes:
    """A binary array; count, size and raw bytes may be lies."""
    plain = values.astype(values.dtype.newbyteorder("<")).tobytes()
    stored = raw if raw is not None else zlib.compress(plain) if packed else plain
    told = values.size if count is None else count
    sized = len(stored) if size is None else size
    return _TYPES[values.dtype.name] + struct.pack("<III", told, int(packed), sized) + stored
