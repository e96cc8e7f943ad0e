"""A small writer of glTF 2.0 files, so that tests know every number in them."""

import base64
import json
import struct
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

_CODES = {"int8": 5120, "uint8": 5121, "int16": 5122, "uint16": 5123, "uint32": 5125}
_CODES["float32"] = 5126
_KINDS = {1: "SCALAR", 2: "VEC2", 3: "VEC3", 4: "VEC4", 16: "MAT4"}


@dataclass
class GltfMaker:
    """Collects a file. `tree` may be changed at will before writing, to spoil it."""

    tree: dict[str, Any] = field(default_factory=lambda: {"asset": {"version": "2.0"}})
    data: bytearray = field(default_factory=bytearray)

    def _add(self, table: str, item: dict[str, Any]) -> int:
        self.tree.setdefault(table, []).append(item)
        return len(self.tree[table]) - 1

    def view(self, raw: bytes, **more: Any) -> int:
        """A buffer view over new bytes, aligned to 4."""
        self.data += b"\0" * (-len(self.data) % 4)
        view = {"buffer": 0, "byteOffset": len(self.data), "byteLength": len(raw), **more}
        self.data += raw
        return self._add("bufferViews", view)

    def accessor(self, values: Any, dtype: str = "float32", **more: Any) -> int:
        """An accessor of ``(count,)`` or ``(count, components)``, written as `dtype`."""
        array = np.asarray(values, dtype=dtype)
        width = 1 if array.ndim == 1 else array.shape[1]
        view = self.view(array.astype(array.dtype.newbyteorder("<")).tobytes())
        found = {
            "bufferView": view,
            "componentType": _CODES[dtype],
            "count": len(array),
            "type": _KINDS[width],
        }
        return self._add("accessors", {**found, **more})

    def strided(self, values: Any, stride: int, offset: int = 0) -> int:
        """float32 elements `stride` bytes apart, `offset` bytes into their view, junk between."""
        array = np.asarray(values, dtype="<f4")
        rows = np.full((len(array), stride), 0xAB, dtype=np.uint8)
        rows[:, offset : offset + array.shape[1] * 4] = array.view(np.uint8)
        found = {
            "bufferView": self.view(rows.tobytes(), byteStride=stride),
            "byteOffset": offset,
            "componentType": 5126,
            "count": len(array),
            "type": _KINDS[array.shape[1]],
        }
        return self._add("accessors", found)

    def sparse(self, base: Any, count: int, rows: list[int], values: Any) -> int:
        """Rows of a float32 accessor replaced; without `base` the others are 0."""
        new = np.asarray(values, dtype="<f4")
        rows_view = self.view(np.asarray(rows, dtype="<u2").tobytes())
        values_view = self.view(new.tobytes())
        found: dict[str, Any] = {
            "componentType": 5126,
            "count": count,
            "type": _KINDS[new.shape[1]],
            "sparse": {
                "count": len(rows),
                "indices": {"bufferView": rows_view, "componentType": 5123},
                "values": {"bufferView": values_view},
            },
        }
        if base is not None:
            found["bufferView"] = self.view(np.asarray(base, dtype="<f4").tobytes())
        return self._add("accessors", found)

    def node(self, name: str = "", **more: Any) -> int:
        """A node; `children` and transforms as in the file."""
        return self._add("nodes", {**({"name": name} if name else {}), **more})

    def chain(self, *names: str, step: float = 1.0) -> list[int]:
        """Nodes each the child of the one before, `step` metres up."""
        first = len(self.tree.get("nodes", []))
        for i, name in enumerate(names):
            children = {"children": [first + i + 1]} if i + 1 < len(names) else {}
            self.node(name, translation=[0.0, step if i else 0.0, 0.0], **children)
        return list(range(first, first + len(names)))

    def animation(self, name: str | None, *channels: tuple[Any, ...]) -> int:
        """Channels are (node, path, times, values[, mode]); arrays or accessors (int)."""
        tree: dict[str, Any] = {"samplers": [], "channels": []}
        for node, path, times, values, *mode in channels:
            sampler = {
                "input": times if isinstance(times, int) else self.accessor(times),
                "output": values if isinstance(values, int) else self.accessor(values),
                **({"interpolation": mode[0]} if mode else {}),
            }
            tree["samplers"].append(sampler)
            target = {"node": node, "path": path}
            tree["channels"].append({"sampler": len(tree["samplers"]) - 1, "target": target})
        return self._add("animations", {**({"name": name} if name is not None else {}), **tree})

    def mesh(self, name: str, attributes: dict[str, int], **more: Any) -> int:
        """A mesh of one primitive."""
        return self._add(
            "meshes", {"name": name, "primitives": [{"attributes": attributes, **more}]}
        )

    def skin(self, joints: list[int], inverse_bind: Any = None) -> int:
        """A skin; `inverse_bind` is ``(joints, 4, 4)``."""
        skin: dict[str, Any] = {"joints": joints}
        if inverse_bind is not None:
            columns = np.asarray(inverse_bind).transpose(0, 2, 1).reshape(-1, 16)
            skin["inverseBindMatrices"] = self.accessor(columns)
        return self._add("skins", skin)

    def finished(self, **buffer: Any) -> dict[str, Any]:
        """The tree with its buffer."""
        tree = json.loads(json.dumps(self.tree))
        if "buffers" not in tree and self.data:
            tree["buffers"] = [{"byteLength": len(self.data), **buffer}]
        return tree

    def gltf(self, path: Path, uri: str | None = None, beside: str | None = None) -> Path:
        """A .gltf; its buffer as data URI, or in a file called `beside` and named by `uri`."""
        if beside is not None:
            path.parent.joinpath(beside).write_bytes(self.data)
        if uri is None:
            text = base64.b64encode(self.data).decode()
            uri = beside or f"data:application/octet-stream;base64,{text}"
        path.write_text(json.dumps(self.finished(uri=uri)), encoding="utf-8")
        return path

    def glb(self, path: Path, extra: bytes = b"") -> Path:
        """A .glb; `extra` are chunks put behind the BIN chunk."""
        text = json.dumps(self.finished()).encode()
        text += b" " * (-len(text) % 4)
        body = bytes(self.data) + b"\0" * (-len(self.data) % 4)
        chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
        if body:
            chunks += struct.pack("<II", len(body), 0x004E4942) + body
        chunks += extra
        path.write_bytes(struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks)
        return path
