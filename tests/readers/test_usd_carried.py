"""A clip carried into USD reads back as the same motion and gets the same findings."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

pytest.importorskip("pxr", reason="usd-core is not installed")

from accuracy.bvh_out import write_bvh
from kinelint import registry, synthetic
from kinelint.assemble import figure_of
from kinelint.clip import Asset, Clip
from kinelint.engine import run
from kinelint.motion import world
from kinelint.policy import Policy, PolicyTable
from kinelint.readers import read
from kinelint.report import Located, Outcome, Report
from kinelint.synthetic_walk import walk
from readers.usd_carried import carried
from readers.usd_oracle import furthest_mm
from real_data import real

NEAR_M = 1e-4
# How far apart one measurement may be in two files of the same motion: BVH has six digits behind
# the point, USD keeps single precision, and a rule's own grid of search adds to that.
MEASURED_APART = 0.02
# Real walks: metres of their unit, as the catalogue says.
REAL = [("cmu_02_01_walk", 0.05644), ("accad_male1_b3_walk", 0.01)]
BODY = Path(__file__).resolve().parents[2] / "example_project" / "crew_body.glb"


def spoilt_walk() -> Clip:
    """A walk with a foot that sinks, an arm in the body and an elbow bent back, centimetres."""
    frames = 181
    sink = synthetic.bump(frames, 125, 150)
    shifts = {"left": np.outer([0.0, -0.09, 0.0], sink)}
    clip = walk(seconds=3.0, sample_rate_hz=60.0, shifts_m=shifts).clip
    bent = -70.0 * synthetic.bump(frames, 10, 60) + 35.0 * synthetic.bump(frames, 80, 120)
    turns = {
        "left_forearm": [("X", bent)],
        "right_upper_arm": [("Z", 16.0 * synthetic.bump(frames, 30, 90))],
    }
    extra = synthetic.clip(frames=frames, turns=turns, stature_m=1.75)
    turned = np.array(clip.rotations)
    for part in turns:
        joint = clip.skeleton.names.index(part)
        turned[joint] = extra.rotations[joint]
    rest = dataclasses.replace(
        clip.skeleton, rest_translations=clip.skeleton.rest_translations * 100.0
    )
    return dataclasses.replace(
        clip, skeleton=rest, rotations=turned, translations=clip.translations * 100.0
    )


@pytest.fixture(scope="module")
def walk_bvh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("walk") / "clip.bvh"
    write_bvh(file, spoilt_walk())
    return file


def assert_same_motion(bvh: Clip, usd: Clip, metres_per_unit: float) -> None:
    assert usd.frames == bvh.frames
    assert usd.sample_rate_hz == pytest.approx(bvh.sample_rate_hz, rel=1e-6)
    assert usd.metres_per_unit == metres_per_unit
    assert usd.skeleton.parents.tolist() == bvh.skeleton.parents.tolist()
    apart = np.linalg.norm(world(usd)[0] - world(bvh)[0], axis=1) * metres_per_unit
    assert apart.max() < NEAR_M, f"{apart.max() * 1000:.3f} mm"


def test_a_made_walk_reads_back_the_same(walk_bvh: Path, tmp_path: Path) -> None:
    (bvh,) = read(walk_bvh).clips
    (usd,) = read(carried(bvh, 0.01).save(tmp_path / "clip.usdc")).clips
    assert_same_motion(bvh, usd, 0.01)


@pytest.mark.parametrize(("name", "metres_per_unit"), REAL)
def test_a_real_walk_reads_back_the_same(name: str, metres_per_unit: float, tmp_path: Path) -> None:
    (bvh,) = read(real(f"bvh/{name}.bvh")).clips
    (usd,) = read(carried(bvh, metres_per_unit).save(tmp_path / "clip.usdc")).clips
    assert_same_motion(bvh, usd, metres_per_unit)


@pytest.mark.parametrize(
    "name", ["bvh/fair1_dab_zup.bvh", "bvh/accad_male2_c3_run.bvh", "gltf/CesiumMan.glb"]
)
def test_real_clips_stand_where_usdskel_has_them(name: str, tmp_path: Path) -> None:
    clip = read(real(name)).clips[0]
    file = carried(clip, 0.01 if name.startswith("bvh") else 1.0).save(tmp_path / "clip.usdc")
    assert furthest_mm(file, read(file).clips[0]) < NEAR_M * 1000.0


def judged(path: Path, metres_per_unit: float) -> Report:
    """By every rule at its defaults, told the BVH's unit, which USD says itself."""
    table = PolicyTable.model_validate({"metres_per_unit": metres_per_unit, "up_axis": "y"})
    # What wrap-flip and clip-form say is of how a format stores a motion, not of the motion.
    rules = {
        name: one for name, one in registry.load().items() if name not in ("clip-form", "wrap-flip")
    }
    return run([path], Policy(table, rules), workers=0)


