"""Ways to break a file: by its bytes, by its words, by its tree.

Every mutation takes the file's bytes and a source of chance, and gives other bytes. Property tests
and the fuzzer's mutators share them.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from random import Random
from typing import Any

NUMBERS = (
    "0", "-0", "1", "-1", "3", "nan", "inf", "-inf", "1e309", "1e308", "-1e308", "1e30", "1e-320",
    "1e-30", "2147483648", "4294967295", "1000000000000", "18446744073709551616", "1_0", "0x10",
    "1,5", "1e", ".", "--1", "٣", "1" * 400, "0." + "0" * 400 + "1", "1e-" + "0" * 5000 + "1",
)  # fmt: skip
BYTES = (
    b"\0",
    b"\x1b[31m",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"\r",
    b"\x85",
    b"\xe2\x80\xae",
    b"{" * 40,
)
VALUES: tuple[Any, ...] = (
    None, True, 0, 1, -1, 3, 255, 2**31, 2**40, 2**63, 10**25, 0.5, -1e308, 1e308, 1e38, 1e-45, "",
    "x" * 300, "\x1b[2J", "../a", "file:///a", "%2e%2e/a", "\ud7ff", [], {}, [0], [[]], {"node": 0},
    [1e308] * 16, [0] * 16, [0, 0, 0, 0], [1e38] * 3, "LINEAR", "CUBICSPLINE", "STEP", "MAT4",
    "SCALAR", "VEC4", 5120, 5121, 5123, 5125, 5126,
)  # fmt: skip


def by_bytes(data: bytes, random: Random) -> bytes:
    """Cuts, flips, doubles or puts in some bytes."""
    if not data:
        return random.choice(BYTES)
    at, length = random.randrange(len(data)), random.randrange(1, 40)
    kind = random.randrange(6)
    if kind == 0:
        return data[:at]
    if kind == 1:
        return data[:at] + bytes([data[at] ^ 1 << random.randrange(8)]) + data[at + 1 :]
    if kind == 2:
        return data[:at] + data[at + length :]
    if kind == 3:
        return data[:at] + data[at : at + length] * random.randrange(2, 9) + data[at + length :]
    if kind == 4:
        return data[:at] + random.choice(BYTES) + data[at:]
    return data[:at] + bytes([random.randrange(256)]) + data[at + 1 :]


def by_number(data: bytes, random: Random) -> bytes:
    """Puts an odd number of 4 or 8 bytes anywhere: a count, a length, an offset."""
    at = random.randrange(max(len(data), 1))
    odd = random.choice((0, 1, 0x7F, 0xFFFF, 2**31 - 1, 2**31, 2**32 - 1, 2**40, 2**63, 2**64 - 1))
    word = struct.pack("<Q", odd)[: random.choice((1, 2, 4, 8))]
    return data[:at] + word + data[at + len(word) :]


def by_words(data: bytes, random: Random) -> bytes:
    """Changes, drops, doubles or moves a word or a line of a text."""
    glue = random.choice((b" ", b"\n"))
    parts = data.split(glue)
    at, other = random.randrange(len(parts)), random.randrange(len(parts))
    kind = random.randrange(5)
    if kind == 0:
        parts[at] = random.choice(NUMBERS).encode()
    elif kind == 1:
        del parts[at]
    elif kind == 2:
        parts[at:at] = [parts[at]] * random.randrange(1, 9)
    elif kind == 3:
        parts[at], parts[other] = parts[other], parts[at]
    else:
        parts[at] = parts[other]
    return glue.join(parts)


def by_tree(data: bytes, random: Random) -> bytes:
    """Changes the JSON of a glTF file, or the bytes behind it; the container stays whole."""
    text, binary = apart(data)
    try:
        tree = json.loads(text)
    except (ValueError, RecursionError):
        return by_bytes(data, random)
    if not isinstance(tree, dict | list):
        return by_bytes(data, random)
    if binary and random.random() < 0.25:
        binary = by_floats(binary, random)
    else:
        tree = changed(tree, random)
    text = json.dumps(tree).encode()
    return text if binary is None else container(text, binary)


def by_floats(binary: bytes, random: Random) -> bytes:
    """Puts an odd float32 or integer at a word's border."""
    at = random.randrange(max(len(binary) // 4, 1)) * 4
    odd = (float("nan"), float("inf"), 3.4e38, -3.4e38, 1e-45, 0.0, 1e20, -1.0)
    word = struct.pack("<f", random.choice(odd))
    if random.random() < 0.3:
        word = struct.pack("<I", random.choice((0, 1, 255, 65535, 2**32 - 1)))
    return binary[:at] + word + binary[at + 4 :]


def changed(tree: Any, random: Random) -> Any:
    """A tree with one place changed: another value, one of another place, none, or twice."""
    found = list(places(tree))
    if not found:
        return random.choice(VALUES)
    holder, key = random.choice(found)
    kind = random.randrange(5)
    if kind == 0:
        del holder[key]
    elif kind == 1 and isinstance(holder, list):
        holder.extend([holder[key]] * random.choice((1, 2, 50)))
    elif kind == 2:
        from_holder, from_key = random.choice(found)
        holder[key] = json.loads(json.dumps(from_holder[from_key]))
    else:
        holder[key] = random.choice(VALUES)
    return tree


def places(tree: Any) -> Iterator[tuple[Any, Any]]:
    """Every place in a tree: what holds it, and its key or index there."""
    waiting = [tree]
    while waiting:
        holder = waiting.pop()
        keys = holder if isinstance(holder, dict) else range(len(holder))
        for key in keys:
            yield holder, key
            if isinstance(holder[key], dict | list):
                waiting.append(holder[key])


def apart(data: bytes) -> tuple[bytes, bytes | None]:
    """The JSON text of a glTF file, and its BIN chunk if it is binary."""
    if data[:4] != b"glTF" or len(data) < 20:
        return data, None
    size = struct.unpack_from("<I", data, 12)[0]
    return data[20 : 20 + size], data[28 + size :]


def container(text: bytes, binary: bytes) -> bytes:
    """A .glb of these two chunks."""
    text += b" " * (-len(text) % 4)
    binary += b"\0" * (-len(binary) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    chunks += struct.pack("<II", len(binary), 0x004E4942) + binary
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


MUTATORS = {
    "bvh": (by_bytes, by_words, by_words),
    "gltf": (by_bytes, by_tree, by_tree, by_tree),
    "policy": (by_bytes, by_words, by_words),
    "cues": (by_bytes, by_words, by_words),
    "report": (by_bytes, by_tree, by_tree, by_tree),
    "fbx": (by_bytes, by_words, by_number),
    "usd": (by_bytes, by_words, by_number),
}


def mutated(kind: str, data: bytes, random: Random, most: int = 4) -> bytes:
    """A file of a kind, changed one to `most` times."""
    for _ in range(random.randrange(1, most + 1)):
        data = random.choice(MUTATORS[kind])(data, random)
    return data
