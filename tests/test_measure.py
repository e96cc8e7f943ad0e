"""`kinelint measure` on the example, held to the truth table of the script that made it.

The script knows nothing of kinelint: sizes come from its own geometry.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from kinelint import registry
from kinelint.engine.one import one_clip
from kinelint.measure import CAUTION, NO_PARTS, Table, tables
from kinelint.policy import load_policy
from kinelint.synthetic import standing
from real_data import real

EXAMPLE = Path(__file__).resolve().parent.parent / "example_project"
DEFECTS = tomllib.loads((EXAMPLE / "truth.toml").read_text(encoding="utf-8"))["defect"]


def measured(asset: Path, clip: str = "") -> dict[str, Table]:
    found = one_clip(asset, clip, load_policy(EXAMPLE / "kinelint.toml", registry.load()))
    assert found.motion is not None
    return {table.title: table for table in tables(found.motion)}


def planted(rule: str) -> tuple[dict[str, Table], dict]:
    [defect, *_] = [one for one in DEFECTS if one["rule"] == rule]
    asset, _, clip = defect["clip"].partition("#")
    return measured(EXAMPLE / asset, clip), defect


def row(table: Table, name: str) -> tuple:
    [found] = [one for one in table.rows if one[0] == name]
    return found


def test_a_slide_is_told_for_each_plant():
    told, defect = planted("foot-slide")
    strays = [one[2] for one in told["Planted feet"].rows if one[0] == "left foot"]
    assert max(strays) == pytest.approx(defect["measured"], rel=0.1)
    others = [one[2] for one in told["Planted feet"].rows if one[0] == "right foot"]
    assert max(others) < 1.0


def test_the_depth_of_a_sole_is_told():
    told, defect = planted("ground-contact")
    lowest = min(one[1] for one in told["Soles over the ground"].rows if one[0].startswith("right"))
    assert -lowest == pytest.approx(defect["measured"], rel=0.1)


def test_an_overlap_is_told():
    told, defect = planted("penetration")
    depth = row(told["Overlaps of the body"], "left hand in left thigh")[1]
    assert depth == pytest.approx(defect["measured"], rel=0.1)


def test_a_seam_is_told_in_place_turn_and_velocity():
    told, defect = planted("loop-seam")
    table = told["Last frame against first"]
    assert table.header[1:] == ("mm", "deg", "mm/s apart")
    assert max(one[2] for one in table.rows) == pytest.approx(defect["measured"], rel=0.1)


def test_a_stretch_and_an_angle_are_told():
    told, defect = planted("limb-stretch")
    _, mean, least, most = row(told["Segment lengths"], "right upper arm to right forearm")
    spreads = [100 * (one[3] / one[2] - 1) for one in told["Segment lengths"].rows if one[2]]
    assert max(spreads) == pytest.approx(defect["measured"], rel=0.1)
    assert least <= mean <= most
    told, defect = planted("joint-limit")
    assert -row(told["Joint angles"], "left knee flexion")[2] == pytest.approx(
        defect["measured"], rel=0.1
    )


def test_joint_angles_carry_the_usual_caution():
    [angles] = [one for one in tables(standing()) if one.title == "Joint angles"]
    assert angles.said[-1] == CAUTION


def test_a_skeleton_without_a_body_says_so():
    told = measured(real("gltf/Fox.glb"), "Walk")
    for title in ("Segment lengths", "Heights and speeds", "Last frame against first"):
        assert told[title].said == (NO_PARTS,)
