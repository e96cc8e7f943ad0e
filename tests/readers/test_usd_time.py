"""Time codes, ranges, gaps between keys, blocks, weights of shapes, units and axes.

Expected positions between keys: UsdSkel's own (see `usd_oracle`). Defaults: OpenUSD
documentation, stage metadata (24 time codes a second, 0.01 metres per unit, Y up).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("pxr", reason="usd-core is not installed")

from pxr import Sdf, Usd, UsdGeom, UsdSkel, Vt

from kinelint.clip import Clip
from kinelint.errors import AssetError
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd import read_usd
from readers.usd_maker import OFFSETS, UsdMaker, random_quaternions
from readers.usd_oracle import furthest_mm

OPTIONS = ReadOptions()
NEAR_MM = 0.1


def posed(codes: list[float], **header: object) -> UsdMaker:
    """One bound animation keyed at those codes, lengths in metres."""
    rng = np.random.default_rng(5)
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0, **header)
    maker.root()
    maker.skeleton()
    moved = np.tile(np.array(OFFSETS), (len(codes), 1, 1))
    moved[:, 0] += rng.normal(0.0, 0.3, (len(codes), 3))
    turned = random_quaternions(rng, len(codes), 5, spread=1.5)
    maker.animation(codes=codes, rotations=turned, translations=moved)
    return maker


def read_one(maker: UsdMaker, path: Path, options: ReadOptions = OPTIONS) -> tuple[Path, Clip]:
    file = maker.save(path / "take.usda")
    return file, read_usd(file, options).clips[0]


def topics(clip: Clip) -> set[str]:
    return {one.topic for one in clip.notes}


def test_keys_on_no_grid(tmp_path: Path) -> None:
    file, clip = read_one(posed([0, 1.37, 2.9, 11.03, 20.0], timeCodesPerSecond=30.0), tmp_path)
    assert furthest_mm(file, clip) < NEAR_MM
    assert clip.duration_s == pytest.approx(20.0 / 30.0)
    assert np.allclose(clip.key_times_s * 30.0, [0, 1.37, 2.9, 11.03, 20.0])
    assert "sampling" in topics(clip)


def test_a_wanted_rate_for_keys_on_no_grid(tmp_path: Path) -> None:
    maker = posed([0, 1.37, 2.9, 11.03, 20.0], timeCodesPerSecond=20.0)
    _, clip = read_one(maker, tmp_path, ReadOptions(sample_rate_hz=100.0))
    assert clip.sample_rate_hz == 100.0
    assert clip.frames == 101


def test_each_array_may_have_keys_of_its_own(tmp_path: Path) -> None:
    maker = posed([0, 4, 8], timeCodesPerSecond=24.0)
    schema = UsdSkel.Animation(maker.stage.GetPrimAtPath("/Crew/Anim"))
    moved = np.array(OFFSETS)
    for code in (-3, 2, 5):
        moved[0, 0] = code
        schema.GetTranslationsAttr().Set(Vt.Vec3fArray.FromNumpy(moved.astype("f")), code)
    file, clip = read_one(maker, tmp_path)
    assert furthest_mm(file, clip) < NEAR_MM
    assert np.allclose(clip.key_times_s * 24.0, [-3, 0, 2, 4, 5, 8])
    assert clip.start_s == pytest.approx(-3.0 / 24.0)


def test_the_first_and_the_last_key_are_frames(tmp_path: Path) -> None:
    _, clip = read_one(posed([7.0, 9.5, 30.25], timeCodesPerSecond=24.0), tmp_path)
    assert clip.start_s == pytest.approx(7.0 / 24.0)
    assert clip.start_s + clip.duration_s == pytest.approx(30.25 / 24.0)


def test_time_codes_per_second_and_not_frames_per_second_tell_time(tmp_path: Path) -> None:
    maker = posed(list(range(0, 1001, 100)), timeCodesPerSecond=1000.0, framesPerSecond=24.0)
    file, clip = read_one(maker, tmp_path)
    assert clip.duration_s == pytest.approx(1.0)
    assert clip.sample_rate_hz == pytest.approx(30.0)
    assert furthest_mm(file, clip) < NEAR_MM


def test_frames_per_second_stand_in_for_missing_time_codes_per_second(tmp_path: Path) -> None:
    _, clip = read_one(posed(list(range(11)), framesPerSecond=50.0), tmp_path)
    assert clip.sample_rate_hz == 50.0


def test_nothing_authored_is_said(tmp_path: Path) -> None:
    maker = UsdMaker()
    maker.root()
    maker.skeleton()
    maker.animation(codes=[0, 24], rotations=random_quaternions(np.random.default_rng(1), 2, 5))
    asset = read_usd(maker.save(tmp_path / "bare.usda"), OPTIONS)
    assert asset.clips[0].metres_per_unit == 0.01
    assert asset.clips[0].up_axis == "y"
    assert asset.clips[0].duration_s == pytest.approx(1.0)
    assert {"unit", "up-axis", "time"} <= {one.topic for one in asset.notes}


@pytest.mark.parametrize("unit", [0.0, -1.0, float("nan"), float("inf")])
def test_a_unit_that_is_no_length_is_not_used(tmp_path: Path, unit: float) -> None:
    maker = posed([0, 1])
    maker.header(metersPerUnit=unit)
    asset = read_usd(maker.save(tmp_path / "unit.usda"), OPTIONS)
    assert asset.clips[0].metres_per_unit is None
    assert "unit" in {one.topic for one in asset.notes}


@pytest.mark.parametrize(("axis", "read"), [("Y", "y"), ("Z", "z"), ("W", None)])
def test_the_up_axis(tmp_path: Path, axis: str, read: str | None) -> None:
    maker = posed([0, 1])
    maker.header(upAxis=axis)
    assert read_usd(maker.save(tmp_path / "axis.usda"), OPTIONS).clips[0].up_axis == read


@pytest.mark.parametrize("rate", [0.0, -24.0, float("nan"), float("inf")])
def test_time_codes_without_a_rate_are_refused(tmp_path: Path, rate: float) -> None:
    maker = posed([0, 1])
    maker.header(timeCodesPerSecond=rate)
    with pytest.raises(AssetError, match="timeCodesPerSecond"):
        read_usd(maker.save(tmp_path / "rate.usda"), OPTIONS)


def test_a_rate_that_puts_all_keys_into_one_moment_is_refused(tmp_path: Path) -> None:
    maker = posed([0, 10], timeCodesPerSecond=1e9)
    with pytest.raises(AssetError, match=r"within .* s"):
        read_usd(maker.save(tmp_path / "rate.usda"), OPTIONS)


@pytest.mark.parametrize("last", [1e9, 1e18, 1e300])
def test_absurd_times_are_refused(tmp_path: Path, last: float) -> None:
    with pytest.raises(AssetError, match="more"):
        read_usd(posed([0, last]).save(tmp_path / "long.usda"), OPTIONS)


class TestTheStagesRange:
    def test_keys_outside_are_set_aside(self, tmp_path: Path) -> None:
        maker = posed(list(range(31)), startTimeCode=10.0, endTimeCode=20.0)
        file, clip = read_one(maker, tmp_path)
        assert clip.start_s == pytest.approx(10.0 / 24.0)
        assert clip.duration_s == pytest.approx(10.0 / 24.0)
        assert furthest_mm(file, clip) < NEAR_MM
        assert "time-range" in topics(clip)

    def test_its_ends_may_lie_between_keys(self, tmp_path: Path) -> None:
        maker = posed([0, 20, 40], startTimeCode=5.0, endTimeCode=33.0)
        file, clip = read_one(maker, tmp_path)
        assert clip.start_s * 24 == pytest.approx(5.0)
        assert clip.duration_s * 24 == pytest.approx(28.0)
        assert furthest_mm(file, clip) < NEAR_MM

    def test_a_wider_one_adds_no_frames(self, tmp_path: Path) -> None:
        maker = posed(list(range(11)), startTimeCode=-5.0, endTimeCode=50.0)
        _, clip = read_one(maker, tmp_path)
        assert clip.duration_s * 24 == pytest.approx(10.0)
        assert "time-range" in topics(clip)

    @pytest.mark.parametrize(("start", "end"), [(100.0, 150.0), (0.0, 0.0), (5.0, 5.0), (9.0, 1.0)])
    def test_one_that_holds_no_motion_is_said(
        self, tmp_path: Path, start: float, end: float
    ) -> None:
        maker = posed(list(range(11)), startTimeCode=start, endTimeCode=end)
        _, clip = read_one(maker, tmp_path)
        assert clip.duration_s * 24 == pytest.approx(10.0)
        assert "time-range" in topics(clip)


def test_one_pose_is_one_frame(tmp_path: Path) -> None:
    file, clip = read_one(posed([0]), tmp_path)
    assert clip.frames == 1
    assert furthest_mm(file, clip) < NEAR_MM


def test_blocked_values_are_the_rest_pose(tmp_path: Path) -> None:
    maker = posed(list(range(11)))
    schema = UsdSkel.Animation(maker.stage.GetPrimAtPath("/Crew/Anim"))
    schema.GetRotationsAttr().Set(Sdf.ValueBlock(), 6)
    file, clip = read_one(maker, tmp_path)
    assert "blocked" in topics(clip)
    assert furthest_mm(file, clip) < NEAR_MM


def test_components_that_are_not_authored_are_the_rest_poses(tmp_path: Path) -> None:
    maker = posed(list(range(4)))
    maker.stage.GetPrimAtPath("/Crew/Anim").RemoveProperty("scales")
    _, clip = read_one(maker, tmp_path)
    assert len(clip.scaled) == 0
    assert any("scales are not authored" in one.text for one in clip.notes)


def test_other_types_than_the_schemas_are_read_and_said(tmp_path: Path) -> None:
    file, before = read_one(posed(list(range(4))), tmp_path)
    text = file.read_text().replace("quatf[] rotations", "quath[] rotations")
    file.write_text(text.replace("half3[] scales", "float3[] scales"))
    clip = read_usd(file, OPTIONS).clips[0]
    # A half holds 11 bits of a number.
    assert np.allclose(clip.rotations, before.rotations, atol=2e-3)
    assert any("QuathArray" in one.text and "Vec3fArray" in one.text for one in clip.notes)


def test_values_that_are_no_numbers_are_refused(tmp_path: Path) -> None:
    file, _ = read_one(posed([0]), tmp_path)
    lines = file.read_text().splitlines()
    at = next(i for i, line in enumerate(lines) if "half3[] scales" in line)
    lines[at] = '        string[] scales = ["a", "b", "c", "d", "e"]'
    file.write_text("\n".join(lines))
    with pytest.raises(AssetError, match="scales"):
        read_usd(file, OPTIONS)


def test_weights_of_shapes_keep_the_animations_order(tmp_path: Path) -> None:
    maker = posed(list(range(5)))
    weights = np.random.default_rng(2).uniform(0, 1, (5, 3))
    maker.shapes("/Crew/Anim", ["smile", "blink", "brow"], range(5), weights)
    _, clip = read_one(maker, tmp_path)
    assert clip.weight_names == ("smile", "blink", "brow")
    assert np.allclose(clip.weights[:, ::2], weights.T, atol=1e-6)
    assert np.allclose(clip.weights[:, 1], weights[:2].mean(axis=0), atol=1e-6)


def test_weights_alone_make_a_clip(tmp_path: Path) -> None:
    maker = UsdMaker()
    maker.root()
    maker.skeleton()
    UsdSkel.Animation.Define(maker.stage, "/Crew/Face")
    maker.shapes("/Crew/Face", ["smile"], range(3), [[0.0], [0.5], [1.0]])
    maker.bind("/Crew/Skel", "/Crew/Face")
    _, clip = read_one(maker, tmp_path)
    assert clip.name == "Face"
    assert clip.weights[0, -1] == 1.0


def test_a_spline_is_followed_between_its_knots(tmp_path: Path) -> None:
    ts = pytest.importorskip("pxr.Ts")
    maker = posed([0])
    op = UsdGeom.Xformable(maker.stage.GetPrimAtPath("/Crew")).AddTranslateXOp()
    spline = ts.Spline("double")
    for code, value in ((0.0, 0.0), (12.0, 2.0), (20.0, -1.0)):
        knot = ts.Knot(typeName="double", time=code, value=value, nextInterp=ts.InterpCurve)
        knot.SetPreTanWidth(3.0)
        knot.SetPostTanWidth(3.0)
        spline.SetKnot(knot)
    op.GetAttr().SetSpline(spline)
    file, clip = read_one(maker, tmp_path)
    assert furthest_mm(file, clip) < NEAR_MM
    assert clip.duration_s * 24 == pytest.approx(20.0)
    assert clip.sample_rate_hz == 48.0


def test_many_frames(tmp_path: Path) -> None:
    frames = 20_000
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0, timeCodesPerSecond=120.0)
    maker.root()
    maker.skeleton()
    maker.animation()
    attribute = UsdSkel.Animation(maker.stage.GetPrimAtPath("/Crew/Anim")).GetTranslationsAttr()
    moved = np.array(OFFSETS, dtype="f")
    for code in range(frames):
        moved[0, 0] = code / frames
        attribute.Set(Vt.Vec3fArray.FromNumpy(moved), Usd.TimeCode(code))
    file = maker.save(tmp_path / "long.usdc")
    clip = read_usd(file, OPTIONS).clips[0]
    assert clip.frames == frames
    assert np.allclose(clip.translations[0, 0], np.arange(frames) / frames)
    with pytest.raises(AssetError, match="20000 frames"):
        read_usd(file, ReadOptions(max_frames=10_000))
