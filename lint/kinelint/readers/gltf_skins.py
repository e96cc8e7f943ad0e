"""glTF skins and rigidly hung meshes to `Skin`: a mesh at its bind pose, bound to joints.

At the bind pose each joint stands at the inverse of its inverse bind matrix, and the vertices
where the mesh has them; the mesh node's own transform does not count (glTF 2.0 specification,
section 3.7.3.3). That space need not be the scene's (its up axis or unit often differ), so all of
it is carried over by the transform that takes the skin's topmost joint to where the scene has it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kinelint.clip import LARGEST, Skin
from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.readers.gltf_accessors import Accessors
from kinelint.readers.gltf_document import Document
from kinelint.readers.gltf_extensions import few
from kinelint.readers.gltf_meshes import Mesh, MeshReader
from kinelint.readers.gltf_nodes import Nodes, decompose
from kinelint.readers.gltf_skeleton import Rig


def skin_joints(document: Document) -> list[list[int]]:
    """The nodes that each skin binds, in the skin's order."""
    size = len(document.table("nodes"))
    found = []
    for i, skin in enumerate(document.table("skins")):
        found.append(document.references(skin, "joints", size, f"/skins/{i}"))
        if not found[-1]:
            raise document.error("a skin must bind a joint", f"/skins/{i}/joints")
    return found


def read_skins(
    document: Document, accessors: Accessors, nodes: Nodes, rig: Rig
) -> tuple[tuple[Skin, ...], tuple[Note, ...]]:
    """All skinned meshes, then meshes that hang rigidly on joints no skinned vertex follows."""
    maker = SkinMaker(document, MeshReader(document, accessors), accessors, nodes, rig)
    skinned = list(maker.skinned())
    followed: set[int] = set()
    for skin in skinned:
        heaviest = np.take_along_axis(skin.joints, skin.weights.argmax(axis=1)[:, None], axis=1)
        followed |= set(np.unique(heaviest).tolist())
    rigid = list(maker.rigid(followed))
    notes = []
    if maker.packed:
        text = f"compressed mesh primitives (KHR_draco_mesh_compression: {maker.packed})"
        notes.append(Note("body-model", f"{text} were left out; no motion is in them"))
    if maker.meshes.crowded:
        text = f"{maker.meshes.crowded} vertices follow more than four joints; of each the four"
        lost = f"heaviest were kept, at most {maker.meshes.most_lost:.1%} of a weight left out"
        notes.append(Note("body-model", f"{text} {lost}"))
    if rigid:
        names = few(sorted({skin.name for skin in rigid}))
        text = f"meshes that hang rigidly on a joint were taken as part of the body: {names}"
        notes.append(Note("body-model", text))
    return tuple(skinned + rigid), tuple(notes)


