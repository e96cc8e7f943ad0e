"""A BVH clip carried into FBX reads back as the same motion and gets the same findings."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from accuracy.bvh_out import write_bvh
from kinelint import registry, synthetic
from kinelint.clip import Clip
from kinelint.engine import run
from kinelint.motion import world
from kinelint.policy import Policy, PolicyTable
from kinelint.readers import read
from kinelint.report import Located, Outcome, Report
from kinelint.synthetic_walk import walk
from readers.fbx_writer import TIME_MODES, Axes, Scene
from readers.fbx_writer_checks import WITHIN_M, needs_fbx, positions_m
from readers.fbx_writer_clip import scene_of
from real_data import real

pytestmark = needs_fbx
# How far apart one measurement may be in two files of the same motion: the BVH has six digits
# behind the point, FBX keys single precision, and a rule's own grid of search adds to that.
MEASURED_APART = 0.02
# Real takes and metres of their unit, as their catalogue has them.
REAL = [
    ("cmu_02_01_walk", 0.05644),
    ("cmu_14_14_jumping_jacks_30fps", 0.05644),
    ("cmu_10_03_soccer_43j", 0.01),
    ("accad_male1_b3_walk", 0.01),
    ("accad_male1_a5_pickupbox", 0.01),
    ("accad_male2_c3_run", 0.01),
    ("accad_martialarts_male2_subject_cal_2", 0.01),
    ("mh_zombiewalk_loop_75j", 0.1),
]


def spoilt_walk() -> Clip:
    """A walk with a foot that sinks, an arm in the body and an elbow bent back."""
    frames = 181
    sink = synthetic.bump(frames, 125, 150)
    clip = walk(
        seconds=3.0,
        sample_rate_hz=60.0,
        shifts_m={"left": np.outer([0.0, -0.09, 0.0], sink)},
    ).clip
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
    return dataclasses.replace(clip, rotations=turned)


def scaled(clip: Clip, factor: float) -> Clip:
    """The same motion in another unit of length."""
    skeleton = dataclasses.replace(
        clip.skeleton, rest_translations=clip.skeleton.rest_translations * factor
    )
    return dataclasses.replace(clip, skeleton=skeleton, translations=clip.translations * factor)


def carried(bvh: Clip, unit_cm: float, folder: Path, version: int, ascii_text: bool) -> Clip:
    (clip,) = read(written(bvh, unit_cm, folder, version, ascii_text)).clips
    return clip


def written(
    bvh: Clip, unit_cm: float, folder: Path, version: int = 7400, text: bool = True
) -> Path:
    """The clip as FBX. A rate that the format does not list is its custom one."""
    rate = round(bvh.sample_rate_hz, 3)
    scene: Scene = scene_of(bvh, unit_cm=unit_cm, time_mode=TIME_MODES.get(rate, 14))
    scene.custom_hz = -1.0 if rate in TIME_MODES else bvh.sample_rate_hz
    return scene.write(folder / "clip.fbx", version, ascii_text=text)


def assert_same_motion(bvh: Clip, fbx: Clip, metres_per_unit: float) -> None:
    assert fbx.frames == bvh.frames
    assert fbx.sample_rate_hz == pytest.approx(bvh.sample_rate_hz, rel=1e-4)
    assert fbx.skeleton.names == bvh.skeleton.names
    assert fbx.skeleton.parents.tolist() == bvh.skeleton.parents.tolist()
    apart = np.abs(positions_m(fbx) - world(bvh)[0] * metres_per_unit)
    assert apart.max() < WITHIN_M, f"{apart.max() * 1000:.3f} mm"


@pytest.mark.parametrize(
    ("version", "text"), [(7400, True), (6100, True), (7700, False), (6100, False)]
)
@pytest.mark.parametrize(("factor", "unit_cm"), [(1.0, 100.0), (100.0, 1.0), (1 / 0.0254, 2.54)])
def test_a_made_walk_reads_back_the_same(
    factor: float, unit_cm: float, version: int, text: bool, tmp_path: Path
) -> None:
    write_bvh(tmp_path / "clip.bvh", scaled(spoilt_walk(), factor))
    (bvh,) = read(tmp_path / "clip.bvh").clips
    assert_same_motion(bvh, carried(bvh, unit_cm, tmp_path, version, text), unit_cm / 100.0)


@pytest.mark.parametrize(("name", "metres_per_unit"), REAL)
def test_a_real_walk_reads_back_the_same(name: str, metres_per_unit: float, tmp_path: Path) -> None:
    (bvh,) = read(real(f"bvh/{name}.bvh")).clips
    fbx = carried(bvh, metres_per_unit * 100.0, tmp_path, 7400, True)
    assert_same_motion(bvh, fbx, metres_per_unit)


# What these say is of how a format stores a motion, not of the motion.
OF_STORAGE = ("clip-form", "wrap-flip")


def judged(path: Path, metres_per_unit: float) -> Report:
    """By every rule at its defaults, told the unit and up axis, which BVH does not say.

    Nor does the FBX here say its axes: a format that does so places its rest pose on a floor.
    """
    told = {"metres_per_unit": metres_per_unit, "up_axis": "y"}
    table = PolicyTable.model_validate(told)
    rules = {name: one for name, one in registry.load().items() if name not in OF_STORAGE}
    return run([path], Policy(table, rules), workers=0)


def findings(report: Report) -> list[Located]:
    """All of them, in an order that the file's format does not change."""
    assert not report.all_troubles()
    (asset,) = report.assets
    (clip,) = asset.clips
    assert all(one.outcome is not Outcome.CRASHED for one in clip.results)
    found = [finding for result in clip.results for finding in result.findings]
    return sorted(found, key=lambda one: (one.rule_id, one.parts, one.detail, one.first))


