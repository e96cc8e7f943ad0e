"""glTF meshes to vertices, influences and triangles.

Source: glTF 2.0 specification, sections 3.7.2 (geometry) and 3.7.3 (skins).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import count
from typing import Any

import numpy as np

from kinelint.clip import LARGEST
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.readers.gltf_accessors import Accessors
from kinelint.readers.gltf_document import Document, Json

_DRACO = "KHR_draco_mesh_compression"
_TRIANGLES, _STRIP, _FAN = 4, 5, 6
_INFLUENCES = 4
# Many primitives may share one accessor, so that few bytes could ask for any number of vertices.
_VERTEX_BYTES = 112


@dataclass(frozen=True)
class Mesh:
    """The primitives of one mesh, joined.

    Attributes:
        vertices: ``(vertices, 3)`` in the mesh's axes.
        slots: ``(vertices, 4)`` indices into the skin's joints; None for a mesh without.
        weights: ``(vertices, 4)``, each row sums to 1; None likewise.
        triangles: ``(triangles, 3)``.
        packed: primitives left out because their data is compressed.
    """

    vertices: Floats
    slots: Ints | None
    weights: Floats | None
    triangles: Ints
    packed: int = 0


@dataclass
class MeshReader:
    """Reads meshes, and counts what they ask for.

    Attributes:
        document, accessors: of the file.
        crowded: vertices met so far that follow more than four joints.
        most_lost: the largest share of a vertex's weight that was left out for it.
    """

    document: Document
    accessors: Accessors
    crowded: int = 0
    most_lost: float = 0.0
    _spent: int = 0
    _attributes: dict[tuple[Any, ...], int] = field(default_factory=dict)

    def read(self, index: int, skinned: bool) -> Mesh:
        """One mesh, with its influences if `skinned`."""
        place = f"/meshes/{index}"
        mesh = self.document.table("meshes")[index]
        pieces: list[tuple[Floats, Ints | None, Floats | None]] = []
        triangles: list[Ints] = []
        starts: dict[tuple[Any, ...], int] = {}
        total, packed = 0, 0
        for i, primitive in enumerate(self.document.objects(mesh, "primitives", place)):
            at = f"{place}/primitives/{i}"
            if self._is_packed(primitive, at):
                packed += 1
                continue
            corners = self._triangles(primitive, at)
            if corners is None:
                continue
            # Primitives that differ only in material often share their vertices.
            attributes = self.document.object(primitive, "attributes", at)
            key = tuple(sorted((name, _index(one)) for name, one in attributes.items()))
            if key not in starts:
                starts[key] = total
                pieces.append(self._vertices(primitive, skinned, at))
                total += len(pieces[-1][0])
            self.spend(len(corners), at)
            triangles.append(corners + starts[key])
        return _joined(pieces, triangles, skinned, packed)

    def _is_packed(self, primitive: Json, place: str) -> bool:
        if self.document.inner(primitive, "extensions", _DRACO) is None:
            return False
        attributes = self.document.object(primitive, "attributes", place)
        positions = self.accessors.reference(attributes, "POSITION", f"{place}/attributes")
        return "bufferView" not in self.document.table("accessors")[positions]

    def spend(self, amount: int, place: str) -> None:
        """Count vertices, triangles or joints of a skin towards what the file may take."""
        self._spent += amount
        what = f"the meshes ask for {self._spent} vertices, triangles and joints"
        self.accessors.budget.spend(_VERTEX_BYTES * amount, place, what)

    def _positions(self, primitive: Json, place: str) -> tuple[int, str]:
        attributes = self.document.object(primitive, "attributes", place)
        at = f"{place}/attributes"
        return self.accessors.reference(attributes, "POSITION", at), f"{at}/POSITION"

    def _triangles(self, primitive: Json, place: str) -> Ints | None:
        """``(triangles, 3)``; None for points and lines, and for a primitive without positions."""
        mode = self.document.whole(primitive, "mode", place, _TRIANGLES)
        if mode > _FAN:
            raise self.document.error("must be 0 to 6", f"{place}/mode")
        attributes = self.document.object(primitive, "attributes", place)
        if mode < _TRIANGLES or "POSITION" not in attributes:
            return None
        vertices = len(self.accessors.raw(*self._split(primitive, place)))
        if "indices" in primitive:
            at = f"{place}/indices"
            order = self.accessors.whole(
                self.accessors.reference(primitive, "indices", place), 1, at
            )[:, 0]
            if int(order.max()) >= vertices:
                what = f"index {int(order.max())} is beyond the {vertices} vertices"
                raise self.document.error(what, at)
        else:
            order = np.arange(vertices)
        return corners(order, mode)

    def _split(self, primitive: Json, place: str) -> tuple[int, int, str]:
        index, at = self._positions(primitive, place)
        return index, 3, at

    def _vertices(
        self, primitive: Json, skinned: bool, place: str
    ) -> tuple[Floats, Ints | None, Floats | None]:
        vertices = self.accessors.floats(*self._split(primitive, place))
        self.spend(len(vertices), place)
        if not np.all(np.abs(vertices) <= LARGEST):
            what = f"a vertex has no position, or one beyond {LARGEST:g}"
            raise self.document.error(what, f"{place}/attributes")
        if not skinned:
            return vertices, None, None
        slots, weights = self._influences(primitive, len(vertices), place)
        return vertices, slots, weights

    def _influences(self, primitive: Json, vertices: int, place: str) -> tuple[Ints, Floats]:
        """The four heaviest influences of each vertex, of all sets."""
        attributes = self.document.object(primitive, "attributes", place)
        at = f"{place}/attributes"
        slots: list[Ints] = []
        weights: list[Floats] = []
        for i in count():
            if i and f"JOINTS_{i}" not in attributes:
                break
            for name in (f"JOINTS_{i}", f"WEIGHTS_{i}"):
                index = self.accessors.reference(attributes, name, at)
                if name[0] == "J":
                    slots.append(self.accessors.whole(index, 4, f"{at}/{name}"))
                else:
                    weights.append(self.accessors.floats(index, 4, f"{at}/{name}"))
        if any(len(one) != vertices for one in (*slots, *weights)):
            raise self.document.error("positions, joints and weights differ in count", at)
        every = np.hstack(weights)
        self._count_crowded(every)
        return heaviest(np.hstack(slots), every)

    def _count_crowded(self, weights: Floats) -> None:
        """`weights` are those of all influences, ``(vertices, 4 n)``."""
        if weights.shape[1] <= _INFLUENCES:
            return
        ordered = np.sort(np.nan_to_num(np.maximum(weights, 0.0)), axis=1)
        lost = ordered[:, :-_INFLUENCES].sum(axis=1)
        self.crowded += int(np.sum(lost > 0.0))
        if np.any(lost > 0.0):
            share = lost / np.where(lost > 0.0, ordered.sum(axis=1), 1.0)
            self.most_lost = max(self.most_lost, float(share.max()))


def _index(value: object) -> int:
    return value if type(value) is int else -1


def corners(order: Ints, mode: int) -> Ints:
    """``(triangles, 3)`` of the vertex indices of a list (4), a strip (5) or a fan (6).

    Source: glTF 2.0 specification, section 3.7.2.1, "Topology types".
    """
    if mode == _TRIANGLES:
        return np.asarray(order[: len(order) // 3 * 3].reshape(-1, 3))
    i = np.arange(max(len(order) - 2, 0))
    if mode == _STRIP:
        return np.stack((order[i], order[i + 1 + i % 2], order[i + 2 - i % 2]), axis=1)
    return np.stack((order[i + 1], order[i + 2], np.full(len(i), order[0])), axis=1)


def heaviest(slots: Ints, weights: Floats) -> tuple[Ints, Floats]:
    """The four heaviest of ``(vertices, 4 n)`` influences, made to sum to 1.

    A vertex without any weight follows its first joint.
    """
    weights = np.where(np.isfinite(weights), np.maximum(weights, 0.0), 0.0)
    if weights.shape[1] > _INFLUENCES:
        best = np.argsort(-weights, axis=1, kind="stable")[:, :_INFLUENCES]
        slots = np.take_along_axis(slots, best, axis=1)
        weights = np.take_along_axis(weights, best, axis=1)
    total = weights.sum(axis=1, keepdims=True)
    lone = np.broadcast_to(np.eye(1, _INFLUENCES), weights.shape)
    weights = np.where(total > 0.0, weights / np.where(total > 0.0, total, 1.0), lone)
    # Joints of weight 0 may hold anything in a file.
    return np.where(weights > 0.0, slots, 0), weights


def _joined(
    pieces: list[tuple[Floats, Ints | None, Floats | None]],
    triangles: list[Ints],
    skinned: bool,
    packed: int,
) -> Mesh:
    if not pieces:
        none = np.empty((0, 3))
        return Mesh(none, None, None, np.empty((0, 3), dtype=np.intp), packed)
    vertices = np.vstack([one[0] for one in pieces])
    faces = np.vstack(triangles).astype(np.intp)
    if not skinned:
        return Mesh(vertices, None, None, faces, packed)
    slots = np.vstack([one[1] for one in pieces if one[1] is not None])
    weights = np.vstack([one[2] for one in pieces if one[2] is not None])
    return Mesh(vertices, slots, weights, faces, packed)
