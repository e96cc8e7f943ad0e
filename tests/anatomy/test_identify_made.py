"""Recognition on made skeletons: twists, dummies, gaps, lies, four legs, overrides."""

from __future__ import annotations

import numpy as np
import pytest

from anatomy.made_bodies import MEN, WOMEN, Rig, parents_first
from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.identify import identify
from kinelint.clip import Skeleton
from kinelint.errors import BodyError

NAMED_FOR = {
    "pelvis": "Pelvis",
    "abdomen": "Spine",
    "thorax": "Chest",
    "neck": "Neck",
    "head": "Head",
} | {
    f"{side.lower()}_{part}": side + joint
    for side in ("Left", "Right")
    for part, joint in (
        ("clavicle", "Clavicle"),
        ("upper_arm", "UpperArm"),
        ("forearm", "Forearm"),
        ("hand", "Hand"),
        ("thigh", "Thigh"),
        ("shank", "Shin"),
        ("foot", "Foot"),
        ("toes", "Toes"),
    )
}


def first_joints(rig: Rig, skeleton: Skeleton) -> dict[str, str]:
    anatomy = identify(skeleton)
    order = list(rig.joints)
    return {part: order[joints[0]] for part, joints in anatomy.joints.items()}


def blank(rig: Rig) -> Skeleton:
    return rig.skeleton(dict.fromkeys(rig.joints, ""))


@pytest.mark.parametrize("measures", [MEN, WOMEN])
def test_a_body_of_survey_means_maps_fully_with_and_without_names(measures):
    rig = Rig.of(measures)
    assert first_joints(rig, rig.skeleton()) == NAMED_FOR
    assert first_joints(rig, blank(rig)) == NAMED_FOR
    assert identify(rig.skeleton()).confidence > 0.9
    assert 0.5 < identify(blank(rig)).confidence < identify(rig.skeleton()).confidence


def test_ends_of_chains_are_tips_of_the_parts_they_end():
    rig = Rig.of(MEN)
    order = list(rig.joints)
    tips = {part: order[joint] for part, joint in identify(blank(rig)).tips.items()}
    assert tips == {
        "head": "HeadTop",
        "left_hand": "LeftHandTip",
        "right_hand": "RightHandTip",
        "left_toes": "LeftToeTip",
        "right_toes": "RightToeTip",
    }


@pytest.mark.parametrize("named", [True, False])
@pytest.mark.parametrize(
    ("gone", "parts"),
    [
        (("Clavicle",), ("left_clavicle", "right_clavicle")),
        (("Toes", "ToeTip"), ("left_toes", "right_toes")),
        (("Neck",), ("neck",)),
        (("Spine",), ("abdomen",)),
        (("Tip", "Top"), ()),
    ],
)
def test_a_body_that_lacks_joints_lacks_those_parts_only(named, gone, parts):
    rig = Rig.of(MEN).without(*gone)
    skeleton = rig.skeleton() if named else blank(rig)
    wanted = {part: joint for part, joint in NAMED_FOR.items() if part not in parts}
    assert first_joints(rig, skeleton) == wanted


@pytest.mark.parametrize("named", [True, False])
def test_twist_joints_belong_to_the_segment_they_lie_in(named):
    rig = Rig.of(MEN)
    for side in ("Left", "Right"):
        rig = rig.between(f"{side}ForearmTwist", f"{side}Hand", 0.5)
        rig = rig.between(f"{side}ThighTwist", f"{side}Shin", 0.4)
    skeleton = rig.skeleton() if named else blank(rig)
    assert first_joints(rig, skeleton) == NAMED_FOR
    order = list(rig.joints)
    joints = identify(skeleton).joints
    assert [order[j] for j in joints["left_forearm"]] == ["LeftForearm", "LeftForearmTwist"]
    assert [order[j] for j in joints["right_thigh"]] == ["RightThigh", "RightThighTwist"]


@pytest.mark.parametrize("named", [True, False])
def test_dummies_before_the_thighs_are_no_thighs(named):
    rig = Rig.of(MEN)
    for side in ("Left", "Right"):
        rig = rig.between(f"{side}Offset", f"{side}Thigh", 0.0)
    skeleton = rig.skeleton() if named else blank(rig)
    assert first_joints(rig, skeleton) == NAMED_FOR


@pytest.mark.parametrize("named", [True, False])
def test_the_order_of_the_file_and_the_choice_of_the_root_do_not_matter(named):
    rig = Rig.of(MEN)
    turned = Rig(parents_first(dict(reversed(rig.joints.items()))), rig.ends)
    joints = dict(rig.joints)
    joints["Chest"] = ("", joints["Chest"][1])
    joints["Spine"] = ("Chest", joints["Spine"][1])
    joints["Pelvis"] = ("Spine", joints["Pelvis"][1])
    for other in (turned, Rig(parents_first(joints), rig.ends)):
        assert first_joints(other, other.skeleton() if named else blank(other)) == NAMED_FOR