def assert_same_findings(bvh: Report, fbx: Report) -> None:
    there, here = findings(bvh), findings(fbx)

    def place(one: Located) -> tuple[object, ...]:
        return (one.rule_id, one.level, one.parts, one.detail, one.first, one.last)

    assert [place(one) for one in here] == [place(one) for one in there]
    for one, other in zip(here, there, strict=True):
        assert one.measured == pytest.approx(other.measured, rel=MEASURED_APART), one.message
        assert one.limit == pytest.approx(other.limit, rel=MEASURED_APART)
    outcomes = [
        [(one.rule_id, one.outcome) for one in report.assets[0].clips[0].results]
        for report in (bvh, fbx)
    ]
    assert outcomes[0] == outcomes[1]


def test_a_made_walk_gets_the_same_findings(tmp_path: Path) -> None:
    write_bvh(tmp_path / "clip.bvh", scaled(spoilt_walk(), 100.0))
    (bvh,) = read(tmp_path / "clip.bvh").clips
    there = judged(tmp_path / "clip.bvh", 0.01)
    # The comparison is worth nothing without findings of several rules.
    assert len({one.rule_id for one in findings(there)}) >= 3
    assert_same_findings(there, judged(written(bvh, 1.0, tmp_path), 0.01))


@pytest.mark.parametrize(("name", "metres_per_unit"), REAL)
def test_a_real_walk_gets_the_same_findings(
    name: str, metres_per_unit: float, tmp_path: Path
) -> None:
    path = real(f"bvh/{name}.bvh")
    (bvh,) = read(path).clips
    carried_over = written(bvh, metres_per_unit * 100.0, tmp_path)
    assert_same_findings(judged(path, metres_per_unit), judged(carried_over, metres_per_unit))


@pytest.mark.parametrize("name", ["a2_sway", "a5_pickupbox", "b22_sidestepleft"])
def test_a_take_without_a_bind_pose_places_no_floor_by_its_first_frame(
    name: str, tmp_path: Path
) -> None:
    """The rest pose of such a file is where the take happens to begin, feet off the floor."""
    (bvh,) = read(real(f"bvh/accad_male1_{name}.bvh")).clips
    scene = scene_of(bvh, unit_cm=1.0, time_mode=TIME_MODES[30.0], axes=Axes())
    report = judged(scene.write(tmp_path / "clip.fbx", 7400, ascii_text=True), 0.01)
    said = [one.message for one in findings(report) if one.rule_id == "ground-contact"]
    assert not [text for text in said if "whole clip" in text]
