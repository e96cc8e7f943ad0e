"""Skeletons and animations whose parts do not fit one another, or hold no numbers."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("pxr", reason="usd-core is not installed")

from pxr import Gf, Sdf, UsdGeom, UsdSkel, Vt

from kinelint.errors import AssetError
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd import read_usd
from readers.usd_maker import JOINTS, OFFSETS, UsdMaker, crew, random_quaternions, shift
from readers.usd_oracle import furthest_mm

OPTIONS = ReadOptions()


class TestSkeletons:
    def spoilt(self, tmp_path: Path, name: str, value: object) -> Path:
        maker = crew(np.random.default_rng(0))
        prim = maker.stage.GetPrimAtPath("/Crew/Skel")
        prim.GetAttribute(name).Set(value)
        return maker.save(tmp_path / "spoilt.usda")

    def test_tokens_that_stand_twice(self, tmp_path: Path) -> None:
        file = self.spoilt(tmp_path, "joints", [*JOINTS[:4], JOINTS[1]])
        with pytest.raises(AssetError, match="listed twice") as caught:
            read_usd(file, OPTIONS)
        assert caught.value.place == "/Crew/Skel.joints"

    def test_tokens_without_their_parents(self, tmp_path: Path) -> None:
        tokens = ["Pelvis", "Pelvis/Gone/Spine", "Lost/Head", "Pelvis/Thigh", "Pelvis/Thigh/Shank"]
        file = self.spoilt(tmp_path, "joints", tokens)
        clip = read_usd(file, OPTIONS).clips[0]
        assert clip.skeleton.parents.tolist() == [-1, 0, -1, 0, 3]
        assert furthest_mm(file, clip) < 0.1

    def test_tokens_out_of_order(self, tmp_path: Path) -> None:
        tokens = [JOINTS[i] for i in (4, 2, 1, 0, 3)]
        maker = UsdMaker()
        maker.root()
        maker.skeleton(
            joints=tokens, rest=[shift(*OFFSETS[i]) for i in (4, 2, 1, 0, 3)], bind=[np.eye(4)] * 5
        )
        turned = random_quaternions(np.random.default_rng(2), 3, 5)
        maker.animation(codes=range(3), rotations=turned)
        clip = read_usd(maker.save(tmp_path / "order.usda"), OPTIONS).clips[0]
        names = clip.skeleton.names
        assert set(names) == {"Pelvis", "Spine", "Head", "Thigh", "Shank"}
        assert clip.skeleton.path(names.index("Shank")) == "Pelvis/Thigh/Shank"
        for joint, name in enumerate(names):
            own = next(i for i, token in enumerate(JOINTS) if token.endswith(name))
            assert np.allclose(clip.skeleton.rest_translations[joint], OFFSETS[own])
            assert np.allclose(clip.rotations[joint, :, ::2], turned[:, own].T, atol=1e-6)
        assert any(one.topic == "joint-order" for one in clip.notes)

    @pytest.mark.parametrize("name", ["restTransforms", "bindTransforms"])
    def test_matrices_of_another_count(self, tmp_path: Path, name: str) -> None:
        file = self.spoilt(tmp_path, name, Vt.Matrix4dArray(3))
        with pytest.raises(AssetError, match="5 joints have 3 matrices"):
            read_usd(file, OPTIONS)

    @pytest.mark.parametrize("value", [math.nan, math.inf, 1e200])
    def test_matrices_of_no_numbers(self, tmp_path: Path, value: float) -> None:
        file = self.spoilt(tmp_path, "restTransforms", [Gf.Matrix4d(value)] * 5)
        with pytest.raises(AssetError, match="no number"):
            read_usd(file, OPTIONS)

    def test_a_rest_pose_of_zeros(self, tmp_path: Path) -> None:
        file = self.spoilt(tmp_path, "restTransforms", Vt.Matrix4dArray(5))
        clip = read_usd(file, OPTIONS).clips[0]
        assert np.all(np.isfinite(clip.skeleton.rest_rotations))

    def test_no_rest_pose_but_a_bind_pose(self, tmp_path: Path) -> None:
        maker = crew(np.random.default_rng(0))
        maker.stage.GetPrimAtPath("/Crew/Skel").RemoveProperty("restTransforms")
        clip = read_usd(maker.save(tmp_path / "bind.usda"), OPTIONS).clips[0]
        assert np.allclose(clip.skeleton.rest_translations, OFFSETS)
        assert any("bindTransforms" in one.text for one in clip.notes)

    def test_no_pose_but_an_animation_of_all_joints(self, tmp_path: Path) -> None:
        maker = crew(np.random.default_rng(0))
        for name in ("restTransforms", "bindTransforms"):
            maker.stage.GetPrimAtPath("/Crew/Skel").RemoveProperty(name)
        file = maker.save(tmp_path / "bare.usda")
        clip = read_usd(file, OPTIONS).clips[0]
        assert np.allclose(clip.skeleton.rest_translations[1:], OFFSETS[1:])
        assert furthest_mm(file, clip) < 0.1

    def test_no_pose_at_all(self, tmp_path: Path) -> None:
        maker = UsdMaker()
        maker.root()
        schema = UsdSkel.Skeleton.Define(maker.stage, "/Crew/Skel")
        schema.CreateJointsAttr(JOINTS)
        with pytest.raises(AssetError, match="neither"):
            read_usd(maker.save(tmp_path / "bare.usda"), OPTIONS)

    def test_no_joints(self, tmp_path: Path) -> None:
        file = self.spoilt(tmp_path, "joints", Vt.TokenArray())
        asset = read_usd(file, OPTIONS)
        assert all(clip.skeleton.handles[0].startswith("/Crew/Anim") for clip in asset.clips)


class TestAnimations:
    @pytest.mark.parametrize("name", ["rotations", "translations", "scales"])
    def test_arrays_of_another_length(self, tmp_path: Path, name: str) -> None:
        maker = crew(np.random.default_rng(0))
        attribute = maker.stage.GetPrimAtPath("/Crew/Anim").GetAttribute(name)
        attribute.Set(type(attribute.Get(0))(4), 3)
        with pytest.raises(AssetError, match="5 joints have 4") as caught:
            read_usd(maker.save(tmp_path / "short.usda"), OPTIONS)
        assert caught.value.place == f"/Crew/Anim.{name}"

    def test_weights_of_another_length(self, tmp_path: Path) -> None:
        maker = crew(np.random.default_rng(0))
        maker.shapes("/Crew/Anim", ["smile", "blink"], range(13), np.zeros((13, 2)))
        schema = UsdSkel.Animation(maker.stage.GetPrimAtPath("/Crew/Anim"))
        schema.GetBlendShapeWeightsAttr().Set([0.5], 3)
        with pytest.raises(AssetError, match="2 blend shapes have 1 weights at time 3"):
            read_usd(maker.save(tmp_path / "short.usda"), OPTIONS)

    def test_values_of_no_length(self, tmp_path: Path) -> None:
        maker = crew(np.random.default_rng(0))
        schema = UsdSkel.Animation(maker.stage.GetPrimAtPath("/Crew/Anim"))
        schema.GetTranslationsAttr().Set([Gf.Vec3f(1e30)] * 5, 3)
        with pytest.raises(AssetError, match="translations hold a number"):
            read_usd(maker.save(tmp_path / "far.usda"), OPTIONS)

    def test_values_that_are_no_numbers_are_left_to_intake(self, tmp_path: Path) -> None:
        maker = crew(np.random.default_rng(0))
        schema = UsdSkel.Animation(maker.stage.GetPrimAtPath("/Crew/Anim"))
        schema.GetRotationsAttr().Set([Gf.Quatf(0)] * 5, 3)
        schema.GetTranslationsAttr().Set([Gf.Vec3f(math.nan)] * 5, 7)
        clip = read_usd(maker.save(tmp_path / "nan.usda"), OPTIONS).clips[0]
        lengths = np.linalg.norm(clip.rotations[0], axis=0)
        assert np.flatnonzero(lengths == 0.0).tolist() == [3]
        (said,) = [one.text for one in clip.notes if one.topic == "rotations"]
        assert said.startswith("5 joints have rotations of zero length")
        assert np.flatnonzero(np.isnan(clip.translations[0, 0])).tolist() == [7]

    def test_a_joint_that_the_animation_lists_twice(self, tmp_path: Path) -> None:
        maker = crew(np.random.default_rng(0))
        attribute = maker.stage.GetPrimAtPath("/Crew/Anim").GetAttribute("joints")
        tokens = list(attribute.Get())
        attribute.Set(Vt.TokenArray([*tokens[:-1], tokens[1]]))
        clip = read_usd(maker.save(tmp_path / "twice.usda"), OPTIONS).clips[0]
        plain = read_usd(crew(np.random.default_rng(0)).save(tmp_path / "a.usda"), OPTIONS).clips[0]
        said = [one.text for one in clip.notes if one.topic == "joints"]
        assert "1 of 5 joints are not animated and stay at rest" in said
        lists = "joints that the animation lists more than once go by the last"
        assert f"{lists}: {tokens[1]}" in said
        # Which column counts is what the note says.
        assert np.allclose(clip.rotations[1], plain.rotations[4])

    def test_quaternions_that_are_not_unit(self, tmp_path: Path) -> None:
        maker = crew(np.random.default_rng(0))
        attribute = maker.stage.GetPrimAtPath("/Crew/Anim").GetAttribute("rotations")
        attribute.Set(Vt.QuatfArray([one * 3.0 for one in attribute.Get(4)]), 4)
        clip = read_usd(maker.save(tmp_path / "long.usda"), OPTIONS).clips[0]
        assert np.allclose(np.linalg.norm(clip.rotations, axis=1), 1.0)
        assert any(one.topic == "rotations" for one in clip.notes)

    def test_names_that_are_no_text(self, tmp_path: Path) -> None:
        file = tmp_path / "bytes.usda"
        text = crew(np.random.default_rng(0)).text().encode()
        file.write_bytes(text.replace(b'"Pelvis"', b'"\xff\xfe"'))
        with pytest.raises(AssetError):
            read_usd(file, OPTIONS)

    def test_a_first_pose_of_no_numbers(self, tmp_path: Path) -> None:
        maker = UsdMaker()
        maker.animation("/Anim", translations=[[[math.nan] * 3] * 5], skeleton=None)
        with pytest.raises(AssetError, match="first pose"):
            read_usd(maker.save(tmp_path / "nan.usda"), OPTIONS)


class TestTexts:
    @pytest.mark.parametrize(
        ("old", "new"),
        [
            ('def SkelRoot "Crew"', 'def SkelRoot "Crew" }'),
            ("#usda 1.0", "#usda 9.9"),
            ("metersPerUnit = 1", "metersPerUnit = one"),
        ],
    )
    def test_the_line_is_named(self, tmp_path: Path, old: str, new: str) -> None:
        file = tmp_path / "wrong.usda"
        text = crew(np.random.default_rng(0)).text()
        assert old in text
        file.write_text(text.replace(old, new, 1))
        with pytest.raises(AssetError) as caught:
            read_usd(file, OPTIONS)
        line = text[: text.index(old)].count("\n") + 1
        assert caught.value.place.startswith(("line ", "column ")), str(caught.value)
        assert abs(int(caught.value.place.split()[1].rstrip(",")) - line) <= 1
        assert str(tmp_path) not in caught.value.what
        assert "pxr" not in caught.value.what

    def test_text_that_is_no_utf_8(self, tmp_path: Path) -> None:
        file = tmp_path / "bytes.usda"
        file.write_bytes(b"#usda 1.0\n\xff\xfe\x00")
        with pytest.raises(AssetError, match="UTF-8"):
            read_usd(file, OPTIONS)


class TestTransforms:
    @pytest.mark.parametrize("value", [math.nan, math.inf, 1e300])
    def test_a_prim_that_stands_nowhere(self, tmp_path: Path, value: float) -> None:
        maker = crew(np.random.default_rng(0))
        op = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew")).AddTranslateOp()
        op.Set(Gf.Vec3d(value, 0, 0))
        with pytest.raises(AssetError, match="transform") as caught:
            read_usd(maker.save(tmp_path / "nowhere.usda"), OPTIONS)
        assert caught.value.place == "/Crew/Skel"

    def test_a_prim_that_is_nowhere_for_a_moment_is_left_to_intake(self, tmp_path: Path) -> None:
        maker = crew(np.random.default_rng(0))
        op = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew")).AddTranslateOp()
        for code, x in ((0, 0.0), (5, math.nan), (6, 1.0)):
            op.Set(Gf.Vec3d(x, 0, 0), code)
        clip = read_usd(maker.save(tmp_path / "nowhere.usda"), OPTIONS).clips[0]
        assert np.isnan(clip.translations[0, 0, 5])

    def test_shear_that_comes_and_goes_is_said(self, tmp_path: Path) -> None:
        maker = crew(np.random.default_rng(0))
        op = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew")).AddTransformOp()
        sheared = np.eye(4)
        sheared[1, 0] = 0.4
        op.Set(Gf.Matrix4d(1), 0)
        op.Set(Gf.Matrix4d(sheared.tolist()), 12)
        clip = read_usd(maker.save(tmp_path / "shear.usda"), OPTIONS).clips[0]
        assert any("sheared in 1" in one.text for one in clip.notes)

    def test_a_prim_of_no_size(self, tmp_path: Path) -> None:
        maker = crew(np.random.default_rng(0))
        UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew")).AddScaleOp().Set(Gf.Vec3f(0))
        file = maker.save(tmp_path / "flat.usda")
        assert furthest_mm(file, read_usd(file, OPTIONS).clips[0]) < 0.1


def test_skins_need_a_bind_pose(tmp_path: Path) -> None:
    maker = crew(np.random.default_rng(0))
    body = {"indices": [0] * 3, "weights": [1.0] * 3, "width": 1}
    maker.mesh("/Crew/Body", np.eye(3), [3], [0, 1, 2], **body)
    maker.mesh("/Crew/Empty", np.empty((0, 3)), [], [], indices=[], weights=[], width=1)
    notes = [one.text for one in read_usd(maker.save(tmp_path / "a.usda"), OPTIONS).notes]
    assert any("/Crew/Empty has no points" in one for one in notes)
    maker.stage.GetPrimAtPath("/Crew/Skel").RemoveProperty("bindTransforms")
    asset = read_usd(maker.save(tmp_path / "b.usda"), OPTIONS)
    assert asset.skins == ()
    assert any("no bindTransforms" in one.text for one in asset.notes)
    file = maker.save(tmp_path / "c.usda")
    maker.stage.GetPrimAtPath("/Crew/Skel").CreateAttribute(
        "bindTransforms", Sdf.ValueTypeNames.Matrix4dArray
    ).Set(Vt.Matrix4dArray(5))
    with pytest.raises(AssetError, match="cannot be inverted"):
        read_usd(maker.save(file), OPTIONS)