def test_controls_beside_the_body_are_left_out():
    rig = Rig.of(MEN).with_joint("Root", "", (0, 0, 0))
    joints = {"Root": rig.joints["Root"], **rig.joints}
    joints["Pelvis"] = ("Root", joints["Pelvis"][1])
    rig = Rig(joints, rig.ends)
    for side, x in (("Left", 0.085), ("Right", -0.085)):
        rig = rig.with_joint(f"{side}FootIK", "Root", (x, 0.07, 0))
        rig = rig.with_joint(f"{side}KneePole", "Root", (x, 0.5, 0.6))
        rig = rig.with_joint(f"{side}Slot", f"{side}Hand", rig.joints[f"{side}Hand"][1])
    assert first_joints(rig, rig.skeleton()) == NAMED_FOR
    assert first_joints(rig, blank(rig)) == NAMED_FOR


def test_a_skirt_and_a_cape_are_no_legs_and_no_head():
    rig = Rig.of(WOMEN)
    for i, x in enumerate((-0.15, -0.05, 0.05, 0.15)):
        rig = rig.with_joint(f"skirt{i}", "Pelvis", (x, 0.8, 0.1))
        rig = rig.with_joint(f"skirt{i}b", f"skirt{i}", (x, 0.6, 0.12))
    rig = rig.with_joint("cape", "Chest", (0, 1.3, -0.1)).with_joint("cape2", "cape", (0, 1, -0.2))
    assert first_joints(rig, rig.skeleton()) == NAMED_FOR
    assert first_joints(rig, blank(rig)) == NAMED_FOR


def test_one_name_that_lies_lowers_confidence_and_is_told():
    rig = Rig.of(MEN)
    honest = identify(rig.skeleton())
    liar = identify(rig.skeleton({"LeftShin": "RightShin"}))
    assert liar.joints == honest.joints
    assert liar.confidence < honest.confidence - 0.2
    evidence = {one.part: one.evidence for one in liar.assignments}
    assert "right" in evidence["left_shank"].split("but")[-1]


def test_a_name_of_another_part_loses_to_the_structure_and_is_told():
    rig = Rig.of(MEN)
    names = {"LeftUpperArm": "LeftThigh", "LeftThigh": "LeftUpperArm"}
    anatomy = identify(rig.skeleton(names))
    order = list(rig.joints)
    assert order[anatomy.joints["left_thigh"][0]] == "LeftThigh"
    found = {one.part: one for one in anatomy.assignments}
    assert "upper arm" in found["left_thigh"].evidence
    assert found["left_thigh"].confidence < 0.6


def test_sides_that_contradict_each_other_are_told():
    rig = Rig.of(MEN)
    swap = {f"Left{name}": f"Right{name}" for name in ("UpperArm", "Forearm", "Hand", "Clavicle")}
    swap |= {right: left for left, right in swap.items()}
    anatomy = identify(rig.skeleton(swap))
    assert any("opposite sides" in note for note in anatomy.notes)
    assert anatomy.confidence < 0.8


def four_legs(names: bool) -> Skeleton:
    """A horse-like body: trunk level, four limbs down, neck forward, tail behind."""
    joints = {
        "pelvis": ("", (0, 1.3, -0.5)),
        "spine": ("pelvis", (0, 1.35, -0.1)),
        "chest": ("spine", (0, 1.35, 0.4)),
        "neck": ("chest", (0, 1.5, 0.6)),
        "head": ("neck", (0, 1.9, 0.9)),
        "tail1": ("pelvis", (0, 1.2, -0.7)),
        "tail2": ("tail1", (0, 0.9, -0.8)),
    }
    for side, x in (("left", 0.15), ("right", -0.15)):
        joints |= {
            f"{side}_thigh": ("pelvis", (x, 1.2, -0.5)),
            f"{side}_shin": (f"{side}_thigh", (x, 0.8, -0.35)),
            f"{side}_foot": (f"{side}_shin", (x, 0.4, -0.55)),
            f"{side}_toe": (f"{side}_foot", (x, 0.05, -0.5)),
            f"{side}_upper_arm": ("chest", (x, 1.1, 0.45)),
            f"{side}_forearm": (f"{side}_upper_arm", (x, 0.75, 0.35)),
            f"{side}_hand": (f"{side}_forearm", (x, 0.35, 0.4)),
            f"{side}_finger": (f"{side}_hand", (x, 0.05, 0.45)),
        }
    rig = Rig(joints)
    return rig.skeleton() if names else blank(rig)


