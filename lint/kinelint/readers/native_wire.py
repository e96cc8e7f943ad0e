"""What goes over the pipe between a native reader's child and us, and nothing else ever does.

An answer is the word "kin1", the length of its header (4 bytes), the header (JSON) and then the
numbers of its arrays, raw and little-endian, one after the other. The header lists kind and shape
of each array, so that what is announced can be weighed before any memory is taken. The child may
have been taken over by the file it read: nothing it says is trusted, and pickle is out.
"""

from __future__ import annotations

import json
import math
import struct
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

Array: TypeAlias = NDArray[Any]

MAGIC = b"kin1"
# Names and notes of the largest skeletons take about a megabyte.
MAX_HEADER_BYTES = 8 << 20
MAX_ARRAYS = 100_000
_KINDS: dict[str, np.dtype[Any]] = {
    "float": np.dtype("<f8"),
    "whole": np.dtype("<i8"),
    "yes": np.dtype("u1"),
}
_HEAD = struct.Struct("<4sI")


class WireError(Exception):
    """Bytes that are no answer; the text says what is wrong with them."""


class Incoming(Protocol):
    """Where bytes come from: a raw, blocking stream."""

    def readinto(self, buffer: memoryview, /) -> int | None:
        """How many bytes were put into the buffer; 0 at the end."""


@dataclass
class Arrays:
    """The arrays of an answer as it is made up; `add` gives the number that stands for one."""

    held: list[tuple[str, Array]] = field(default_factory=list)

    def add(self, values: Array) -> int:
        """Floats, whole numbers or truths, of any shape."""
        kind = {"f": "float", "b": "yes"}.get(values.dtype.kind, "whole")
        plain = np.ascontiguousarray(values, dtype=_KINDS[kind])
        # A number alone has no axes, but `ascontiguousarray` gives it one.
        self.held.append((kind, plain.reshape(np.shape(values))))
        return len(self.held) - 1


def send(write: Callable[[memoryview], Any], header: Mapping[str, Any], arrays: Arrays) -> None:
    """Writes one answer.

    Raises:
        WireError: the header is longer than a reader may make it.
    """
    shapes = [[kind, list(values.shape)] for kind, values in arrays.held]
    text = json.dumps({**header, "arrays": shapes}, separators=(",", ":")).encode()
    if len(text) > MAX_HEADER_BYTES:
        raise WireError(f"its names and notes take {len(text)} bytes")
    write(memoryview(_HEAD.pack(MAGIC, len(text)) + text))
    for _, values in arrays.held:
        if values.size:
            write(values.data.cast("B"))


def receive(source: Incoming, max_bytes: int) -> tuple[dict[str, Any], list[Array]] | None:
    """One answer: its header and its arrays; None where the stream has ended before it.

    Args:
        source: where it comes from.
        max_bytes: how much its arrays may take in all.

    Raises:
        WireError: what comes is no answer, or more than may come. The stream is of no more use.
    """
    head = _bytes(source, _HEAD.size, may_end=True)
    if head is None:
        return None
    magic, length = _HEAD.unpack(head)
    if magic != MAGIC:
        raise WireError("it does not begin as an answer does")
    if length > MAX_HEADER_BYTES:
        raise WireError(f"its header takes {length} bytes")
    header = _header(_bytes(source, length) or b"")
    announced = [_announced(one) for one in _listed(header)]
    total = sum(dtype.itemsize * math.prod(shape) for _, dtype, shape in announced)
    if total > max_bytes:
        raise WireError(f"it announces {total} bytes of numbers, more than the {max_bytes} allowed")
    return header, [_array(source, *one) for one in announced]


def _header(text: bytes) -> dict[str, Any]:
    try:
        header = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise WireError(f"its header is no JSON: {type(error).__name__}") from error
    if not isinstance(header, dict):
        raise WireError("its header is no table")
    return header


def _listed(header: Mapping[str, Any]) -> Sequence[Any]:
    listed = header.get("arrays")
    if not isinstance(listed, list) or len(listed) > MAX_ARRAYS:
        raise WireError("it does not list its arrays")
    return listed


def _announced(said: Any) -> tuple[str, np.dtype[Any], tuple[int, ...]]:
    if not isinstance(said, list) or len(said) != 2 or not isinstance(said[1], list):
        raise WireError("an array has no kind and shape")
    kind, shape = said
    if not isinstance(kind, str) or kind not in _KINDS or len(shape) > 3:
        raise WireError("an array is of an unknown kind")
    for size in shape:
        if type(size) is not int or not 0 <= size < 1 << 40:
            raise WireError("an array has no such size")
    return kind, _KINDS[kind], tuple(shape)


def _array(source: Incoming, kind: str, dtype: np.dtype[Any], shape: tuple[int, ...]) -> Array:
    try:
        values = np.empty(shape, dtype)
    except ValueError as error:  # sizes beside a zero may be past all counting
        raise WireError("an array has no such size") from error
    if values.size:
        _fill(source, values.data.cast("B"))
    if kind == "yes":
        if values.size and values.max() > 1:
            raise WireError("a truth is neither yes nor no")
        return values.view(np.bool_)
    return values.astype(dtype.newbyteorder("="), copy=False)


def _bytes(source: Incoming, count: int, *, may_end: bool = False) -> bytes | None:
    buffer = bytearray(count)
    return bytes(buffer) if _fill(source, memoryview(buffer), may_end=may_end) else None


def _fill(source: Incoming, buffer: memoryview, *, may_end: bool = False) -> bool:
    """Fills the buffer; false if the stream ended before the first byte and may do so."""
    done = 0
    while done < len(buffer):
        got = source.readinto(buffer[done:])
        if not got:
            if may_end and not done:
                return False
            raise WireError("it ends in the middle")
        done += got
    return True
