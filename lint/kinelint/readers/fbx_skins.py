"""FBX skins, and meshes that hang rigidly on joints, to `Skin`: a mesh at its bind pose.

A cluster says where its joint stood in the world at the bind pose, and how the mesh's points come
into the joint's axes then; both together put each vertex into the world. Geometric transforms
(which move a mesh but not what hangs on its node) are part of the second.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np

from kinelint.clip import Skin
from kinelint.errors import AssetError
from kinelint.finding import Note
from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.readers.fbx_binding import binding, few, kept, listed
from kinelint.readers.fbx_nodes import Joints, Nodes
from kinelint.readers.fbx_rest import is_sound, matrix
from kinelint.readers.gltf_nodes import decompose

_MOST = 4  # joints a vertex follows in a `Skin`
_MOST_VERTICES = 20_000_000


class Influences(NamedTuple):
    """One row for each vertex and joint: ``(n,)`` each. `cluster` counts in the skin's order."""

    vertex: Ints
    cluster: Ints
    weight: Floats


@dataclass
class SkinMaker:
    """Makes the skins of a scene and remembers what had to be left out."""

    scene: Any
    nodes: Nodes
    joints: Joints
    crowded: list[str] = field(default_factory=list)
    loose: list[str] = field(default_factory=list)
    blended: list[str] = field(default_factory=list)
    several: list[str] = field(default_factory=list)
    rigid_names: list[str] = field(default_factory=list)
    _spent: int = 0

    def make(self) -> tuple[tuple[Skin, ...], tuple[Note, ...]]:
        """Skinned meshes, then meshes that hang on joints which no skinned vertex follows."""
        meshes = listed(self.scene.meshes)
        skins = [skin for mesh in meshes for skin in self._skinned(mesh)]
        followed: set[int] = set()
        for skin in skins:
            best = skin.weights.argmax(axis=1)[:, None]
            followed |= set(np.unique(np.take_along_axis(skin.joints, best, axis=1)).tolist())
        skins += [skin for mesh in meshes for skin in self._rigid(mesh, followed)]
        return tuple(skins), tuple(self._notes())

    def _skinned(self, mesh: Any) -> Iterator[Skin]:
        deformers = listed(mesh.skin_deformers)
        if not deformers or not mesh.num_vertices:
            return
        name = self._name(mesh)
        if len(deformers) > 1:
            self.several.append(name)
        if int(deformers[0].skinning_method) not in (0, int(binding().SkinningMethod.RIGID)):
            self.blended.append(name)
        clusters = [one for one in listed(deformers[0].clusters) if self._joint(one) is not None]
        if clusters:
            yield from self._bound(name, mesh, clusters)

    def _joint(self, cluster: Any) -> int | None:
        bone = kept(cluster.bone_node)
        node = None if bone is None else self.nodes.index_of.get(bone.element_id)
        if node is None or not is_sound(matrix(cluster.bind_to_world)):
            return None
        return self.joints.joint_of.get(node)

    def _name(self, mesh: Any) -> str:
        shown = listed(mesh.instances)
        return (shown[0].name if shown else "") or mesh.name or "mesh"

    def _spend(self, vertices: int, name: str) -> None:
        self._spent += vertices + len(self.joints)
        if self._spent > _MOST_VERTICES:
            what = f"its meshes have more than {_MOST_VERTICES} vertices"
            mend = "Leave out meshes that are no body."
            raise AssetError(what, place=f"mesh {name!r}", mend=mend)

    def _bound(self, name: str, mesh: Any, clusters: list[Any]) -> Iterator[Skin]:
        points = _points(mesh)
        self._spend(len(points), name)
        bind = np.array([matrix(one.bind_to_world) for one in clusters])
        to_joint = np.array([matrix(one.geometry_to_bone) for one in clusters])
        found = _influences(clusters, len(points))
        if not len(found.vertex):
            return
        slots, weights, crowded = _strongest(found, len(points))
        if crowded:
            self.crowded.append(f"{name} ({crowded} vertices)")
        at = _placed(points, slots, weights, bind @ to_joint)
        follows = np.asarray((weights[:, 0] > 0.0) & np.isfinite(at).all(axis=1))
        if not follows.all():
            self.loose.append(f"{name} ({int(np.sum(~follows))} vertices)")
        if not follows.any():
            return
        which = np.array([self._joint(one) for one in clusters], dtype=np.intp)
        triangles = _triangles(mesh, len(points))
        yield self._skin(name, at, which[slots], weights, triangles, follows, which, bind)

    def _rigid(self, mesh: Any, followed: set[int]) -> Iterator[Skin]:
        """Of a mesh without skin, for each node that shows it on or below a joint."""
        if not mesh.num_vertices or len(kept(mesh.skin_deformers)):
            return
        for shown in listed(mesh.instances):
            joint = self._carrier(self.nodes.index_of[shown.element_id])
            if joint is None or joint in followed:
                continue
            bind = matrix(self.nodes.objects[self.joints.nodes[joint]].node_to_world)[None]
            if not is_sound(bind[0]):
                continue
            points, name = _points(mesh), shown.name or mesh.name or "mesh"
            self._spend(len(points), name)
            place = matrix(shown.geometry_to_world)
            slots = np.full((len(points), _MOST), joint, dtype=np.intp)
            weights = np.tile(np.eye(1, _MOST), (len(points), 1))
            at = points @ place[:3, :3].T + place[:3, 3]
            whole = np.asarray(np.isfinite(at).all(axis=1))
            if not whole.any():
                continue
            self.rigid_names.append(name)
            triangles = _triangles(mesh, len(points))
            which = np.array([joint], dtype=np.intp)
            yield self._skin(name, at, slots, weights, triangles, whole, which, bind)

    def _carrier(self, node: int) -> int | None:
        while node >= 0:
            if node in self.joints.joint_of:
                return self.joints.joint_of[node]
            node = self.nodes.parents[node]
        return None

    def _skin(
        self,
        name: str,
        vertices: Floats,
        slots: Ints,
        weights: Floats,
        triangles: Ints,
        follows: Bools,
        which: Ints,
        bind: Floats,
    ) -> Skin:
        """Without vertices that follow no joint; `bind` is ``(bound joints, 4, 4)``."""
        positions = np.full((len(self.joints), 3), np.nan)
        turned = np.full((len(self.joints), 4), np.nan)
        positions[which] = bind[:, :3, 3]
        turned[which] = decompose(bind[:, :3, :3])[0]
        if not follows.all():
            number = np.cumsum(follows) - 1
            triangles = number[triangles[follows[triangles].all(axis=1)]]
            vertices, slots, weights = vertices[follows], slots[follows], weights[follows]
        return Skin(name, vertices, slots, weights, positions, turned, triangles)

    def _notes(self) -> Iterator[Note]:
        for names, text in (
            (self.crowded, "vertices that follow more than four joints keep the four strongest"),
            (self.loose, "vertices that follow no joint were left out of the body"),
            (self.blended, "skins that blend by dual quaternions are taken as linear"),
            (self.several, "of meshes with several skins the first was taken"),
            (self.rigid_names, "meshes that hang on a joint were taken as part of the body"),
        ):
            if names:
                yield Note("body-model", f"{text}: {few(names)}")


