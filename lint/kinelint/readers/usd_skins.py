"""Meshes bound to a skeleton to `Skin`.

Source: OpenUSD documentation, UsdSkel schemas: a point at the bind pose stands at the point times
`geomBindTransform`, where each joint stands at its bind transform. That space need not be the
scene's, so all of it is carried over by the transform that takes the skin's topmost joint to where
the rest pose has it in the world.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from pxr import Usd, UsdGeom, UsdSkel

from kinelint.clip import Skin
from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.readers.gltf_meshes import heaviest
from kinelint.readers.gltf_nodes import decompose
from kinelint.readers.usd_bindings import Found, few
from kinelint.readers.usd_skeleton import Rig
from kinelint.readers.usd_stage import Scene
from kinelint.readers.usd_values import numbers, wholes

_INFLUENCES = 4
_MOST_VERTICES = 20_000_000


@dataclass(frozen=True, eq=False)
class Bound:
    """A mesh that follows a skeleton: UsdSkel's query for it, and the path of the Skeleton."""

    query: Any
    skeleton: str

    @property
    def prim(self) -> Any:
        """The mesh."""
        return self.query.GetPrim()


def bound_meshes(found: Found, cache: Any) -> list[Bound]:
    """Every mesh with influences, in the order of the stage."""
    listed = []
    for root in found.roots:
        bindings = cache.ComputeSkelBindings(UsdSkel.Root(root), Usd.TraverseInstanceProxies())
        for binding in bindings:
            path = str(binding.GetSkeleton().GetPath())
            for query in binding.GetSkinningTargets():
                if query.HasJointInfluences() and query.GetPrim().IsA(UsdGeom.Mesh):
                    listed.append(Bound(query, path))
    return listed


def main_rig(rigs: Sequence[Rig], meshes: Sequence[Bound]) -> Rig | None:
    """The rig that most vertices follow; failing that the one with most joints, then the first."""
    counts: dict[str, int] = {}
    for mesh in meshes:
        points = UsdGeom.Mesh(mesh.prim).GetPointsAttr().Get(Usd.TimeCode.EarliestTime())
        size = len(points) if hasattr(points, "__len__") else 0
        counts[mesh.skeleton] = counts.get(mesh.skeleton, 0) + size
    return max(rigs, key=lambda rig: (counts.get(rig.path, 0), len(rig.tokens)), default=None)


