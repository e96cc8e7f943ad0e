"""clip-form: every demand at its limit, times of real files by pygltflib, a run by a policy."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pygltflib
import pytest
from pydantic import ValidationError
from scipy.spatial.transform import Rotation

from ferry_tree import bvh, write
from kinelint.clip import Source
from kinelint.cue import Cue
from kinelint.engine import run
from kinelint.errors import NotApplicable, PolicyError
from kinelint.finding import Level
from kinelint.motion import FileFacts
from kinelint.policy import load_policy
from kinelint.readers import read
from kinelint.registry import load
from kinelint.synthetic import motion
from kinelint.testing import check_rule
from kinelint_rules.files.clip_form import ClipForm, ClipFormSettings
from readers.gltf_maker import GltfMaker
from real_data import real


def said(made, **settings):
    return list(ClipForm.check(made, ClipFormSettings(**settings)))


def changed(made, **changes):
    return replace(made, clip=replace(made.clip, **changes), _derived={})


def test_it_keeps_its_promises():
    check_rule(ClipForm)


@pytest.mark.parametrize("rate_hz", [24.0, 29.97, 30.0, 60.0])
def test_rates(rate_hz):
    made = motion(frames=10, sample_rate_hz=rate_hz)
    found = said(made, rates_hz=[30.0, 60.0])
    assert [one.detail for one in found] == (["rate"] if rate_hz < 30.0 else [])
    for one in found:
        assert one.limit == 30.0


@pytest.mark.parametrize(("frames", "detail"), [(15, 1), (16, 0), (61, 0), (62, 1)])
def test_lengths_to_the_frame(frames, detail):
    # 15 steps at 30 Hz are half a second, 60 are two.
    made = motion(frames=frames, sample_rate_hz=30.0)
    assert len(said(made, least_s=0.5, most_s=2.0)) == detail


def test_a_reference_pose_that_was_cut_off_counts_for_the_length():
    made = motion(frames=31, sample_rate_hz=30.0)
    cut = replace(made, clip=made.clip.cut(1, 30), _derived={})
    assert said(cut, least_s=1.0, starts_at_zero=True) == []


@pytest.mark.parametrize(
    ("pattern", "name", "fits"),
    [
        ("{class}_{name}_{number}", "idle_look_around_02", True),
        ("{class}_{name}_{number}", "walk_look_around_02", False),
        ("{class}_{name}_{number}", "idle_look_around", False),
        ("{class}/{stage}.{number}", "idle/final.7", True),
        ("{class}/{stage}.{number}", "idle/finalx7", False),
        ("{any}_v{number}", "wave_v12", True),
        ("{any}_v{number}", "wave_v", False),
        ("a+b", "a+b", True),
        ("a+b", "aab", False),
    ],
)
def test_names(pattern, name, fits):
    made = replace(motion(frames=5, name=name), cue=Cue(class_name="idle", stage="final"))
    assert (said(made, name_pattern=pattern) == []) is fits


def test_a_class_that_the_sheet_does_not_give_may_be_any_word():
    assert said(motion(frames=5, name="deck_1"), name_pattern="{class}_{number}") == []


@pytest.mark.parametrize("name", ["haul_01", "Haul_01", "haul_1", "haul_01_final"])
def test_a_regular_expression_means_what_it_means_to_python(name):
    regex = "[a-z]+_[0-9]{2}"
    found = said(motion(frames=5, name=name), name_regex=regex)
    assert bool(found) is (re.fullmatch(regex, name) is None)


@pytest.mark.parametrize("said_of", [{"name_regex": "(["}, {"name_pattern": "{clas}_{number}"}])
def test_a_wrong_pattern_is_refused_with_its_line(said_of, tmp_path):
    with pytest.raises(ValidationError):
        ClipFormSettings(**said_of)
    [(key, value)] = said_of.items()
    policy = tmp_path / "kinelint.toml"
    policy.write_text(f"[rules.clip-form]\n{key} = '{value}'\n", encoding="utf-8")
    with pytest.raises(PolicyError, match="line 2"):
        load_policy(policy, load())


@pytest.mark.parametrize(("off_mm", "finds"), [(9.0, 0), (11.0, 1), (300.0, 1)])
def test_place_on_the_floor_at_the_first_frame(off_mm, finds):
    place = np.array([0.6, 5.0, -0.8]) * off_mm / 1000.0  # height does not count
    made = motion(frames=5, shifts_m={"pelvis": place})
    found = said(made, root_from_origin_mm=10.0)
    assert len(found) == finds
    for one in found:
        assert one.measured == pytest.approx(off_mm, abs=1e-6)


@pytest.mark.parametrize("turn_deg", [-170.0, -20.0, 4.0, 90.0, 200.0])
def test_turn_about_the_vertical_as_scipy_has_it(turn_deg):
    turns = {"pelvis": [("Y", turn_deg), ("X", 15.0)]}
    found = said(motion(frames=5, turns=turns), root_turned_deg=5.0)
    # Of a turn about Y and then a lean, SciPy's first Euler angle is the turn.
    yaw = Rotation.from_euler("YXZ", [turn_deg, 15.0, 0.0], degrees=True).as_euler(
        "YXZ", degrees=True
    )[0]
    assert len(found) == (abs(yaw) > 5.0)
    for one in found:
        assert one.measured == pytest.approx(abs(yaw), abs=0.5)


def test_a_start_before_zero_is_against_the_standard_only_in_gltf():
    made = changed(motion(frames=5), start_s=-0.5)
    with pytest.raises(NotApplicable):
        said(made)
    in_gltf = changed(made, source=Source("glb", True))
    [found] = said(in_gltf)
    assert (found.level, found.detail) == (Level.ERROR, "before zero")
    assert said(changed(in_gltf, start_s=0.5)) == []
    [late] = said(changed(in_gltf, start_s=0.5), starts_at_zero=True)
    assert late.measured == pytest.approx(0.5)


@pytest.mark.parametrize(("times", "finds"), [([0, 0.1, 0.2, 0.3], 1), (None, 0)])
def test_baked_keys(times, finds, tmp_path):
    keys = np.arange(10) / 30.0 if times is None else np.array(times)
    maker = GltfMaker()
    nodes = maker.chain("root", "arm")
    turned = Rotation.from_euler("X", 5.0 * np.arange(len(keys))[:, None], degrees=True)
    maker.animation("wave", (nodes[1], "rotation", keys, turned.as_quat()))
    [clip] = read(maker.gltf(tmp_path / "wave.gltf")).clips
    made = replace(motion(frames=5), clip=clip, _derived={})
    assert len(said(made, every_frame=True)) == finds
    # A BVH file stores every frame.
    assert said(motion(frames=5), every_frame=True) == []


def test_real_keys_are_counted_as_pygltflib_counts_them():
    path = real("gltf/CesiumMan.glb")
    tree = pygltflib.GLTF2().load_binary(str(path))
    inputs = {one.input for one in tree.animations[0].samplers}
    counts = {tree.accessors[one].count for one in inputs}
    first = min(tree.accessors[one].min[0] for one in inputs)
    [clip] = read(path).clips
    made = replace(motion(frames=5), clip=clip, _derived={})
    [start] = said(made, starts_at_zero=True) or [None]
    assert (start is not None) == (first > 1e-4)
    found = [one for one in said(made, every_frame=True) if one.detail == "keys"]
    assert bool(found) is (max(counts) < clip.frames)


def test_size_on_disk_by_second():
    made = replace(motion(frames=121, sample_rate_hz=60.0), file=FileFacts("a.bvh", 90_000, 1))
    assert said(made, most_kb_per_s=46.0) == []
    [found] = said(made, most_kb_per_s=40.0)
    assert found.measured == pytest.approx(45.0)
    shared = replace(made, file=FileFacts("a.glb", 90_000, 3))
    assert said(shared, most_kb_per_s=40.0) == []


def test_a_policy_asks_by_class_and_level(tmp_path):
    write(tmp_path, deck__idle_01=bvh(frames=20), deck__Idle=bvh(frames=20))
    policy = tmp_path / "kinelint.toml"
    policy.write_text(
        '[rules.clip-form]\nlevel = "error"\nname_pattern = "{name}_{number}"\n', encoding="utf-8"
    )
    rules = {"clip-form": load()["clip-form"]}
    report = run([tmp_path], load_policy(policy, rules), workers=0)
    levels = {
        one.path: [found.level for found in one.clips[0].results[0].findings]
        for one in report.assets
    }
    assert levels == {"deck/Idle.bvh": [Level.ERROR], "deck/idle_01.bvh": []}