def findings(report: Report) -> list[Located]:
    assert not report.all_troubles()
    results = report.assets[0].clips[0].results
    assert all(one.outcome is not Outcome.CRASHED for one in results)
    found = [finding for result in results for finding in result.findings]
    return sorted(found, key=lambda one: (one.rule_id, one.parts, one.detail, one.first))


def assert_same_findings(bvh: Report, usd: Report) -> None:
    def place(one: Located) -> tuple[object, ...]:
        return (one.rule_id, one.level, one.parts, one.detail, one.first, one.last)

    there, here = findings(bvh), findings(usd)
    assert [place(one) for one in here] == [place(one) for one in there]
    for one, other in zip(here, there, strict=True):
        assert one.measured == pytest.approx(other.measured, rel=MEASURED_APART), one.message
    outcomes = [
        [(one.rule_id, one.outcome) for one in report.assets[0].clips[0].results]
        for report in (bvh, usd)
    ]
    assert outcomes[0] == outcomes[1]


def test_a_made_walk_gets_the_same_findings(walk_bvh: Path, tmp_path: Path) -> None:
    (bvh,) = read(walk_bvh).clips
    there = judged(walk_bvh, 0.01)
    # The comparison is worth nothing without findings of several rules.
    assert len({one.rule_id for one in findings(there)}) >= 3
    assert_same_findings(there, judged(carried(bvh, 0.01).save(tmp_path / "clip.usda"), 0.01))


@pytest.mark.parametrize(("name", "metres_per_unit"), REAL)
def test_a_real_walk_gets_the_same_findings(
    name: str, metres_per_unit: float, tmp_path: Path
) -> None:
    file = real(f"bvh/{name}.bvh")
    (bvh,) = read(file).clips
    usd = carried(bvh, metres_per_unit).save(tmp_path / "clip.usdc")
    assert_same_findings(judged(file, metres_per_unit), judged(usd, metres_per_unit))


def test_a_humanoid_with_a_skin_gets_the_same_body(tmp_path: Path) -> None:
    gltf = read(BODY)
    still = standing(gltf)
    file = carried(still, 1.0, gltf.skins).save(tmp_path / "body.usdz")
    usd = read(file)
    assert len(usd.skins) == len(gltf.skins)
    for one, other in zip(usd.skins, gltf.skins, strict=True):
        assert np.allclose(one.vertices, other.vertices, atol=1e-5)
        assert np.array_equal(one.triangles, other.triangles)
        bound = np.isfinite(other.bind_positions[:, 0])
        assert np.allclose(one.bind_positions[bound], other.bind_positions[bound], atol=1e-5)
    bodies = [
        figure_of([clip], skins=asset.skins).body
        for clip, asset in ((still, gltf), (usd.clips[0], usd))
    ]
    one, other = bodies
    assert one is not None
    assert other is not None
    assert one.parts == other.parts
    assert "skin" in one.radii_from.values()
    assert one.radii_from == other.radii_from
    assert np.allclose(one.capsules.radii_m, other.capsules.radii_m, atol=1e-4)
    assert np.allclose(one.capsules.offsets_m, other.capsules.offsets_m, atol=1e-4)
    assert one.soles_m.keys() == other.soles_m.keys()


def standing(asset: Asset) -> Clip:
    """A second of the asset's rest pose."""
    if asset.clips:
        return asset.clips[0]
    assert asset.skeleton is not None
    turned = np.repeat(asset.skeleton.rest_rotations[..., None], 31, axis=-1)
    clip = synthetic.clip(frames=31)
    none = np.empty(0, dtype=np.intp)
    return dataclasses.replace(
        clip,
        skeleton=asset.skeleton,
        sample_rate_hz=30.0,
        rotations=turned,
        translated=none,
        translations=np.empty((0, 3, 31)),
        metres_per_unit=1.0,
        up_axis="y",
    )
