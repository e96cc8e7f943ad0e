"""What names say: anatomical words in the spellings that people use."""

from __future__ import annotations

import pytest

from kinelint.anatomy.words import read_names


def read_one(name: str):
    return read_names([name])[0]


@pytest.mark.parametrize(
    ("name", "side", "kind"),
    [
        ("LeftUpperLeg", "left", "thigh"),
        ("upperleg.l", "left", "thigh"),
        ("UpLeg_R", "right", "thigh"),
        ("r_hip", "right", "thigh"),
        ("lfemur", "left", "thigh"),
        ("thigh_l", "left", "thigh"),
        ("RightKnee", "right", "shank"),
        ("LoLeg_L", "left", "shank"),
        ("rShin", "right", "shank"),
        ("calf.R", "right", "shank"),
        ("l_ankle", "left", "foot"),
        ("foot-left", "left", "foot"),
        ("LeftToeBase", "left", "toes"),
        ("ball_r", "right", "toes"),
        ("Hips", "", "pelvis"),
        ("hip", "", "pelvis"),
        ("PELVIS", "", "pelvis"),
        ("LowerBack", "", "abdomen"),
        ("UpperChest", "", "thorax"),
        ("rCollar", "right", "clavicle"),
        ("clavicle_l", "left", "clavicle"),
        ("LeftUpperArm", "left", "upper_arm"),
        ("lhumerus", "left", "upper_arm"),
        ("ForeArm_R", "right", "forearm"),
        ("fore arm left", "left", "forearm"),
        ("lowerarm_l", "left", "forearm"),
        ("RightElbow", "right", "forearm"),
        ("wrist.r", "right", "hand"),
        ("LeftHandIndex1", "left", "index"),
        ("l_pinky3", "left", "little"),
        ("rMid1", "right", "middle"),
        ("LThumb", "left", "thumb"),
        ("skull", "", "head"),
        ("neck_01", "", "neck"),
        ("leftEye", "left", "face"),
        ("Tail02", "", "animal"),
    ],
)
def test_side_and_kind(name: str, side: str, kind: str):
    reading = read_one(name)
    assert (reading.side, reading.best) == (side, kind)


@pytest.mark.parametrize("name", ["", "j17", "Bone.003", "joint_R_2b", "node", "Rig", "xyzzy"])
def test_names_that_say_nothing_of_anatomy(name: str):
    assert read_one(name).kinds == {}


@pytest.mark.parametrize("name", ["ring", "rib", "lumbar", "leg", "root", "radius", "lower"])
def test_words_that_begin_with_a_side_s_letter_have_no_side(name: str):
    assert read_one(name).side == ""


def test_a_leg_may_be_a_thigh_or_a_shank_and_a_shoulder_a_clavicle_or_an_arm():
    assert read_one("LeftLeg").says("thigh") == read_one("LeftLeg").says("shank") > 0
    shoulder = read_one("LeftShoulder")
    assert shoulder.says("clavicle") > 0
    assert shoulder.says("upper_arm") > 0


def test_controls_ends_and_twists_are_known_by_their_words():
    assert read_one("kneeIK.l").is_control
    assert read_one("handslot.r").is_control
    assert read_one("HeadTop_End").is_end
    assert read_one("upperarm_twist_01_l").is_twist
    assert not read_one("LeftHand").is_control


def test_what_all_names_begin_with_is_dropped():
    bare = ["Hips", "Spine", "Head", "LeftHand", "RightHand"]
    for prefix in ("puppet:", "crew|puppet:", "Hand_", "Left_Hand_"):
        read = read_names([prefix + name for name in bare])
        if prefix == "Left_Hand_":
            # A side is never taken for a prefix.
            assert read[0].side == "left"
            continue
        assert [one.best for one in read] == [read_one(name).best for name in bare]
        assert [one.side for one in read] == ["", "", "", "left", "right"]
