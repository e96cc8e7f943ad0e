"""The binary chunk of a glTF file."""

from __future__ import annotations

from typing import Any

import numpy as np

from making.turns import Array

_TYPES = {1: "SCALAR", 3: "VEC3", 4: "VEC4", 16: "MAT4"}


class Bin:
    """The binary chunk, and the views and accessors into it."""

    def __init__(self) -> None:
        self.data = bytearray()
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []

    def add(self, values: Array, code: str, *, bounds: bool = False, target: int = 0) -> int:
        """Appends (count, n) numbers of a struct code; gives the accessor's index."""
        kinds = {"f": (5126, "<f4"), "H": (5123, "<u2"), "B": (5121, "u1")}
        component, dtype = kinds[code]
        table = np.ascontiguousarray(np.asarray(values, dtype=dtype).reshape(len(values), -1))
        self.data += b"\0" * (-len(self.data) % 4)
        view = {"buffer": 0, "byteOffset": len(self.data), "byteLength": table.nbytes}
        self.views.append(view | ({"target": target} if target else {}))
        self.data += table.tobytes()
        accessor = {
            "bufferView": len(self.views) - 1,
            "componentType": component,
            "count": len(table),
            "type": _TYPES[table.shape[1]],
        }
        if bounds:
            accessor |= {"min": table.min(axis=0).tolist(), "max": table.max(axis=0).tolist()}
        self.accessors.append(accessor)
        return len(self.accessors) - 1
