"""Meshes bound to a skeleton, at the bind pose.

Expected vertices: UsdSkel's own skinning (SkinningQuery.ComputeSkinnedPoints) in the rest pose,
which the bind pose of these files is unless a test says otherwise.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("pxr", reason="usd-core is not installed")

from pxr import Gf, Usd, UsdGeom, UsdSkel, Vt

from kinelint.clip import Asset, Skin
from kinelint.errors import AssetError
from kinelint.kinematics.arrays import Floats
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd import read_usd
from readers.usd_maker import JOINTS, OFFSETS, UsdMaker, shift, turn, worlds

OPTIONS = ReadOptions()
POINTS = np.array([[0, 0.8, 0.1], [0.1, 1.2, 0], [0, 1.6, 0], [-0.1, 1.0, 0], [0, 0.4, 0.05]])
FACES = ([3, 4], [0, 1, 2, 0, 3, 2, 4])


def skinned_points(file: Path, mesh: str) -> Floats:
    """``(vertices, 3)`` in the world where UsdSkel puts them at rest (no animation is bound)."""
    stage = Usd.Stage.Open(str(file))
    root = UsdSkel.Root(stage.GetPrimAtPath("/Crew"))
    cache = UsdSkel.Cache()
    cache.Populate(root, Usd.TraverseInstanceProxies())
    (binding,) = cache.ComputeSkelBindings(root, Usd.TraverseInstanceProxies())
    query = cache.GetSkelQuery(binding.GetSkeleton())
    (target,) = [
        one for one in binding.GetSkinningTargets() if str(one.GetPrim().GetPath()) == mesh
    ]
    moved = query.ComputeSkinningTransforms(Usd.TimeCode.Default())
    points = UsdGeom.Mesh(target.GetPrim()).GetPointsAttr().Get()
    assert target.ComputeSkinnedPoints(moved, points, Usd.TimeCode.Default())
    space = np.array(UsdGeom.XformCache().GetLocalToWorldTransform(query.GetPrim()))
    return np.asarray(np.array(points, dtype=float) @ space[:3, :3] + space[3, :3])


def crewed(**skeleton: object) -> UsdMaker:
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0)
    maker.root()
    maker.skeleton(**skeleton)  # type: ignore[arg-type]
    return maker


def read(maker: UsdMaker, path: Path) -> tuple[Path, Asset, Skin]:
    file = maker.save(path / "body.usda")
    asset = read_usd(file, OPTIONS)
    return file, asset, asset.skins[0]


def two_each(rng: np.random.Generator, joints: int = 5) -> dict[str, object]:
    weights = rng.uniform(0.1, 1.0, (5, 2))
    weights /= weights.sum(axis=1, keepdims=True)
    return {
        "indices": rng.integers(0, joints, 10).tolist(),
        "weights": weights.ravel().tolist(),
        "width": 2,
    }


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(8)


def test_vertices_weights_and_faces(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = crewed()
    binding = two_each(rng)
    maker.mesh("/Crew/Body", POINTS, *FACES, **binding)
    file, asset, skin = read(maker, tmp_path)
    assert skin.name == "Body"
    assert np.allclose(skin.vertices, skinned_points(file, "/Crew/Body"), atol=1e-6)
    assert skin.triangles.tolist() == [[0, 1, 2], [0, 3, 2], [0, 2, 4]]
    assert np.allclose(skin.weights.sum(axis=1), 1.0)
    dense = np.zeros((5, 5))
    np.add.at(dense, (np.repeat(np.arange(5), 2), binding["indices"]), binding["weights"])
    ours = np.zeros((5, 5))
    np.add.at(ours, (np.repeat(np.arange(5), 4), skin.joints.ravel()), skin.weights.ravel())
    assert np.allclose(ours, dense, atol=1e-6)
    rest = worlds(JOINTS, [shift(*one) for one in OFFSETS])
    assert np.allclose(skin.bind_positions, rest[:, :3, 3])
    assert np.allclose(np.abs(skin.bind_rotations[:, 0]), 1.0)
    assert asset.clips == ()


def test_left_handed_faces_turn_round(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = crewed()
    mesh = maker.mesh("/Crew/Body", POINTS, *FACES, **two_each(rng))
    mesh.CreateOrientationAttr("leftHanded")
    assert read(maker, tmp_path)[2].triangles[0].tolist() == [2, 1, 0]


def test_geometry_and_skeleton_have_transforms(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = crewed()
    UsdGeom.XformCommonAPI(maker.stage.GetPrimAtPath("/Crew")).SetTranslate(Gf.Vec3d(5, 0, 2))
    geometry = shift(0.1, 0.2, 0.3) @ turn(1, 40)
    maker.mesh("/Crew/Body", POINTS, *FACES, geometry=geometry, **two_each(rng))
    # The transform of a skinned mesh itself does not count.
    UsdGeom.XformCommonAPI(maker.stage.GetPrimAtPath("/Crew/Body")).SetTranslate(Gf.Vec3d(0, 9, 0))
    file, asset, skin = read(maker, tmp_path)
    assert np.allclose(skin.vertices, skinned_points(file, "/Crew/Body"), atol=1e-6)
    assert asset.skeleton is not None
    assert np.all(np.isnan(skin.bind_positions[0])), "the joint for the prim is not bound"
    assert np.allclose(skin.bind_positions[1], [5, 0.9, 2])


def test_a_bind_space_of_other_axes(tmp_path: Path, rng: np.random.Generator) -> None:
    rest = [shift(*one) for one in OFFSETS]
    lying = turn(0, 90)
    maker = crewed(rest=rest, bind=lying @ worlds(JOINTS, rest))
    points = POINTS @ lying[:3, :3].T
    maker.mesh("/Crew/Body", points, *FACES, **two_each(rng))
    file, _, skin = read(maker, tmp_path)
    assert np.allclose(skin.vertices, POINTS, atol=1e-6)
    assert np.allclose(skin.vertices, skinned_points(file, "/Crew/Body"), atol=1e-6)


def test_a_mesh_that_counts_joints_of_its_own(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = crewed()
    own = [JOINTS[4], JOINTS[0], JOINTS[2]]
    binding = two_each(rng, 3)
    maker.mesh("/Crew/Body", POINTS, *FACES, joints=own, **binding)
    file, _, skin = read(maker, tmp_path)
    assert np.allclose(skin.vertices, skinned_points(file, "/Crew/Body"), atol=1e-6)
    wanted = {JOINTS.index(own[i]) for i in binding["indices"]}  # type: ignore[attr-defined]
    assert set(skin.joints[skin.weights > 0].tolist()) == wanted
    assert np.isnan(skin.bind_positions[:, 0]).tolist() == [False, True, False, True, False]


def test_constant_weights_hang_the_whole_mesh_on_a_joint(tmp_path: Path) -> None:
    maker = crewed()
    maker.mesh(
        "/Crew/Box",
        POINTS,
        *FACES,
        indices=[2],
        weights=[1.0],
        width=1,
        constant=True,
        geometry=shift(0, 0.3, 0),
    )
    _, _, skin = read(maker, tmp_path)
    assert np.all(skin.joints[:, 0] == 2)
    assert np.all(skin.weights[:, 0] == 1.0)
    assert np.allclose(skin.vertices, POINTS + np.array([0, 0.3, 0]), atol=1e-6)


def test_the_four_heaviest_influences_stay(tmp_path: Path) -> None:
    maker = crewed()
    weights = np.tile([0.3, 0.25, 0.05, 0.2, 0.2], 5)
    maker.mesh(
        "/Crew/Body", POINTS, *FACES, indices=list(range(5)) * 5, weights=weights.tolist(), width=5
    )
    _, asset, skin = read(maker, tmp_path)
    assert np.allclose(skin.weights[0], np.array([0.3, 0.25, 0.2, 0.2]) / 0.95)
    assert skin.joints[0].tolist() == [0, 1, 3, 4]
    assert any("5 vertices" in one.text for one in asset.notes if one.topic == "skin-weights")


def test_weights_that_do_not_sum_to_one(tmp_path: Path) -> None:
    maker = crewed()
    maker.mesh("/Crew/Body", POINTS, *FACES, indices=[0, 1] * 5, weights=[1.0, 3.0] * 5, width=2)
    assert np.allclose(read(maker, tmp_path)[2].weights[:, :2], [0.25, 0.75])


def test_the_skeleton_with_the_most_skin_is_the_assets(
    tmp_path: Path, rng: np.random.Generator
) -> None:
    maker = crewed()
    maker.skeleton("/Crew/Other")
    maker.mesh(
        "/Crew/Small", POINTS[:3], [3], [0, 1, 2], indices=[0] * 3, weights=[1.0] * 3, width=1
    )
    maker.mesh("/Crew/Body", POINTS, *FACES, skeleton="/Crew/Other", **two_each(rng))
    _, asset, _ = read(maker, tmp_path)
    assert asset.skeleton is not None
    assert asset.skeleton.handles[0] == "/Crew/Other/Pelvis"
    assert [one.name for one in asset.skins] == ["Body"]
    assert any("other skeletons" in one.text for one in asset.notes)


def test_what_of_a_mesh_is_not_read_is_said(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = crewed()
    maker.mesh("/Crew/Body", POINTS, *FACES, **two_each(rng))
    prim = maker.stage.GetPrimAtPath("/Crew/Body")
    binding = UsdSkel.BindingAPI(prim)
    binding.CreateSkinningMethodAttr("dualQuaternion")
    shape = UsdSkel.BlendShape.Define(maker.stage, "/Crew/Body/smile")
    shape.CreateOffsetsAttr(Vt.Vec3fArray(5))
    binding.CreateBlendShapesAttr(["smile"])
    binding.CreateBlendShapeTargetsRel().SetTargets([shape.GetPath()])
    maker.mesh("/Crew/Proxy", POINTS, *FACES, **two_each(rng))
    UsdGeom.Imageable(maker.stage.GetPrimAtPath("/Crew/Proxy")).CreatePurposeAttr("proxy")
    _, asset, _ = read(maker, tmp_path)
    notes = {one.topic: one.text for one in asset.notes}
    assert "/Crew/Body" in notes["skinning"]
    assert "/Crew/Body" in notes["blend-shapes"]
    assert "purpose" in notes["body-model"]
    assert [one.name for one in asset.skins] == ["Body"]


def test_instances_of_skinned_meshes(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = crewed()
    maker.mesh("/Crew/Body", POINTS, *FACES, **two_each(rng))
    maker.stage.SetDefaultPrim(maker.stage.GetPrimAtPath("/Crew"))
    maker.save(tmp_path / "doll.usda")
    shot = UsdMaker()
    prim = shot.stage.DefinePrim("/Hand")
    prim.GetReferences().AddReference("./doll.usda")
    prim.SetInstanceable(True)
    asset = read_usd(shot.save(tmp_path / "shot.usda"), OPTIONS)
    assert [one.name for one in asset.skins] == ["Body"]
    assert asset.skeleton is not None
    assert asset.skeleton.handles[0] == "/Hand/Skel/Pelvis"


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda mesh: mesh.GetPointsAttr().Set(Vt.Vec3fArray(7)), "points"),
        (
            lambda mesh: mesh.GetPointsAttr().Set(Vt.Vec3fArray([Gf.Vec3f(float("nan"))] * 5)),
            "value 0",
        ),
        (lambda mesh: mesh.GetFaceVertexCountsAttr().Set([3, 5]), "corners"),
        (lambda mesh: mesh.GetFaceVertexCountsAttr().Set([10, -3]), "corners"),
        (lambda mesh: mesh.GetFaceVertexIndicesAttr().Set([0, 1, 2, 0, 3, 2, 9]), "corner"),
        (lambda mesh: mesh.GetFaceVertexIndicesAttr().Set([0, 1, 2, 0, 3, 2, -1]), "corner"),
        (lambda mesh: bound(mesh).GetJointIndicesAttr().Set([9] * 10), "joint"),
        (lambda mesh: bound(mesh).GetJointIndicesAttr().Set([-1] * 10), "joint"),
        (lambda mesh: bound(mesh).GetJointIndicesAttr().Set([0] * 9), "points"),
        (lambda mesh: bound(mesh).GetJointWeightsAttr().Set([0.5] * 12), "points"),
        (lambda mesh: bound(mesh).CreateJointsAttr(["Pelvis", "Oar"]), "Oar"),
        (
            lambda mesh: bound(mesh).CreateGeomBindTransformAttr(Gf.Matrix4d(float("nan"))),
            "number",
        ),
    ],
)
def test_arrays_that_do_not_fit_are_refused(
    tmp_path: Path, rng: np.random.Generator, spoil: object, words: str
) -> None:
    maker = crewed()
    spoil(maker.mesh("/Crew/Body", POINTS, *FACES, **two_each(rng)))  # type: ignore[operator]
    with pytest.raises(AssetError, match=words) as caught:
        read(maker, tmp_path)
    assert caught.value.place.startswith("/Crew/Body")


def bound(mesh: UsdGeom.Mesh) -> UsdSkel.BindingAPI:
    return UsdSkel.BindingAPI(mesh.GetPrim())


def test_faces_of_no_and_of_few_corners(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = crewed()
    maker.mesh("/Crew/Body", POINTS, [0, 2, 3, 1], [0, 1, 2, 3, 4, 0], **two_each(rng))
    assert read(maker, tmp_path)[2].triangles.tolist() == [[2, 3, 4]]


def test_a_mesh_without_faces(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = crewed()
    maker.mesh("/Crew/Body", POINTS, [], [], **two_each(rng))
    assert read(maker, tmp_path)[2].triangles.shape == (0, 3)