def _points(mesh: Any) -> Floats:
    return np.array(memoryview(kept(mesh.vertices)), dtype=np.float64).reshape(-1, 3)


def _influences(clusters: list[Any], vertices: int) -> Influences:
    rows, owners, weights = [], [], []
    for i, cluster in enumerate(clusters):
        own = kept(cluster.vertices)
        count = len(own)
        rows.append(np.fromiter((own[k] for k in range(count)), np.intp, count))
        listed_weights = kept(cluster.weights)
        weights.append(np.fromiter((listed_weights[k] for k in range(count)), float, count))
        owners.append(np.full(count, i, dtype=np.intp))
    vertex, weight = np.concatenate(rows), np.concatenate(weights)
    good = (vertex >= 0) & (vertex < vertices) & np.isfinite(weight) & (weight > 0.0)
    return Influences(vertex[good], np.concatenate(owners)[good], weight[good])


def _strongest(found: Influences, vertices: int) -> tuple[Ints, Floats, int]:
    """Clusters ``(vertices, 4)``, weights that sum to 1, and how many vertices had more.

    Weights of a vertex that follows nothing are 0.
    """
    order = np.lexsort((-found.weight, found.vertex))
    vertex = found.vertex[order]
    first = np.searchsorted(vertex, vertex)
    rank = np.arange(len(vertex)) - first
    crowded = int(np.sum(rank == _MOST))
    near = rank < _MOST
    slots = np.zeros((vertices, _MOST), dtype=np.intp)
    weights = np.zeros((vertices, _MOST))
    slots[vertex[near], rank[near]] = found.cluster[order][near]
    weights[vertex[near], rank[near]] = found.weight[order][near]
    total = weights.sum(axis=1, keepdims=True)
    return slots, weights / np.where(total > 0.0, total, 1.0), crowded


def _placed(points: Floats, slots: Ints, weights: Floats, to_world: Floats) -> Floats:
    """``(vertices, 3)`` blended from where each cluster of a vertex puts it."""
    blended = np.zeros_like(points)
    for slot, weight in zip(slots.T, weights.T, strict=True):
        moved = np.einsum("nij,nj->ni", to_world[slot, :3, :3], points)
        blended += weight[:, None] * (moved + to_world[slot, :3, 3])
    return blended


def _triangles(mesh: Any, vertices: int) -> Ints:
    """``(triangles, 3)``: polygons cut from their first corner."""
    count = int(mesh.num_indices)
    listed_indices = kept(mesh.vertex_indices)
    corners = np.fromiter((listed_indices[k] for k in range(count)), np.intp, count)
    faces = np.array(memoryview(kept(mesh.faces)), dtype=np.intp).reshape(-1, 2)
    faces = faces[faces[:, 1] >= 3]
    if not len(faces):
        return np.empty((0, 3), dtype=np.intp)
    cuts = faces[:, 1] - 2
    start = np.repeat(faces[:, 0], cuts)
    step = np.arange(int(cuts.sum())) - np.repeat(np.cumsum(cuts) - cuts, cuts)
    found = corners[np.stack([start, start + step + 1, start + step + 2], axis=1)]
    return np.asarray(found[np.all((found >= 0) & (found < vertices), axis=1)])