@pytest.mark.parametrize("names", [True, False])
def test_four_legs_are_no_human_even_with_human_names(names):
    anatomy = identify(four_legs(names))
    assert anatomy.assignments == ()
    assert "four legs" in anatomy.notes[0]


@pytest.mark.parametrize("joints", [0, 1, 2, 5])
def test_chains_and_nothing_are_no_bodies(joints):
    parents = np.arange(-1, joints - 1)
    skeleton = Skeleton(("",) * joints, parents, np.full((joints, 3), 0.1))
    assert identify(skeleton) == Anatomy((), {}, identify(skeleton).notes)
    assert len(identify(skeleton).notes) == 1


def test_the_policy_overrules_everything():
    rig = Rig.of(MEN)
    anatomy = identify(rig.skeleton(), {"pelvis": "Spine", "left_toes": "LeftToeTip"})
    order = list(rig.joints)
    found = {order[one.joint]: one for one in anatomy.assignments}
    assert found["Spine"].part == "pelvis"
    assert found["Spine"].confidence == 1.0
    assert "policy" in found["Spine"].evidence
    assert [order[j] for j in anatomy.joints["pelvis"]] == ["Spine"]
    assert [order[j] for j in anatomy.joints["left_toes"]] == ["LeftToeTip"]


@pytest.mark.parametrize(
    ("overrides", "words"),
    [
        ({"knee": "LeftShin"}, '"knee" is no part'),
        ({"head": "Nose"}, 'no joint of the skeleton named "Nose"'),
        ({"head": "twin"}, "2 joints"),
    ],
)
def test_overrides_that_name_nothing_are_refused(overrides, words):
    rig = Rig.of(MEN)
    skeleton = rig.skeleton({"LeftHandTip": "twin", "RightHandTip": "twin"})
    with pytest.raises(BodyError, match=words):
        identify(skeleton, overrides)


@pytest.mark.parametrize(
    ("gone", "found", "missing"),
    [
        (("Clavicle", "Arm", "arm", "Hand"), "left_shank", "left_hand"),
        (("Thigh", "Shin", "Foot", "Toe"), "right_forearm", "left_foot"),
        (("LeftClavicle", "LeftUpperArm", "LeftForearm", "LeftHand"), "right_hand", "left_hand"),
    ],
)
def test_half_a_body_is_known_by_its_names_alone_and_says_so(gone, found, missing):
    rig = Rig.of(MEN).without(*gone)
    order = list(rig.joints)
    anatomy = identify(rig.skeleton())
    assert order[anatomy.joints[found][0]] == NAMED_FOR[found]
    assert missing not in anatomy.joints
    assert anatomy.confidence == pytest.approx(0.55)
    assert any("names alone" in note for note in anatomy.notes)
    assert any(missing.replace("_", " ") in note for note in anatomy.notes)
    assert identify(blank(rig)).assignments == ()


def test_hair_face_and_cloth_do_not_hide_a_body_without_names():
    rng = np.random.default_rng(7)
    rig = Rig.of(WOMEN)
    head = np.array(rig.joints["Head"][1])
    for i in range(80):
        rig = rig.with_joint(f"point{i}", "Head", head + rng.normal(size=3) * 0.06)
    for i in range(24):
        root, start = ("Head", head) if i % 2 else ("Pelvis", np.array([0, 0.9, 0]))
        at = start + rng.normal(size=3) * 0.1
        for k in range(5):
            name = f"strand{i}_{k}"
            rig = rig.with_joint(name, root, at)
            root, at = name, at + np.array([0, -0.09, 0]) + rng.normal(size=3) * 0.02
    assert first_joints(rig, blank(rig)) == NAMED_FOR
    assert first_joints(rig, rig.skeleton()) == NAMED_FOR


@pytest.mark.parametrize("seed", range(40))
def test_any_tree_is_answered_without_a_fault(seed):
    rng = np.random.default_rng(seed)
    joints = int(rng.integers(1, 50))
    parents = [-1] + [int(rng.integers(max(-1, i - 8), i)) for i in range(1, joints)]
    offsets = rng.normal(size=(joints, 3)) * (rng.random((joints, 1)) > 0.15)
    words = ("", "Hand", "leg", "LeftArm", "spine", "Head", "x", "l_hip", "Foot_R", "Thumb1")
    names = tuple(str(rng.choice(words)) for _ in range(joints))
    leaves = np.bincount([p for p in parents if p >= 0], minlength=joints) == 0
    skeleton = Skeleton(names, np.array(parents), offsets, tips=leaves & (rng.random(joints) < 0.5))
    anatomy = identify(skeleton)
    taken = [one.joint for one in anatomy.assignments]
    assert len(taken) == len(set(taken))
    assert all(0 <= one.confidence <= 1 for one in anatomy.assignments)
    assert not set(anatomy.tips.values()) & set(taken)
    assert anatomy.assignments or anatomy.notes
