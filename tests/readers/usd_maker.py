"""A small writer of UsdSkel scenes, so that tests know every number in them."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from pxr import Gf, Sdf, Usd, UsdGeom, UsdSkel, UsdUtils, Vt

JOINTS = ["Pelvis", "Pelvis/Spine", "Pelvis/Spine/Head", "Pelvis/Thigh", "Pelvis/Thigh/Shank"]
OFFSETS = [[0.0, 0.9, 0.0], [0.0, 0.3, 0.02], [0.0, 0.4, -0.01], [0.1, -0.05, 0.0], [0.0, -0.4, 0]]


def matrix(values: Any) -> Gf.Matrix4d:
    """A 4 by 4 for column vectors as USD has it, for row vectors."""
    return Gf.Matrix4d(np.asarray(values, dtype=float).T.tolist())


def turn(axis: int, angle_deg: float) -> np.ndarray:
    """4 by 4 rotation about axis 0, 1 or 2, for column vectors."""
    c, s = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    i, j = [(1, 2), (2, 0), (0, 1)][axis]
    found = np.eye(4)
    found[i, i], found[i, j], found[j, i], found[j, j] = c, -s, s, c
    return found


def shift(x: float, y: float, z: float) -> np.ndarray:
    """4 by 4 translation, for column vectors."""
    found = np.eye(4)
    found[:3, 3] = x, y, z
    return found


def random_quaternions(rng: np.random.Generator, *shape: int, spread: float = 0.5) -> np.ndarray:
    """Unit quaternions ``(*shape, 4)``, scalar first, within about `spread` radians of none."""
    q = np.concatenate((np.ones((*shape, 1)), rng.normal(0.0, spread / 2.0, (*shape, 3))), axis=-1)
    return q / np.linalg.norm(q, axis=-1, keepdims=True)


@dataclass
class UsdMaker:
    """Collects a stage in memory. Tests may do with `stage` whatever usd-core can."""

    stage: Any = field(default_factory=Usd.Stage.CreateInMemory)

    def header(self, **metadata: Any) -> None:
        """Stage metadata by its names in the file, as metersPerUnit."""
        for name, value in metadata.items():
            self.stage.SetMetadata(name, value)

    def root(self, path: str = "/Crew") -> Any:
        """A SkelRoot."""
        return UsdSkel.Root.Define(self.stage, path)

    def skeleton(
        self,
        path: str = "/Crew/Skel",
        joints: list[str] = JOINTS,
        rest: Any = None,
        bind: Any = None,
    ) -> Any:
        """A Skeleton; `rest` and `bind` are ``(joints, 4, 4)`` for column vectors.

        By default all joints stand as OFFSETS say, and the bind pose is the rest pose.
        """
        schema = UsdSkel.Skeleton.Define(self.stage, path)
        UsdSkel.BindingAPI.Apply(schema.GetPrim())
        schema.CreateJointsAttr(joints)
        rest = [shift(*one) for one in OFFSETS[: len(joints)]] if rest is None else rest
        schema.CreateRestTransformsAttr([matrix(one) for one in rest])
        if bind is None:
            bind = worlds(joints, rest)
        schema.CreateBindTransformsAttr([matrix(one) for one in bind])
        return schema

    def animation(
        self,
        path: str = "/Crew/Anim",
        joints: list[str] = JOINTS,
        codes: Any = (0.0,),
        rotations: Any = None,
        translations: Any = None,
        scales: Any = None,
        skeleton: str | None = "/Crew/Skel",
    ) -> Any:
        """A SkelAnimation bound to `skeleton`.

        Arrays are ``(codes, joints, components)``, quaternions scalar first; those of one code
        only are written without time.
        """
        schema = UsdSkel.Animation.Define(self.stage, path)
        schema.CreateJointsAttr(joints)
        n = len(joints)
        rotations = [[[1, 0, 0, 0]] * n] if rotations is None else rotations
        translations = [OFFSETS[:n]] if translations is None else translations
        scales = [[[1, 1, 1]] * n] if scales is None else scales
        write(schema.CreateRotationsAttr(), codes, rotations, quaternions)
        write(schema.CreateTranslationsAttr(), codes, translations, vectors)
        write(schema.CreateScalesAttr(), codes, scales, halves)
        if skeleton:
            self.bind(skeleton, path)
        return schema

    def bind(self, prim: str, animation: str) -> None:
        """Binds an animation at any prim."""
        binding = UsdSkel.BindingAPI.Apply(self.stage.GetPrimAtPath(prim))
        binding.CreateAnimationSourceRel().SetTargets([Sdf.Path(animation)])

    def shapes(self, path: str, names: list[str], codes: Any, weights: Any) -> None:
        """Blend shape weights ``(codes, shapes)`` of an animation."""
        schema = UsdSkel.Animation(self.stage.GetPrimAtPath(path))
        schema.CreateBlendShapesAttr(names)
        write(schema.CreateBlendShapeWeightsAttr(), codes, weights, Vt.FloatArray)

    def mesh(self, path: str, points: Any, counts: Any, corners: Any, **more: Any) -> Any:
        """A mesh; `more` goes to `skin`."""
        schema = UsdGeom.Mesh.Define(self.stage, path)
        schema.CreatePointsAttr(vectors(points))
        schema.CreateFaceVertexCountsAttr(list(counts))
        schema.CreateFaceVertexIndicesAttr(list(corners))
        if more:
            self.skin(path, **more)
        return schema

    def skin(
        self,
        path: str,
        indices: Any,
        weights: Any,
        width: int,
        constant: bool = False,
        geometry: Any = None,
        joints: list[str] | None = None,
        skeleton: str = "/Crew/Skel",
    ) -> None:
        """Binds a mesh: flat `indices` and `weights`, `width` of them a vertex."""
        binding = UsdSkel.BindingAPI.Apply(self.stage.GetPrimAtPath(path))
        binding.CreateJointIndicesPrimvar(constant, width).Set(list(indices))
        binding.CreateJointWeightsPrimvar(constant, width).Set(list(weights))
        binding.CreateSkeletonRel().SetTargets([Sdf.Path(skeleton)])
        if geometry is not None:
            binding.CreateGeomBindTransformAttr(matrix(geometry))
        if joints is not None:
            binding.CreateJointsAttr(joints)

    def text(self) -> str:
        """The root layer as .usda."""
        return str(self.stage.GetRootLayer().ExportToString())

    def save(self, path: Path) -> Path:
        """A file of whatever form its ending says."""
        if path.suffix != ".usdz":
            self.stage.GetRootLayer().Export(str(path))
            return path
        inner = path.with_suffix(".usdc")
        self.stage.GetRootLayer().Export(str(inner))
        assert UsdUtils.CreateNewUsdzPackage(str(inner), str(path))
        return path


def write(attribute: Any, codes: Any, values: Any, kind: Any) -> None:
    """One value without time, more at `codes`."""
    if len(values) == 1:
        attribute.Set(kind(values[0]))
        return
    for code, value in zip(codes, values, strict=True):
        attribute.Set(kind(value), Usd.TimeCode(float(code)))


def quaternions(values: Any) -> Any:
    return Vt.QuatfArray([Gf.Quatf(*map(float, one)) for one in values])


def vectors(values: Any) -> Any:
    return Vt.Vec3fArray([Gf.Vec3f(*map(float, one)) for one in values])


def halves(values: Any) -> Any:
    return Vt.Vec3hArray([Gf.Vec3h(*map(float, one)) for one in values])


def worlds(joints: list[str], local: Any) -> np.ndarray:
    """``(joints, 4, 4)`` of local transforms whose parents are listed before them."""
    found: dict[str, np.ndarray] = {}
    for token, own in zip(joints, local, strict=True):
        parts = token.split("/")
        above = ["/".join(parts[:i]) for i in range(len(parts) - 1, 0, -1)]
        parent = next((one for one in above if one in found), None)
        found[token] = np.asarray(own) if parent is None else found[parent] @ np.asarray(own)
    return np.stack(list(found.values()))


def crew(rng: np.random.Generator, keys: int = 13, rate: float = 30.0) -> UsdMaker:
    """One skeleton with one bound animation, keyed at every time code from 0."""
    maker = UsdMaker()
    maker.header(upAxis="Y", metersPerUnit=1.0, timeCodesPerSecond=rate, framesPerSecond=rate)
    maker.header(startTimeCode=0.0, endTimeCode=float(keys - 1))
    maker.root()
    maker.skeleton()
    turned = random_quaternions(rng, keys, len(JOINTS))
    moved = np.tile(np.array(OFFSETS), (keys, 1, 1))
    moved[:, 0] += rng.normal(0.0, 0.2, (keys, 3))
    maker.animation(codes=range(keys), rotations=turned, translations=moved)
    return maker