@dataclass
class SkinMaker:
    """Makes the skins of one file. `packed` counts compressed primitives met so far."""

    document: Document
    meshes: MeshReader
    accessors: Accessors
    nodes: Nodes
    rig: Rig
    packed: int = 0

    def skinned(self) -> Iterator[Skin]:
        """One skin for each node with a mesh and a skin."""
        bound = skin_joints(self.document)
        for node, table in enumerate(self.nodes.table):
            if "mesh" not in table or "skin" not in table:
                continue
            mesh = self._mesh(node, skinned=True)
            skin = self.document.reference(table, "skin", len(bound), f"/nodes/{node}")
            if len(mesh.vertices):
                yield self._bound(node, mesh, skin, bound[skin])

    def rigid(self, followed: set[int]) -> Iterator[Skin]:
        """One skin for each mesh without skin on or below a joint that is not in `followed`."""
        for node, table in enumerate(self.nodes.table):
            joint = self._carriers[node]
            if "mesh" not in table or "skin" in table or joint < 0 or joint in followed:
                continue
            mesh = self._mesh(node, skinned=False)
            if len(mesh.vertices):
                yield self._hung(node, mesh, joint)

    def _mesh(self, node: int, skinned: bool) -> Mesh:
        size = len(self.document.table("meshes"))
        index = self.document.reference(self.nodes.table[node], "mesh", size, f"/nodes/{node}")
        mesh = self.meshes.read(index, skinned)
        self.packed += mesh.packed
        return mesh

    @cached_property
    def _carriers(self) -> list[int]:
        """For each node the joint that it is or hangs on, -1 for none."""
        found = [-1] * len(self.nodes)
        for node in self.nodes.order:
            above = self.nodes.parents[node]
            found[node] = self.rig.joint_of.get(node, found[above] if above >= 0 else -1)
        return found

    @cached_property
    def _depths(self) -> list[int]:
        """For each node how many stand above it."""
        found = [0] * len(self.nodes)
        for node in self.nodes.order:
            above = self.nodes.parents[node]
            found[node] = found[above] + 1 if above >= 0 else 0
        return found

    def _name(self, node: int) -> str:
        index = self.nodes.table[node]["mesh"]
        mesh = self.document.table("meshes")[index]
        return self.document.name(mesh, f"/meshes/{index}") or self.nodes.label(node)

    def _bound(self, node: int, mesh: Mesh, skin: int, bound: list[int]) -> Skin:
        assert mesh.slots is not None
        assert mesh.weights is not None
        if int(mesh.slots.max()) >= len(bound):
            what = f"a vertex of node {node} follows joint {int(mesh.slots.max())}"
            raise self.document.error(f"{what}, but the skin has {len(bound)}", f"/skins/{skin}")
        joints = np.array([self.rig.joint_of[one] for one in bound], dtype=np.intp)
        inverse = self._inverse_bind(skin, len(bound))
        world = self.nodes.world[bound]
        if inverse is None:
            # Each joint's vertices are given in its own axes: only a pose brings them together.
            vertices, bind = _posed(mesh, world), world
        else:
            top = min(range(len(bound)), key=lambda i: (self._depths[bound[i]], i))
            scene = world[top] @ inverse[top]
            vertices, bind = _moved(mesh.vertices, scene), scene @ np.linalg.inv(inverse)
        return self._skin(node, mesh, vertices, joints[mesh.slots], mesh.weights, joints, bind)

    def _hung(self, node: int, mesh: Mesh, joint: int) -> Skin:
        count = len(mesh.vertices)
        vertices = _moved(mesh.vertices, self.nodes.world[node])
        slots = np.full((count, 4), joint, dtype=np.intp)
        weights = np.tile(np.eye(1, 4), (count, 1))
        bind = self.nodes.world[[self.rig.nodes[joint]]]
        return self._skin(node, mesh, vertices, slots, weights, np.array([joint]), bind)

    def _skin(
        self,
        node: int,
        mesh: Mesh,
        vertices: Floats,
        slots: Ints,
        weights: Floats,
        joints: Ints,
        bind: Floats,
    ) -> Skin:
        """`bind` is ``(bound joints, 4, 4)`` to the scene's axes."""
        self.meshes.spend(len(self.rig.nodes), f"/nodes/{node}")
        positions = np.full((len(self.rig.nodes), 3), np.nan)
        turned = np.full((len(self.rig.nodes), 4), np.nan)
        positions[joints] = bind[:, :3, 3]
        turned[joints] = decompose(bind[:, :3, :3])[0]
        return Skin(self._name(node), vertices, slots, weights, positions, turned, mesh.triangles)

    def _inverse_bind(self, skin: int, joints: int) -> Floats | None:
        """``(joints, 4, 4)``; None if the skin has none."""
        table, place = self.document.table("skins")[skin], f"/skins/{skin}"
        if "inverseBindMatrices" not in table:
            return None
        index = self.accessors.reference(table, "inverseBindMatrices", place)
        place = f"{place}/inverseBindMatrices"
        stored = self.accessors.floats(index, 16, place)
        if len(stored) < joints:
            raise self.document.error(f"{joints} joints have {len(stored)} matrices", place)
        matrices = stored[:joints].reshape(-1, 4, 4).transpose(0, 2, 1)
        matrices[:, 3] = (0.0, 0.0, 0.0, 1.0)
        flat = ~np.all(np.abs(matrices) <= LARGEST, axis=(1, 2))
        flat[~flat] = np.abs(np.linalg.det(matrices[~flat])) < 1e-30
        if flat.any():
            what = f"matrix {int(flat.argmax())} cannot be inverted"
            raise self.document.error(what, place)
        return matrices


def _moved(points: Floats, matrix: Floats) -> Floats:
    """Points ``(n, 3)`` through a ``(4, 4)`` transform."""
    return np.asarray(points @ matrix[:3, :3].T + matrix[:3, 3])


def _posed(mesh: Mesh, world: Floats) -> Floats:
    """Vertices blended from where each of their joints takes them."""
    assert mesh.slots is not None
    assert mesh.weights is not None
    blended = np.zeros_like(mesh.vertices)
    for slot, weight in zip(mesh.slots.T, mesh.weights.T, strict=True):
        turned = np.einsum("nij,nj->ni", world[slot, :3, :3], mesh.vertices)
        blended += weight[:, None] * (turned + world[slot, :3, 3])
    return blended
