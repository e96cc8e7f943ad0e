"""The node tree of a glTF file: parents, local transforms, transforms at rest.

Source: glTF 2.0 specification, section 3.5.3 (transformations) and 5.25 (node).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kinelint.clip import LARGEST
from kinelint.errors import AssetError
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.readers.gltf_document import Document, Json

# Exporters that take matrices apart write 0.9999985 for 1 (seen in real files); without this every
# such rig would count as scaled.
SCALE_NOISE = 1e-5
_SHEAR = 1e-4


@dataclass(frozen=True, eq=False)
class Nodes:
    """All nodes of one file.

    Attributes:
        table: their JSON.
        names: "" where the file gives none.
        parents: -1 for a root.
        children: as listed.
        order: every node once, each after its parent, children in listed order.
        translations, rotations, scales: ``(nodes, 3 | 4 | 3)`` at rest, quaternions scalar first.
        local: ``(nodes, 4, 4)`` at rest, shear kept.
        sheared: nodes whose matrix no translation, rotation and scale can express.
    """

    table: list[Json]
    names: tuple[str, ...]
    parents: tuple[int, ...]
    children: tuple[tuple[int, ...], ...]
    order: tuple[int, ...]
    translations: Floats
    rotations: Floats
    scales: Floats
    local: Floats
    sheared: tuple[int, ...]

    def __len__(self) -> int:
        return len(self.table)

    @cached_property
    def world(self) -> Floats:
        """``(nodes, 4, 4)`` to the scene's axes, at rest."""
        found = self.local.copy()
        with np.errstate(over="ignore", invalid="ignore"):
            for node in self.order:
                if self.parents[node] >= 0:
                    found[node] = found[self.parents[node]] @ self.local[node]
        # Written so that a NaN counts as too large.
        absurd = ~np.all(np.abs(found) <= LARGEST, axis=(1, 2))
        if absurd.any():
            what = f"scales and translations above it add up to more than {LARGEST:g}"
            place = f"/nodes/{int(absurd.argmax())}"
            raise AssetError(what, place=place, mend="Export the file again.")
        return found

    def label(self, node: int) -> str:
        """A name to show people."""
        return self.names[node] or f"node {node}"


def read_nodes(document: Document) -> Nodes:
    """Read and check the tree.

    Raises:
        AssetError: a node with two parents, a cycle, a malformed transform.
    """
    table = document.table("nodes")
    size = len(table)
    children = tuple(
        tuple(document.references(node, "children", size, f"/nodes/{i}"))
        for i, node in enumerate(table)
    )
    parents = _parents(document, children)
    order = _order(document, parents, children)
    local = np.tile(np.eye(4), (size, 1, 1))
    turned = np.tile([1.0, 0.0, 0.0, 0.0], (size, 1))
    scales = np.ones((size, 3))
    given = [i for i, node in enumerate(table) if _place(document, node, i, local, turned, scales)]
    turned[given], scales[given], lost = decompose(local[given, :3, :3])
    sheared = [node for node, is_sheared in zip(given, lost.tolist(), strict=True) if is_sheared]
    scales[np.abs(scales - 1.0) <= SCALE_NOISE] = 1.0
    return Nodes(
        table=table,
        names=tuple(document.name(node, f"/nodes/{i}") for i, node in enumerate(table)),
        parents=tuple(parents),
        children=children,
        order=order,
        translations=local[:, :3, 3].copy(),
        rotations=turned,
        scales=scales,
        local=local,
        sheared=tuple(sheared),
    )


def _parents(document: Document, children: tuple[tuple[int, ...], ...]) -> list[int]:
    parents = [-1] * len(children)
    for node, listed in enumerate(children):
        for i, child in enumerate(listed):
            if parents[child] >= 0:
                what = f"node {child} has a second parent; it already hangs on {parents[child]}"
                raise document.error(what, f"/nodes/{node}/children/{i}")
            parents[child] = node
    return parents


def _order(
    document: Document, parents: list[int], children: tuple[tuple[int, ...], ...]
) -> tuple[int, ...]:
    order: list[int] = []
    waiting = [node for node in reversed(range(len(parents))) if parents[node] < 0]
    while waiting:
        node = waiting.pop()
        order.append(node)
        waiting.extend(reversed(children[node]))
    if len(order) < len(parents):
        # With one parent each, whatever no root reaches hangs on a cycle.
        lost = min(set(range(len(parents))) - set(order))
        raise document.error("the node is its own ancestor", f"/nodes/{lost}")
    return tuple(order)


def _place(
    document: Document, node: Json, index: int, local: Floats, turned: Floats, scales: Floats
) -> bool:
    """Write one node's transform into the arrays; true if a matrix is still to be taken apart."""
    place = f"/nodes/{index}"
    matrix = document.numbers(node, "matrix", 16, place)
    if matrix is not None:
        local[index] = np.reshape(matrix, (4, 4)).T
        return True
    shift = document.numbers(node, "translation", 3, place)
    quaternion = document.numbers(node, "rotation", 4, place)
    scale = document.numbers(node, "scale", 3, place)
    if quaternion is not None:
        x, y, z, w = quaternion
        length = float(np.linalg.norm(quaternion))
        if length < 1e-9:
            raise document.error("a rotation of length 0 turns nowhere", f"{place}/rotation")
        turned[index] = np.array([w, x, y, z]) / length
        local[index, :3, :3] = rotations.to_matrix(turned[index][:, None])[..., 0]
    if scale is not None:
        scales[index] = scale
        local[index, :3, :3] *= scales[index]
    if shift is not None:
        local[index, :3, 3] = shift
    return False


def decompose(linear: Floats) -> tuple[Floats, Floats, Bools]:
    """Matrices ``(n, 3, 3)`` as quaternions ``(n, 4)`` and scales ``(n, 3)``; where shear was lost.

    Of a sheared matrix the nearest rotation is taken; of a mirrored one the first axis flips.
    """
    lengths = np.linalg.norm(linear, axis=1)
    axes = linear / np.where(lengths > 0.0, lengths, 1.0)[:, None, :]
    mirrored = np.linalg.det(axes) < 0.0
    axes[mirrored, :, 0] *= -1.0
    lengths[mirrored, 0] *= -1.0
    left, _, right = np.linalg.svd(axes)
    # The determinant can be -1 only where a scale of 0 left an axis open.
    left[np.linalg.det(left @ right) < 0.0, :, -1] *= -1.0
    turn = left @ right
    off = np.abs(turn - axes).max(axis=1, initial=0.0) > _SHEAR
    quaternions = rotations.from_matrix(turn.transpose(1, 2, 0)).T
    return quaternions, lengths, np.any(off & (lengths != 0.0), axis=1)