@dataclass
class SkinMaker:
    """Makes the skins of one skeleton."""

    scene: Scene
    rig: Rig
    notes: list[Note] = field(default_factory=list)
    _spent: int = 0
    _reduced: int = 0

    def make(self, meshes: Sequence[Bound]) -> tuple[Skin, ...]:
        """A skin of each mesh that follows the rig and is drawn in the end.

        Raises:
            AssetError: arrays that do not fit one another, joints or vertices that are not there.
        """
        own = [mesh for mesh in meshes if mesh.skeleton == self.rig.path]
        if len(own) < len(meshes):
            text = f"{len(meshes) - len(own)} meshes follow other skeletons and were left out"
            self._note("body-model", f"{text}; only those of {self.rig.path} were read")
        drawn = [mesh for mesh in own if _purpose(mesh) not in ("proxy", "guide")]
        if len(drawn) < len(own):
            text = f"{len(own) - len(drawn)} meshes are stand-ins (purpose proxy or guide)"
            self._note("body-model", f"{text} and were left out")
        if own and self.rig.bind is None:
            text = f"{self.rig.path} has no bindTransforms; its meshes were left out"
            self._note("body-model", text)
            return ()
        skins = tuple(skin for mesh in drawn if (skin := self._skin(mesh)) is not None)
        if self._reduced:
            text = f"{self._reduced} vertices follow more than {_INFLUENCES} joints"
            self._note("skin-weights", f"{text}; the heaviest were kept and made to sum to 1")
        self._note_methods(drawn)
        return skins

    def _note(self, code: str, text: str) -> None:
        self.notes.append(Note(code, text))

    def _note_methods(self, meshes: Sequence[Bound]) -> None:
        dual = [
            str(mesh.prim.GetPath())
            for mesh in meshes
            if mesh.query.GetSkinningMethod() == UsdSkel.Tokens.dualQuaternion
        ]
        if dual:
            text = f"skinned by dual quaternions, here blended linearly: {few(dual)}"
            self._note("skinning", text)
        shapes = [str(mesh.prim.GetPath()) for mesh in meshes if mesh.query.HasBlendShapes()]
        if shapes:
            text = f"the blend shapes of these meshes are not applied to the skin: {few(shapes)}"
            self._note("blend-shapes", text)

    def _spend(self, amount: int, place: str) -> None:
        self._spent += amount
        if self._spent > _MOST_VERTICES:
            what = f"the meshes ask for more than {_MOST_VERTICES} vertices, triangles and joints"
            raise self.scene.error(what, place, "Leave the meshes out.")

    def _skin(self, mesh: Bound) -> Skin | None:
        place = str(mesh.prim.GetPath())
        schema = UsdGeom.Mesh(mesh.prim)
        early, fail = Usd.TimeCode.EarliestTime(), self.scene.error
        points = numbers(schema.GetPointsAttr().Get(early), (3,), f"{place}.points", fail)
        if not len(points):
            self._note("body-model", f"{place} has no points and was left out")
            return None
        self._spend(len(points) + len(self.rig.skeleton), place)
        tokens = self._tokens(mesh, place)
        slots, weights = self._influences(mesh, len(points), len(tokens), place)
        triangles = self._triangles(schema, len(points), place)
        joints = np.array([self.rig.joint_of[token] for token in tokens], dtype=np.intp)
        scene, bind = self._to_scene(tokens, joints, place)
        at = f"{place}.primvars:skel:geomBindTransform"
        geometry = numbers([mesh.query.GetGeomBindTransform()], (4, 4), at, fail)[0].T
        whole = scene @ geometry
        positions = np.full((len(self.rig.skeleton), 3), np.nan)
        turned = np.full((len(self.rig.skeleton), 4), np.nan)
        positions[joints] = bind[:, :3, 3]
        turned[joints] = decompose(bind[:, :3, :3])[0]
        vertices = points @ whole[:3, :3].T + whole[:3, 3]
        name = mesh.prim.GetName()
        return Skin(name, vertices, joints[slots], weights, positions, turned, triangles)

    def _tokens(self, mesh: Bound, place: str) -> list[str]:
        """Tokens of the joints that the mesh's indices count."""
        order = mesh.query.GetJointOrder()
        tokens = [str(one) for one in order] if order else list(self.rig.tokens)
        for token in tokens:
            if token not in self.rig.joint_of:
                what = f"follows the joint {token!r}, which {self.rig.path} does not have"
                raise self.scene.error(what, f"{place}.skel:joints")
        return tokens

    def _influences(self, mesh: Bound, points: int, joints: int, place: str) -> tuple[Ints, Floats]:
        """The four heaviest of each vertex: slots into the mesh's joints, and weights."""
        per_point = mesh.query.GetNumInfluencesPerComponent()
        self._spend(points * per_point // _INFLUENCES, place)
        listed = mesh.query.ComputeVaryingJointInfluences(points, Usd.TimeCode.EarliestTime())
        if listed is None or len(listed[0]) != points * per_point or not per_point:
            what = f"its joint indices and weights do not fit its {points} points"
            raise self.scene.error(what, f"{place}.primvars:skel:jointIndices")
        slots = np.array(listed[0], dtype=np.intp).reshape(points, per_point)
        weights = np.array(listed[1], dtype=np.float64).reshape(points, per_point)
        used = slots[weights > 0.0]
        if used.size and not 0 <= int(used.min()) <= int(used.max()) < joints:
            worst = int(used.max()) if used.max() >= joints else int(used.min())
            what = f"a vertex follows joint {worst}, but the mesh has {joints}"
            raise self.scene.error(what, f"{place}.primvars:skel:jointIndices")
        self._reduced += int(np.sum(np.sum(weights > 0.0, axis=1) > _INFLUENCES))
        if per_point < _INFLUENCES:
            more = ((0, 0), (0, _INFLUENCES - per_point))
            slots, weights = np.pad(slots, more), np.pad(weights, more)
        return heaviest(slots, weights)

    def _to_scene(self, tokens: list[str], joints: Ints, place: str) -> tuple[Floats, Floats]:
        """From the bind space to the scene ``(4, 4)``; the joints' bind poses in the scene."""
        assert self.rig.bind is not None
        index = {token: i for i, token in enumerate(self.rig.tokens)}
        bind = self.rig.bind[[index[token] for token in tokens]]
        top = min(range(len(tokens)), key=lambda i: (self._depth(int(joints[i])), i))
        if abs(np.linalg.det(bind[top])) < 1e-30:
            raise self.scene.error("a bind transform cannot be inverted", place)
        scene = self.rig.rest_world[joints[top]] @ np.linalg.inv(bind[top])
        return scene, scene @ bind

    def _depth(self, joint: int) -> int:
        depth = 0
        while joint >= 0:
            joint = int(self.rig.skeleton.parents[joint])
            depth += 1
        return depth

    def _triangles(self, schema: Any, points: int, place: str) -> Ints:
        """``(triangles, 3)``: each face cut into a fan from its first corner."""
        early, fail = Usd.TimeCode.EarliestTime(), self.scene.error
        at = f"{place}.faceVertexCounts"
        counts = wholes(schema.GetFaceVertexCountsAttr().Get(early), at, fail)
        at = f"{place}.faceVertexIndices"
        order = wholes(schema.GetFaceVertexIndicesAttr().Get(early), at, fail)
        if len(counts) and (int(counts.min()) < 0 or int(counts.sum()) != len(order)):
            what = f"its faces ask for {int(counts.sum())} corners, found {len(order)}"
            raise self.scene.error(what, f"{place}.faceVertexCounts")
        if len(order) and not 0 <= int(order.min()) <= int(order.max()) < points:
            what = f"a face has a corner that is not among the {points} points"
            raise self.scene.error(what, f"{place}.faceVertexIndices")
        self._spend(len(order), place)
        triangles = fans(counts, order)
        left = schema.GetOrientationAttr().Get() == UsdGeom.Tokens.leftHanded
        return triangles[:, ::-1] if left else triangles


def fans(counts: Ints, order: Ints) -> Ints:
    """``(triangles, 3)`` of polygons with `counts` ``(faces,)`` corners listed in `order`."""
    cut = np.maximum(counts - 2, 0)
    starts = np.repeat(np.cumsum(counts) - counts, cut)
    step = np.arange(int(cut.sum())) - np.repeat(np.cumsum(cut) - cut, cut)
    return np.stack((order[starts], order[starts + step + 1], order[starts + step + 2]), axis=1)


def _purpose(mesh: Bound) -> str:
    return str(UsdGeom.Imageable(mesh.prim).ComputePurpose())
