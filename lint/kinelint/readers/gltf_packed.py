"""Buffer views whose bytes are packed by EXT_meshopt_compression or KHR_meshopt_compression.

Unpacked here with NumPy alone. The one binding of the native decoder on PyPI (meshoptimizer
0.2.30a0) comes without wheels, as an alpha, and would run on strangers' files in the gate's own
process; the tests hold this decoder to it.
Source: EXT_meshopt_compression, "Specifying compressed views" and "Fallback buffers".
"""

from __future__ import annotations

import reprlib
from dataclasses import dataclass

import numpy as np

from kinelint.readers.gltf_budget import Budget
from kinelint.readers.gltf_buffers import Buffers
from kinelint.readers.gltf_document import Document, Json
from kinelint.readers.gltf_meshopt import Bytes, StreamError, attributes
from kinelint.readers.gltf_meshopt_filters import FILTERS
from kinelint.readers.gltf_meshopt_indices import indices, triangles

_NAMES = ("EXT_meshopt_compression", "KHR_meshopt_compression")
# Real files shrink to a third or a tenth; constant ones to a 64th.
_MOST_FOLD = 64
_ALWAYS_BYTES = 1 << 20


@dataclass
class Unpacker:
    """Unpacks the views of one file, and counts what they ask for."""

    document: Document
    buffers: Buffers
    budget: Budget
    _made: int = 0

    def extension(self, view: Json) -> tuple[str, Json] | None:
        """The name and the object of a packed view; None for a plain one, or one with both."""
        for name in _NAMES:
            found = self.document.inner(view, "extensions", name)
            if type(found) is dict and self._stands_in(view.get("buffer"), name):
                return name, found
        return None

    def _stands_in(self, buffer: object, name: str) -> bool:
        """Whether a buffer only stands for packed bytes: it has none, or need not be delivered."""
        if not self.buffers.is_there(buffer) or type(buffer) is not int:
            return True
        table = self.document.table("buffers")[buffer]
        return self.document.inner(table, "extensions", name, "fallback") is True

    def bytes(self, view: Json, name: str, packed: Json, place: str) -> memoryview:
        """The bytes of a view.

        Raises:
            AssetError: naming the view.
        """
        at = f"{place}/extensions/{name}"
        whole, error = self.document.whole, self.document.error
        size = len(self.document.table("buffers"))
        source = self.buffers[self.document.reference(packed, "buffer", size, at)]
        start, length = whole(packed, "byteOffset", at, 0), whole(packed, "byteLength", at)
        count, stride = whole(packed, "count", at), whole(packed, "byteStride", at)
        if start + length > len(source):
            what = f"ends at byte {start + length} of a buffer of {len(source)}"
            raise error(what, at)
        self._spend(count * stride, at)
        if whole(view, "byteLength", place) != count * stride or not count * stride:
            what = f"{count} elements of {stride} bytes do not fill the view"
            raise error(what, f"{place}/byteLength")
        data = np.frombuffer(source[start : start + length], np.uint8)
        mode, filtered = packed.get("mode"), packed.get("filter", "NONE")
        try:
            out = _unpacked(data, count, stride, mode, filtered)
        except StreamError as problem:
            raise error(f"the packed data {problem}", at) from problem
        return memoryview(out.tobytes())

    def _spend(self, size: int, place: str) -> None:
        self._made += size
        fold = _ALWAYS_BYTES + _MOST_FOLD * self.buffers.fetched_bytes
        # Where each group of 16 bytes stands is kept until all are found.
        self.budget.spend(4 * size, place, "packed data asks for room")
        if self._made > fold:
            what = f"packed data grows to {self._made} bytes, more than may be read"
            raise self.document.error(what, place)


def _unpacked(data: Bytes, count: int, stride: int, mode: object, filtered: object) -> Bytes:
    if mode == "ATTRIBUTES":
        if stride % 4 or stride > 256:
            raise StreamError(f"has elements of {stride} bytes, not of 4 to 256 by fours")
        out = attributes(data, count, stride)
        if filtered == "NONE":
            return out
        strides, undo = FILTERS.get(str(filtered), ((), None))
        if undo is None or stride not in strides:
            raise StreamError(
                f"has a filter {reprlib.repr(filtered)} that elements of {stride} bytes cannot"
            )
        return undo(out)
    if stride not in (2, 4) or filtered != "NONE":
        raise StreamError("of indices must have elements of 2 or 4 bytes and no filter")
    if mode == "TRIANGLES" and count % 3 == 0:
        numbers = triangles(data, count)
    elif mode == "INDICES":
        numbers = indices(data, count)
    else:
        raise StreamError(f"has mode {reprlib.repr(mode)} for {count} elements")
    return numbers.astype(f"<u{stride}").view(np.uint8)
