"""glTF accessors to numpy: bounds, strides, sparse parts, normalised integers.

All bounds are checked before anything is allocated.
Source: glTF 2.0 specification, sections 3.6.2 (accessors) and 3.11 (dequantisation).
"""

from __future__ import annotations

import reprlib
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kinelint.kinematics.arrays import Floats, Ints
from kinelint.readers.gltf_budget import Budget
from kinelint.readers.gltf_buffers import Buffers
from kinelint.readers.gltf_document import Document, Json
from kinelint.readers.gltf_packed import Unpacker
from kinelint.readers.gltf_plain import Plain, plain_accessors
from kinelint.readers.options import ReadOptions

_COMPONENTS: dict[Any, np.dtype[Any]] = {
    5120: np.dtype("<i1"),
    5121: np.dtype("<u1"),
    5122: np.dtype("<i2"),
    5123: np.dtype("<u2"),
    5125: np.dtype("<u4"),
    5126: np.dtype("<f4"),
}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}


@dataclass
class Accessors:
    """The accessors of one file. What was read is kept."""

    document: Document
    buffers: Buffers
    options: ReadOptions
    _raw: dict[int, NDArray[Any]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._table = self.document.table("accessors")
        self._views = self.document.table("bufferViews")
        self._buffer_count = len(self.document.table("buffers"))
        self._bytes: dict[int, tuple[memoryview, int | None]] = {}
        self.budget = Budget(self.document, self.buffers, self.options)
        self._unpacker = Unpacker(self.document, self.buffers, self.budget)

    def reference(self, holder: Json, key: str, place: str) -> int:
        """The accessor that `holder` names under `key`."""
        return self.document.reference(holder, key, len(self._table), place)

    def values(self, index: int, width: int, place: str) -> NDArray[Any]:
        """``(count, width)`` as real numbers, normalised integers dequantised; float32 stays so.

        Args:
            index: of the accessor.
            width: how many components each element must have.
            place: JSON pointer of who asks, for errors.
        """
        raw = self.raw(index, width, place)
        if self._table[index].get("normalized") is not True or raw.dtype.kind == "f":
            return raw
        if raw.dtype.itemsize == 4:
            raise self.document.error("32-bit integers cannot be normalised", f"/accessors/{index}")
        scaled: Floats = raw / float(np.iinfo(raw.dtype).max)
        return np.maximum(scaled, -1.0)

    def floats(self, index: int, width: int, place: str) -> Floats:
        """The same as float64."""
        return self.values(index, width, place).astype(np.float64)

    def stacked(self, indices: list[int], width: int, rows: int) -> NDArray[np.float32] | None:
        """``(indices, rows, width)`` of plain accessors, all at once.

        None unless each holds `rows` floats of `width`, dense and end to end in one buffer: read
        them one by one then, which also finds what may be wrong with them.
        """
        at, table = np.array(indices), self._plain
        first = indices[0]
        if table.widths[first] != width or table.counts[first] != rows:
            return None
        if (table.kinds[at] != table.kinds[first]).any():
            return None
        buffer = int(table.buffers[first])
        return _windows(self.buffers[buffer], table.starts[at], rows * width * 4)

    @cached_property
    def _plain(self) -> Plain:
        # What a buffer declares is what it holds, or fetching it will say so.
        declared = [one.get("byteLength") for one in self.document.table("buffers")]
        there = self.buffers.is_there
        lengths = [one if type(one) is int and there(i) else -1 for i, one in enumerate(declared)]
        return plain_accessors(self._table, self._views, lengths)

    def whole(self, index: int, width: int, place: str) -> Ints:
        """``(count, width)`` of unsigned integers."""
        raw = self.raw(index, width, place)
        if raw.dtype.kind != "u":
            raise self.document.error("must hold unsigned integers", f"/accessors/{index}")
        return raw.astype(np.intp)

    def raw(self, index: int, width: int, place: str) -> NDArray[Any]:
        """``(count, width)`` as stored, sparse parts put in; not to be written to."""
        found = self._raw.get(index)
        if found is None:
            found = self._raw[index] = self._read(index)
        if found.shape[1] != width:
            what = f"needs elements of {width} components, accessor {index} has {found.shape[1]}"
            raise self.document.error(what, place)
        return found

    def _read(self, index: int) -> NDArray[Any]:
        accessor, place = self._table[index], f"/accessors/{index}"
        dtype, width = self._layout(accessor, place)
        count = self.document.whole(accessor, "count", place)
        if count < 1:
            raise self.document.error("must be 1 or more", f"{place}/count")
        if "bufferView" in accessor:
            dense = self._view(accessor, dtype, width, count, place)
        else:
            # No bytes of the file stand behind these, so nothing else bounds them.
            self._spend(count * width * dtype.itemsize, count, f"{place}/count")
            dense = np.zeros((count, width), dtype=dtype)
        if "sparse" in accessor:
            return self._patched(dense, accessor, place)
        return dense

    def _spend(self, size: int, count: int, place: str) -> None:
        self.budget.spend(size, place, f"asks for {count} elements")

    def _layout(self, accessor: Json, place: str) -> tuple[np.dtype[Any], int]:
        component, kind = accessor.get("componentType"), accessor.get("type")
        dtype = _COMPONENTS.get(component) if type(component) is int else None
        if dtype is None:
            raise self.document.error(
                f"{reprlib.repr(component)} is none of 5120 … 5126", f"{place}/componentType"
            )
        width = _WIDTHS.get(kind) if type(kind) is str else None
        if width is None:
            raise self.document.error(f"{reprlib.repr(kind)} is no accessor type", f"{place}/type")
        if str(kind).startswith("MAT") and dtype.kind != "f":
            raise self.document.error("matrices must be of floats", f"{place}/componentType")
        return dtype, width

    def _view(
        self, holder: Json, dtype: np.dtype[Any], width: int, count: int, place: str
    ) -> NDArray[Any]:
        """Elements in a buffer view, without a copy."""
        view = self.document.reference(holder, "bufferView", len(self._views), place)
        if view not in self._bytes:
            self._bytes[view] = self._view_bytes(view)
        data, stride = self._bytes[view]
        start = self.document.whole(holder, "byteOffset", place, 0)
        size = dtype.itemsize * width
        step = size if stride is None else stride
        if step < size:
            raise self.document.error(f"must be {size} or more", f"/bufferViews/{view}/byteStride")
        needed = start + step * (count - 1) + size
        if needed > len(data):
            what = f"needs {needed} bytes of buffer view {view}, which has {len(data)}"
            raise self.document.error(what, place)
        return np.ndarray((count, width), dtype, data, start, (step, dtype.itemsize))

    def _view_bytes(self, index: int) -> tuple[memoryview, int | None]:
        view, place = self._views[index], f"/bufferViews/{index}"
        buffer = self.document.reference(view, "buffer", self._buffer_count, place)
        start = self.document.whole(view, "byteOffset", place, 0)
        length = self.document.whole(view, "byteLength", place)
        stride = self.document.whole(view, "byteStride", place) if "byteStride" in view else None
        if stride is not None and not 1 <= stride <= 252:
            raise self.document.error("must be between 4 and 252", f"{place}/byteStride")
        packed = self._unpacker.extension(view)
        if packed is not None:
            return self._unpacker.bytes(view, *packed, place)[:length], stride
        data = self.buffers[buffer]
        if start + length > len(data):
            what = f"ends at byte {start + length} of buffer {buffer}, which has {len(data)}"
            raise self.document.error(what, place)
        return data[start : start + length], stride

    def _patched(self, dense: NDArray[Any], accessor: Json, place: str) -> NDArray[Any]:
        """A copy with the sparse values put in (section 3.6.2.3)."""
        sparse = self.document.object(accessor, "sparse", place)
        place = f"{place}/sparse"
        count = self.document.whole(sparse, "count", place)
        if not 1 <= count <= len(dense):
            raise self.document.error(f"must be between 1 and {len(dense)}", f"{place}/count")
        where = self.document.object(sparse, "indices", place)
        what = self.document.object(sparse, "values", place)
        component = where.get("componentType")
        kind = _COMPONENTS.get(component) if type(component) is int else None
        if kind is None or kind.kind != "u":
            raise self.document.error("must be unsigned", f"{place}/indices/componentType")
        rows = self._view(where, kind, 1, count, f"{place}/indices")[:, 0].astype(np.intp)
        if rows[-1] >= len(dense) or np.any(np.diff(rows) <= 0):
            raise self.document.error(f"must rise and stay below {len(dense)}", f"{place}/indices")
        self._spend(dense.nbytes, len(dense), place)
        patched = dense.copy()
        patched[rows] = self._view(what, dense.dtype, dense.shape[1], count, f"{place}/values")
        return patched


def _windows(data: memoryview, starts: Ints, size: int) -> NDArray[np.float32]:
    """``(starts, size / 4)`` floats from bytes `starts`, each a multiple of 4."""
    floats = len(data) // 4
    shape = (floats - size // 4 + 1, size // 4)
    return np.asarray(np.ndarray(shape, "<f4", data, 0, (4, 4))[starts // 4])
