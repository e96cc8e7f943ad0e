"""The reader and our kinematics against UsdSkel's own queries, in the world, at every frame.

Source of every expected position: usd-core (UsdSkel's ComputeJointSkelTransforms in the world of
UsdGeom's XformCache).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("pxr", reason="usd-core is not installed")

from pxr import Gf, UsdGeom

from kinelint.readers.options import ReadOptions
from kinelint.readers.usd import read_usd
from readers.usd_maker import JOINTS, OFFSETS, UsdMaker, crew, random_quaternions, shift, turn
from readers.usd_oracle import furthest_mm

OPTIONS = ReadOptions()
NEAR_MM = 0.1


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(11)


@pytest.mark.parametrize("ending", ["usda", "usdc", "usd", "usdz"])
def test_every_form_of_file_reads_the_same_motion(
    tmp_path: Path, rng: np.random.Generator, ending: str
) -> None:
    file = crew(rng).save(tmp_path / f"haul.{ending}")
    clip = read_usd(file, OPTIONS).clips[0]
    assert clip.frames == 13
    assert clip.sample_rate_hz == 30.0
    assert clip.source.media == {"usd": "usdc"}.get(ending, ending)
    assert furthest_mm(file, clip) < NEAR_MM / 10


def test_rotations_are_those_of_the_file(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = UsdMaker()
    maker.root()
    maker.skeleton()
    turned = random_quaternions(rng, 4, 5)
    maker.animation(codes=range(4), rotations=turned)
    clip = read_usd(maker.save(tmp_path / "turn.usdc"), OPTIONS).clips[0]
    assert clip.sample_rate_hz == 48.0  # keys at 24 Hz
    assert np.allclose(clip.rotations[:, :, ::2], turned.transpose(1, 2, 0), atol=1e-6)


def test_joints_are_matched_by_token_and_not_by_place(
    tmp_path: Path, rng: np.random.Generator
) -> None:
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0)
    maker.root()
    maker.skeleton()
    order = [3, 0, 4]
    maker.animation(
        joints=[JOINTS[i] for i in order],
        codes=range(6),
        rotations=random_quaternions(rng, 6, 3),
        translations=np.tile(np.array(OFFSETS)[order], (6, 1, 1)) * 1.1,
    )
    file = maker.save(tmp_path / "some.usda")
    clip = read_usd(file, OPTIONS).clips[0]
    assert furthest_mm(file, clip) < NEAR_MM
    assert np.all(clip.rotations[1, 0] == 1.0), "the spine is not animated"
    assert any("2 of 5 joints are not animated" in one.text for one in clip.notes)


def test_joints_that_the_skeleton_does_not_have_are_named(
    tmp_path: Path, rng: np.random.Generator
) -> None:
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0)
    maker.root()
    maker.skeleton()
    joints = [*JOINTS, "Pelvis/Tail"]
    maker.animation(
        joints=joints,
        codes=range(3),
        rotations=random_quaternions(rng, 3, 6),
        translations=[[*OFFSETS, [0, 0, -0.2]]],
    )
    file = maker.save(tmp_path / "tail.usda")
    clip = read_usd(file, OPTIONS).clips[0]
    assert furthest_mm(file, clip) < NEAR_MM
    assert any("Pelvis/Tail" in one.text for one in clip.notes)


def test_scales_reach_the_positions(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0)
    maker.root()
    maker.skeleton()
    scales = 1.0 + rng.uniform(-0.3, 0.3, (7, 5, 3))
    maker.animation(codes=range(7), rotations=random_quaternions(rng, 7, 5), scales=scales)
    file = maker.save(tmp_path / "scaled.usdc")
    clip = read_usd(file, OPTIONS).clips[0]
    assert len(clip.scaled) == 5
    assert furthest_mm(file, clip) < NEAR_MM


def test_scales_of_one_are_no_scales(tmp_path: Path, rng: np.random.Generator) -> None:
    clip = read_usd(crew(rng).save(tmp_path / "plain.usdc"), OPTIONS).clips[0]
    assert not clip.is_scaled
    assert clip.translated.tolist() == [0], "the others keep their rest translation"


def test_rest_poses_with_rotation_and_scale(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0)
    maker.root()
    rest = [
        shift(*one) @ turn(i % 3, 20.0 * i) @ np.diag([1.2, 0.9, 1.1, 1.0])
        for i, one in enumerate(OFFSETS)
    ]
    maker.skeleton(rest=rest)
    maker.animation(
        joints=JOINTS[:2],
        codes=range(4),
        rotations=random_quaternions(rng, 4, 2),
        translations=[OFFSETS[:2]],
    )
    file = maker.save(tmp_path / "rest.usda")
    assert furthest_mm(file, read_usd(file, OPTIONS).clips[0]) < NEAR_MM


def test_a_mirrored_rest_pose(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0)
    maker.root()
    rest = [shift(*one) for one in OFFSETS]
    rest[3] = rest[3] @ np.diag([-1.0, 1.0, 1.0, 1.0])
    maker.skeleton(rest=rest)
    maker.animation(
        joints=JOINTS[:1],
        codes=range(4),
        rotations=random_quaternions(rng, 4, 1),
        translations=[OFFSETS[:1]],
    )
    file = maker.save(tmp_path / "mirror.usda")
    assert furthest_mm(file, read_usd(file, OPTIONS).clips[0]) < NEAR_MM


class TestTheSkeletonsOwnTransform:
    def test_still(self, tmp_path: Path, rng: np.random.Generator) -> None:
        maker = crew(rng)
        ops = UsdGeom.XformCommonAPI(maker.stage.GetPrimAtPath("/Crew"))
        ops.SetTranslate(Gf.Vec3d(3, 1, -2))
        ops.SetRotate(Gf.Vec3f(-90, 30, 10))
        ops.SetScale(Gf.Vec3f(0.5, 0.5, 0.5))
        file = maker.save(tmp_path / "placed.usdc")
        asset = read_usd(file, OPTIONS)
        clip = asset.clips[0]
        assert furthest_mm(file, clip) < NEAR_MM
        assert clip.skeleton.names[:2] == ("Skel", "Pelvis")
        assert clip.skeleton.handles[:2] == ("/Crew/Skel", "/Crew/Skel/Pelvis")
        assert len(clip.scaled) == 0, "its scale never changes"
        assert any("/Crew/Skel" in one.text for one in clip.notes if one.topic == "root")

    def test_moving_at_two_levels(self, tmp_path: Path, rng: np.random.Generator) -> None:
        maker = crew(rng)
        root = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew"))
        moved, turned = root.AddTranslateOp(), root.AddRotateYOp()
        own = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew/Skel")).AddTransformOp()
        for code in range(13):
            moved.Set(Gf.Vec3d(0.1 * code, 0, np.sin(code)), code)
        turned.Set(0.0, 0)
        turned.Set(350.0, 12)
        own.Set(Gf.Matrix4d(1), 3)
        own.Set(Gf.Matrix4d().SetTranslate(Gf.Vec3d(0, 2, 0)), 9)
        file = maker.save(tmp_path / "walk.usda")
        clip = read_usd(file, OPTIONS).clips[0]
        assert furthest_mm(file, clip) < NEAR_MM

    def test_only_the_prim_moves(self, tmp_path: Path) -> None:
        maker = UsdMaker()
        maker.header(metersPerUnit=1.0)
        maker.root()
        maker.skeleton()
        op = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew/Skel")).AddTranslateOp()
        for code in (0, 5, 10):
            op.Set(Gf.Vec3d(code, 0, code * code), code)
        file = maker.save(tmp_path / "crate.usda")
        clip = read_usd(file, OPTIONS).clips[0]
        assert clip.name == "Skel"
        assert furthest_mm(file, clip) < NEAR_MM

    def test_a_scale_that_moves(self, tmp_path: Path, rng: np.random.Generator) -> None:
        maker = crew(rng)
        op = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew")).AddScaleOp()
        op.Set(Gf.Vec3f(1, 1, 1), 0)
        op.Set(Gf.Vec3f(1.5, 0.5, 2), 12)
        file = maker.save(tmp_path / "grow.usda")
        assert furthest_mm(file, read_usd(file, OPTIONS).clips[0]) < NEAR_MM

    def test_a_reset_of_the_stack_cuts_the_prims_above_off(
        self, tmp_path: Path, rng: np.random.Generator
    ) -> None:
        maker = crew(rng)
        op = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew")).AddTranslateOp()
        op.Set(Gf.Vec3d(9, 9, 9), 0)
        op.Set(Gf.Vec3d(0, 9, 9), 12)
        own = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew/Skel"))
        own.AddTranslateOp().Set(Gf.Vec3d(1, 0, 0))
        own.SetResetXformStack(True)
        file = maker.save(tmp_path / "reset.usda")
        clip = read_usd(file, OPTIONS).clips[0]
        assert furthest_mm(file, clip) < NEAR_MM
        assert clip.translated.tolist() == [1]

    def test_shear_is_said(self, tmp_path: Path, rng: np.random.Generator) -> None:
        maker = crew(rng)
        sheared = np.eye(4)
        sheared[0, 1] = 0.5
        op = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew")).AddTransformOp()
        op.Set(Gf.Matrix4d(sheared.T.tolist()))
        clip = read_usd(maker.save(tmp_path / "shear.usda"), OPTIONS).clips[0]
        assert any(one.topic == "shear" for one in clip.notes)


def test_many_joints_and_frames_at_random(tmp_path: Path, rng: np.random.Generator) -> None:
    tokens = ["j0"]
    for i in range(1, 80):
        tokens.append(f"{tokens[rng.integers(max(0, i - 6), i)]}/j{i}")
    maker = UsdMaker()
    maker.header(metersPerUnit=0.01, upAxis="Z", timeCodesPerSecond=60.0)
    maker.root()
    rest = [shift(*rng.normal(0, 8, 3)) for _ in tokens]
    maker.skeleton(joints=tokens, rest=rest)
    some = [int(i) for i in rng.permutation(80)[:60]]
    maker.animation(
        joints=[tokens[i] for i in some],
        codes=range(50),
        rotations=random_quaternions(rng, 50, 60, spread=1.5),
        translations=rng.normal(0, 8, (50, 60, 3)),
    )
    file = maker.save(tmp_path / "many.usdc")
    clip = read_usd(file, OPTIONS).clips[0]
    assert clip.metres_per_unit == 0.01
    assert clip.up_axis == "z"
    assert furthest_mm(file, clip) < NEAR_MM
