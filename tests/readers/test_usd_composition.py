"""Layers, references, payloads, variants, instances, value clips; bindings in all their places.

Expected positions: UsdSkel's own (see `usd_oracle`).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("pxr", reason="usd-core is not installed")

from pxr import Gf, Sdf, Usd, UsdGeom, UsdSkel

from kinelint.errors import AssetError
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd import read_usd
from readers.usd_maker import OFFSETS, UsdMaker, crew, random_quaternions, shift
from readers.usd_oracle import furthest_mm

OPTIONS = ReadOptions()
NEAR_MM = 0.1
HEAD = (
    '#usda 1.0\n(\n    metersPerUnit = 1\n    upAxis = "Y"\n    timeCodesPerSecond = 30\n{more})\n'
)


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(3)


@pytest.fixture
def crew_file(tmp_path: Path, rng: np.random.Generator) -> Path:
    """A file to be named by others, in a folder of its own, with /Crew as its default prim."""
    maker = crew(rng)
    maker.stage.SetDefaultPrim(maker.stage.GetPrimAtPath("/Crew"))
    tmp_path.joinpath("parts").mkdir()
    return maker.save(tmp_path / "parts" / "crew.usdc")


def write(file: Path, body: str, more: str = "") -> Path:
    file.write_text(HEAD.replace("{more}", more) + body)
    return file


@pytest.mark.parametrize("arc", ["references", "payload"])
@pytest.mark.parametrize(
    "named", ["./parts/crew.usdc", "parts/crew.usdc", "parts/../parts/crew.usdc"]
)
def test_an_arc_to_a_file_beside(tmp_path: Path, crew_file: Path, arc: str, named: str) -> None:
    body = f'def "Deck" ( {arc} = @{named}@ ) {{\n double3 xformOp:translate = (1, 2, 3)\n'
    body += ' uniform token[] xformOpOrder = ["xformOp:translate"]\n}\n'
    file = write(tmp_path / "shot.usda", body)
    clip = read_usd(file, OPTIONS).clips[0]
    assert clip.source.clip_handle == "/Deck/Anim"
    assert furthest_mm(file, clip, "/Deck/Skel") < NEAR_MM


def test_a_sublayer_with_an_offset(tmp_path: Path, crew_file: Path) -> None:
    more = "    subLayers = [ @./parts/crew.usdc@ (offset = 100; scale = 2) ]\n"
    file = write(tmp_path / "shot.usda", "", more)
    clip = read_usd(file, OPTIONS).clips[0]
    assert clip.start_s == pytest.approx(100.0 / 30.0)
    assert clip.duration_s == pytest.approx(24.0 / 30.0)
    assert furthest_mm(file, clip) < NEAR_MM


def test_an_override_in_a_stronger_layer(tmp_path: Path, crew_file: Path) -> None:
    more = "    subLayers = [ @./parts/crew.usdc@ ]\n"
    body = 'over "Crew" {\n over "Anim" {\n uniform token[] joints = ["Pelvis"]\n'
    body += " float3[] translations = [(0, 5, 0)]\n"
    body += " quatf[] rotations.timeSamples = { 0: [(1, 0, 0, 0)], 3: [(0, 0, 1, 0)] }\n"
    body += " half3[] scales = [(1, 1, 1)]\n }\n}\n"
    file = write(tmp_path / "shot.usda", body, more)
    clip = read_usd(file, OPTIONS).clips[0]
    assert clip.duration_s == pytest.approx(3.0 / 30.0)
    assert furthest_mm(file, clip) < NEAR_MM


def test_layers_name_layers_from_where_they_are(tmp_path: Path, crew_file: Path) -> None:
    deep = tmp_path / "parts" / "deep"
    deep.mkdir()
    write(deep / "b.usda", 'def "Crew" ( references = @../crew.usdc@</Crew> ) {\n}\n')
    write(tmp_path / "parts" / "a.usda", "", "    subLayers = [ @deep/b.usda@ ]\n")
    file = write(tmp_path / "shot.usda", "", "    subLayers = [ @./parts/a.usda@ ]\n")
    assert furthest_mm(file, read_usd(file, OPTIONS).clips[0]) < NEAR_MM


def test_a_package_of_several_layers(tmp_path: Path, crew_file: Path) -> None:
    from pxr import UsdUtils

    file = write(tmp_path / "shot.usda", 'def "Crew" ( references = @./parts/crew.usdc@ ) {\n}\n')
    package = tmp_path / "shot.usdz"
    assert UsdUtils.CreateNewUsdzPackage(str(file), str(package))
    clip = read_usd(package, OPTIONS).clips[0]
    assert clip.source.media == "usdz"
    assert furthest_mm(package, clip) < NEAR_MM
    outside = write(tmp_path / "more.usda", "", "    subLayers = [ @./shot.usdz@ ]\n")
    assert furthest_mm(outside, read_usd(outside, OPTIONS).clips[0]) < NEAR_MM


def test_variants_that_are_not_selected_are_named(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0)
    prim = maker.root().GetPrim()
    maker.skeleton()
    sets = prim.GetVariantSets().AddVariantSet("act")
    for name in ("haul", "throw"):
        sets.AddVariant(name)
        sets.SetVariantSelection(name)
        with sets.GetVariantEditContext():
            maker.animation(
                f"/Crew/{name}", codes=range(5), rotations=random_quaternions(rng, 5, 5)
            )
    file = maker.save(tmp_path / "acts.usda")
    asset = read_usd(file, OPTIONS)
    notes = [one.text for one in asset.notes if one.topic == "variants"]
    assert "/Crew act = throw" in notes[0]
    clip = next(one for one in asset.clips if one.source.clip_handle == "/Crew/throw")
    assert furthest_mm(file, clip) < NEAR_MM
    assert not any(one.source.clip_handle == "/Crew/haul" for one in asset.clips)


def test_a_variant_that_is_not_selected_may_name_what_is_missing(
    tmp_path: Path, crew_file: Path
) -> None:
    body = 'def "Crew" ( variants = { string v = "a" }\n append variantSets = "v" ) {\n'
    body += ' variantSet "v" = {\n "a" ( references = @parts/crew.usdc@ ) {\n }\n'
    body += ' "b" ( references = @lost.usda@ ) {\n }\n }\n}\n'
    file = write(tmp_path / "shot.usda", body)
    assert furthest_mm(file, read_usd(file, OPTIONS).clips[0]) < NEAR_MM
    file.write_text(file.read_text().replace('string v = "a"', 'string v = "b"'))
    with pytest.raises(AssetError, match=r"lost\.usda"):
        read_usd(file, OPTIONS)


def test_instances_have_their_own_places_and_animations(
    tmp_path: Path, crew_file: Path, rng: np.random.Generator
) -> None:
    body = ""
    for i, x in enumerate((0, 4)):
        body += f'def "Hand{i}" ( instanceable = true\n references = @parts/crew.usdc@ ) {{\n'
        body += f" double3 xformOp:translate = ({x}, 0, 0)\n"
        body += ' uniform token[] xformOpOrder = ["xformOp:translate"]\n}\n'
    file = write(tmp_path / "shot.usda", body)
    asset = read_usd(file, OPTIONS)
    assert [one.name for one in asset.clips] == ["/Hand0/Anim", "/Hand1/Anim"]
    assert any(one.topic == "clip-names" for one in asset.notes)
    for i, clip in enumerate(asset.clips):
        assert furthest_mm(file, clip, f"/Hand{i}/Skel") < NEAR_MM


def test_instances_of_one_skeleton_take_the_animation_bound_above_them(
    tmp_path: Path, rng: np.random.Generator
) -> None:
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0)
    maker.root("/Doll")
    maker.skeleton("/Doll/Skel")
    maker.stage.SetDefaultPrim(maker.stage.GetPrimAtPath("/Doll"))
    maker.save(tmp_path / "doll.usda")
    shot = UsdMaker()
    shot.header(metersPerUnit=1.0)
    for name in ("A", "B"):
        prim = shot.root(f"/{name}").GetPrim()
        prim.GetReferences().AddReference("./doll.usda")
        prim.SetInstanceable(True)
        shot.animation(
            f"/Acts/{name}", codes=range(4), skeleton=None, rotations=random_quaternions(rng, 4, 5)
        )
        shot.bind(f"/{name}", f"/Acts/{name}")
    file = shot.save(tmp_path / "shot.usda")
    asset = read_usd(file, OPTIONS)
    assert [one.name for one in asset.clips] == ["A", "B"]
    for clip in asset.clips:
        assert furthest_mm(file, clip, f"/{clip.name}/Skel") < NEAR_MM


def test_one_animation_on_two_skeletons(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = crew(rng)
    maker.root("/Mate")
    taller = [shift(*(1.2 * np.array(one))) for one in OFFSETS]
    maker.skeleton("/Mate/Skel", rest=taller)
    maker.bind("/Mate", "/Crew/Anim")
    file = maker.save(tmp_path / "two.usda")
    asset = read_usd(file, OPTIONS)
    assert [one.name for one in asset.clips] == [
        "/Crew/Anim on /Crew/Skel",
        "/Crew/Anim on /Mate/Skel",
    ]
    assert asset.clips[1].skeleton.handles[0] == "/Mate/Skel/Pelvis"
    assert furthest_mm(file, asset.clips[1], "/Mate/Skel") < NEAR_MM


def test_the_binding_nearest_to_the_skeleton_counts(
    tmp_path: Path, rng: np.random.Generator
) -> None:
    maker = crew(rng)
    maker.animation(
        "/Crew/Far", codes=range(3), rotations=random_quaternions(rng, 3, 5), skeleton="/Crew"
    )
    file = maker.save(tmp_path / "two.usda")
    asset = read_usd(file, OPTIONS)
    assert [one.name for one in asset.clips] == ["Anim", "Far"]
    assert furthest_mm(file, asset.clips[0]) < NEAR_MM
    assert any("/Crew/Far" in one.text for one in asset.notes if one.topic == "binding")


def test_an_unbound_animation_goes_to_the_nearest_skeleton_that_fits(
    tmp_path: Path, rng: np.random.Generator
) -> None:
    maker = crew(rng)
    maker.root("/Mate")
    maker.skeleton("/Mate/Skel")
    maker.root("/Gull")
    maker.skeleton("/Gull/Skel", joints=["Body", "Body/Wing"])
    turned = random_quaternions(rng, 6, 5)
    maker.animation("/Mate/Loose", codes=range(6), rotations=turned, skeleton=None)
    maker.animation("/Odd", joints=["Oar"], skeleton=None)
    asset = read_usd(maker.save(tmp_path / "loose.usda"), OPTIONS)
    assert [one.name for one in asset.clips] == ["Anim", "Loose"]
    loose = asset.clips[1]
    assert loose.skeleton.handles[0] == "/Mate/Skel/Pelvis"
    assert np.allclose(loose.rotations[:, :, ::1], turned.transpose(1, 2, 0), atol=1e-6)
    assert any("/Odd" in one.text for one in asset.notes if one.topic == "animation")


def test_animations_without_any_skeleton_bring_their_own_joints(
    tmp_path: Path, rng: np.random.Generator
) -> None:
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0, timeCodesPerSecond=30.0)
    turned = random_quaternions(rng, 6, 5)
    maker.animation("/Anim", codes=range(6), rotations=turned, skeleton=None)
    asset = read_usd(maker.save(tmp_path / "bare.usda"), OPTIONS)
    clip = asset.clips[0]
    assert clip.skeleton.parents.tolist() == [-1, 0, 1, 0, 3]
    assert np.allclose(clip.skeleton.rest_translations, OFFSETS, atol=1e-6)
    assert np.allclose(clip.rotations, turned.transpose(1, 2, 0), atol=1e-6)
    assert any(one.topic == "skeleton" for one in asset.notes)


def test_a_skeleton_outside_of_a_root(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = UsdMaker()
    UsdGeom.Xform.Define(maker.stage, "/Crew")
    maker.skeleton()
    turned = random_quaternions(rng, 3, 5)
    maker.animation(codes=range(3), rotations=turned)
    clip = read_usd(maker.save(tmp_path / "bare.usda"), OPTIONS).clips[0]
    assert np.allclose(clip.rotations[:, :, ::2], turned.transpose(1, 2, 0), atol=1e-6)


def test_value_clips(tmp_path: Path, rng: np.random.Generator) -> None:
    for part in (0, 1):
        maker = crew(rng, keys=6)
        maker.save(tmp_path / f"part.{part + 1}.usda")
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0, timeCodesPerSecond=30.0)
    maker.root()
    maker.skeleton()
    maker.animation(codes=[0])
    prim = maker.stage.GetPrimAtPath("/Crew/Anim")
    for name in ("rotations", "translations"):
        prim.GetAttribute(name).Clear()
    api = Usd.ClipsAPI(prim)
    api.SetClipPrimPath("/Crew/Anim")
    api.SetClipAssetPaths([Sdf.AssetPath("./part.1.usda"), Sdf.AssetPath("./part.2.usda")])
    api.SetClipTimes([Gf.Vec2d(0, 0), Gf.Vec2d(6, 6), Gf.Vec2d(6, 0), Gf.Vec2d(12, 6)])
    api.SetClipActive([Gf.Vec2d(0, 0), Gf.Vec2d(6, 1)])
    file = maker.save(tmp_path / "clips.usda")
    clip = read_usd(file, OPTIONS).clips[0]
    assert clip.duration_s == pytest.approx(12.0 / 30.0, abs=0.04)
    assert furthest_mm(file, clip) < NEAR_MM


def test_value_clips_by_template(tmp_path: Path, rng: np.random.Generator) -> None:
    for code in (0, 4):
        crew(rng, keys=5).save(tmp_path / f"part.{code:03}.usda")
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0, timeCodesPerSecond=30.0)
    maker.root()
    maker.skeleton()
    maker.animation(codes=[0])
    prim = maker.stage.GetPrimAtPath("/Crew/Anim")
    for name in ("rotations", "translations"):
        prim.GetAttribute(name).Clear()
    api = Usd.ClipsAPI(prim)
    api.SetClipPrimPath("/Crew/Anim")
    api.SetClipTemplateAssetPath("./part.###.usda")
    api.SetClipTemplateStartTime(0)
    api.SetClipTemplateEndTime(4)
    api.SetClipTemplateStride(4)
    file = maker.save(tmp_path / "clips.usda")
    assert furthest_mm(file, read_usd(file, OPTIONS).clips[0]) < NEAR_MM
    api.SetClipTemplateStride(1e-6)
    with pytest.raises(AssetError, match="too many"):
        read_usd(maker.save(tmp_path / "dense.usda"), OPTIONS)


def test_what_is_not_read_is_said(tmp_path: Path, rng: np.random.Generator) -> None:
    maker = crew(rng)
    UsdGeom.Camera.Define(maker.stage, "/Cam")
    crate = UsdGeom.Xform.Define(maker.stage, "/Crate").AddTranslateOp()
    crate.Set(Gf.Vec3d(0), 0)
    crate.Set(Gf.Vec3d(1), 9)
    maker.mesh("/Crate/Box", [[0, 0, 0], [1, 0, 0], [0, 1, 0]], [3], [0, 1, 2])
    shape = UsdSkel.BlendShape.Define(maker.stage, "/Crew/smile")
    shape.CreateInbetween("half")
    notes = {
        one.topic: one.text for one in read_usd(maker.save(tmp_path / "a.usda"), OPTIONS).notes
    }
    assert "/Cam" in notes["cameras"]
    assert "/Crate" in notes["transforms"]
    assert "/Crate/Box" in notes["meshes"]
    assert "/Crew/smile" in notes["blend-shapes"]


def test_a_file_without_a_skeleton(tmp_path: Path) -> None:
    asset = read_usd(write(tmp_path / "empty.usda", 'def Xform "Deck" {\n}\n'), OPTIONS)
    assert asset.clips == ()
    assert asset.skeleton is None
    assert {"animation", "skeleton"} <= {one.topic for one in asset.notes}
