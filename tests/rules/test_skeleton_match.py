"""skeleton-match: made skeletons, a run by a policy, pygltflib's nodes, seeds in real files."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pygltflib
import pytest
from scipy.spatial.transform import Rotation

from accuracy.seed_files import offsets_of, with_offset
from ferry_tree import bvh, write
from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.figure import Figure
from kinelint.clip import Skeleton
from kinelint.engine import run
from kinelint.errors import NotApplicable
from kinelint.finding import Level, Note, Unjudged
from kinelint.motion import Motion
from kinelint.policy import load_policy
from kinelint.readers import read
from kinelint.registry import load
from kinelint.synthetic import motion, person
from kinelint.testing import check_rule
from kinelint_rules.files.skeleton_match import SkeletonMatch, SkeletonMatchSettings
from real_data import folder, real


def said(made, **settings):
    return list(SkeletonMatch.check(made, SkeletonMatchSettings(**settings)))


def held(made: Motion, reference: Skeleton, unit: float | None = 1.0) -> Motion:
    figure = replace(made.figure, reference=reference, reference_metres_per_unit=unit)
    return replace(made, figure=figure, _derived={})


def details(found):
    return [(one.detail, str(one.level)) for one in found]


def test_it_keeps_its_promises():
    check_rule(SkeletonMatch)


@pytest.mark.parametrize("unit", [1.0, None])
def test_a_reference_in_centimetres_is_the_same_skeleton(unit):
    big = replace(person(), rest_translations=100.0 * person().rest_translations)
    assert said(held(motion(frames=3), big, unit and 0.01)) == []


def test_a_skeleton_a_hundred_times_too_large_is_told():
    big = replace(person(), rest_translations=0.01 * person().rest_translations)
    [found] = said(held(motion(frames=3), big))
    assert found.detail == "size"
    assert "100 times as large" in found.message


def test_namespaces_and_order_of_joints_do_not_matter():
    skeleton = person()
    order = [0, *range(len(skeleton) - 1, 0, -1)]
    # Parents must come before children: shuffle by depth.
    depth = [skeleton.path(one).count("/") for one in range(len(skeleton))]
    order = sorted(order, key=lambda one: depth[one])
    place = {old: new for new, old in enumerate(order)}
    parents = [place.get(int(skeleton.parents[old]), -1) for old in order]
    other = Skeleton(
        tuple(f"ship:{skeleton.names[old]}" for old in order),
        np.array(parents),
        skeleton.rest_translations[order],
        tips=skeleton.tips[order],
    )
    assert said(held(motion(frames=3), other)) == []


def test_a_rename_is_told_from_a_missing_and_an_extra_joint():
    names = tuple(name.replace("left_shank", "calf_l") for name in person().names)
    found = said(held(motion(frames=3), replace(person(), names=names)))
    assert details(found) == [("renamed", "error")]
    assert "left_shank is calf_l there" in found[0].message


def test_another_parent_is_told():
    skeleton = person()
    parents = skeleton.parents.copy()
    head, thorax = skeleton.names.index("head"), skeleton.names.index("thorax")
    offsets = skeleton.rest_translations.copy()
    parents[head] = thorax
    offsets[head] += skeleton.rest_translations[skeleton.names.index("neck")]
    other = replace(skeleton, parents=parents, rest_translations=offsets)
    found = said(held(motion(frames=3), other))
    assert ("parent", "error") in details(found)
    [hung] = [one for one in found if one.detail == "parent"]
    assert "head hangs from neck, not from thorax" in hung.message


@pytest.mark.parametrize("turn_deg", [1.0, 3.0, 40.0])
def test_a_turned_rest_is_measured_as_scipy_does(turn_deg):
    skeleton = person()
    joint = skeleton.names.index("right_forearm")
    turn = Rotation.from_rotvec(np.radians(turn_deg) * np.array([0.6, 0.0, 0.8]))
    rest = skeleton.rest_rotations.copy()
    rest[joint] = turn.as_quat()[[3, 0, 1, 2]]
    found = said(held(motion(frames=3), replace(skeleton, rest_rotations=rest)))
    assert len(found) == (turn_deg > 2.0)
    for one in found:
        assert (one.detail, one.parts) == ("rest", ("right_forearm",))
        assert one.measured == pytest.approx(np.degrees(turn.magnitude()), abs=1e-6)


def test_a_bone_that_points_elsewhere_keeps_its_length_and_is_told_as_turned():
    skeleton = person()
    joint = skeleton.names.index("left_hand")
    offsets = skeleton.rest_translations.copy()
    offsets[joint] = Rotation.from_euler("Z", 25.0, degrees=True).apply(offsets[joint])
    [found] = said(held(motion(frames=3), replace(skeleton, rest_translations=offsets)))
    assert (found.detail, found.measured) == ("rest", pytest.approx(25.0, abs=1e-6))


def test_allowed_joints_are_passed_over():
    made = motion(frames=3, fingers=True)
    found = said(held(made, person()))
    assert details(found) == [("extra", "warning")]
    fingers = ["*_index_*", "*_middle_*", "*_ring_*", "*_little_*", "*_thumb_*"]
    assert said(held(made, person()), may_add=fingers) == []
    found = said(held(motion(frames=3), person(fingers=True)))
    assert details(found) == [("missing", "error")]
    assert said(held(motion(frames=3), person(fingers=True)), may_lack=fingers) == []


def test_another_skeleton_is_one_finding():
    skeleton = person()
    names = tuple(f"bone{i}" for i in range(len(skeleton)))
    other = replace(skeleton, names=names, rest_translations=skeleton.rest_translations[::-1])
    [found] = said(held(motion(frames=3), other))
    assert found.detail == "other"


def test_what_needs_no_reference_is_judged_without_one():
    made = motion(frames=5)
    clip = replace(
        made.clip,
        scaled=np.array([4]),
        scales=np.broadcast_to(np.linspace(1.0, 1.2, 5), (1, 3, 5)),
        notes=(Note("rotations", "2 rotation channels hold quaternions that are not of length 1"),),
    )
    found = said(replace(made, clip=clip, _derived={}))
    assert [one.detail for one in found if not isinstance(one, Unjudged)] == ["unit", "scale"]
    assert isinstance(found[-1], Unjudged)
    scale = found[1]
    assert (scale.measured, scale.level) == (pytest.approx(20.0), Level.NOTE)
    with pytest.raises(NotApplicable, match="names no reference"):
        said(made)


def test_joints_that_must_rest():
    made = motion(frames=9, turns={"left_toes": [("X", np.linspace(0.0, 12.0, 9))]})
    held_to = held(made, person())
    [found] = said(held_to, must_rest=["left_toes"])
    assert (found.detail, found.measured) == ("rest keys", pytest.approx(12.0))
    assert found.worst_frame == 8
    assert said(held_to, must_rest=["right_toes"]) == []


def test_the_policy_names_the_reference(tmp_path):
    tree = tmp_path / "game"
    tree.mkdir()
    text = bvh([0.98] * 5)
    line, offset, _ = offsets_of(text)[1]
    write(tree, good=text, bad=with_offset(text, line, offset + np.array([0.0, 0.0, 0.05])))
    policy = tree / "kinelint.toml"
    policy.write_text('[[skeleton]]\nassets = ["**"]\nreference = "good.bvh"\n', encoding="utf-8")
    rules = {"skeleton-match": load()["skeleton-match"]}
    report = run([tree], load_policy(policy, rules), workers=0)
    by_path = {one.path: one.clips[0].results[0] for one in report.assets}
    assert not by_path["good.bvh"].findings
    assert by_path["good.bvh"].outcome == "passed"
    [found] = by_path["bad.bvh"].findings
    assert (found.detail, found.parts) == ("offset", ("abdomen",))
    # No unit is said, so it is that of the figure: 50 mm to within a few.
    assert found.measured == pytest.approx(50.0, rel=0.1)


def test_a_node_that_pygltflib_moves_is_found_by_as_much(tmp_path):
    path = real("gltf/Fox.glb")
    tree = pygltflib.GLTF2().load_binary(str(path))
    skin = tree.skins[0].joints
    node = next(one for one in skin if tree.nodes[one].name == "b_RightHand_08")
    old = np.array(tree.nodes[node].translation, dtype=float)
    tree.nodes[node].translation = [*(old * 1.5)]
    tree.save_binary(str(tmp_path / "moved.glb"))
    reference = read(path).clips[0].skeleton
    clip = read(tmp_path / "moved.glb").clips[0]
    clip = replace(clip, translated=np.empty(0, dtype=np.intp), translations=np.empty((0, 3, 0)))
    found = said(held(Motion(clip, Figure(Anatomy(()))), reference))
    [off] = [one for one in found if one.detail == "offset"]
    assert off.measured == pytest.approx(1000.0 * np.linalg.norm(0.5 * old), rel=1e-5)
    assert "b_RightHand_08 rests" in off.message


def test_joints_without_names_are_paired_by_their_place():
    path = real("gltf/RiggedFigure.glb")
    assert {node.name for node in pygltflib.GLTF2().load_binary(str(path)).nodes} == {None}
    clip = read(path).clips[0]
    assert said(held(Motion(clip, Figure(Anatomy(()))), clip.skeleton)) == []


FACTORS = (0.5, 0.9, 1.25, 2.0, 4.0)


def test_seeds_in_real_skeletons(tmp_path):
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    hits = dict.fromkeys(FACTORS, 0)
    seeds, off, extra = 0, [], 0
    for path in sorted((folder() / "bvh").glob("*.bvh"))[::2]:
        text = path.read_text(encoding="latin-1")
        head = text[: text.upper().index("MOTION")]
        short = head + "MOTION\nFrames: 1\nFrame Time: 0.0333333\n" + _first_frame(text)
        reference = _read(tmp_path, short)
        lengths = np.linalg.norm(reference.skeleton.rest_translations, axis=1)
        # As if the figure were 1.75 m tall: about 8 lengths of its longest bone, no matter which.
        unit = 0.45 / lengths[reference.skeleton.parents >= 0].max()
        chance = np.random.default_rng(len(text))
        rows = [
            row for row in offsets_of(short)[1:] if np.linalg.norm(row[1]) * unit > 0.02 and row[2]
        ]
        for line, offset, _ in (rows[i] for i in chance.choice(len(rows), 4, replace=False)):
            seeds += 1
            length_mm = 1000.0 * unit * np.linalg.norm(offset)
            limit_mm = max(2.0, 0.01 * length_mm)
            for factor in FACTORS:
                longer = offset * (1.0 + factor * limit_mm / length_mm)
                clip = _read(tmp_path, with_offset(short, line, longer))
                made = Motion(clip, Figure(Anatomy(()), metres_per_unit=unit))
                found = said(held(made, reference.skeleton, unit))
                here = [one for one in found if one.detail == "offset"]
                hits[factor] += bool(here)
                extra += len(found) - len(here)
                off += [abs(one.measured - factor * limit_mm) for one in here]
    assert seeds >= 40
    assert hits[0.5] == hits[0.9] == 0
    assert hits[1.25] == hits[2.0] == hits[4.0] == seeds
    assert extra == 0
    assert max(off) < 0.1


def _first_frame(text: str) -> str:
    lines = text[text.upper().index("MOTION") :].splitlines()
    start = next(i for i, one in enumerate(lines) if one.lower().startswith("frame time"))
    return lines[start + 1] + "\n"


def _read(where, text):
    path = where / "one.bvh"
    path.write_text(text, encoding="utf-8")
    return read(path).clips[0]
