"""Names of the open standards: H-Anim (ISO/IEC 19774) and VRM 1.0."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from kinelint.anatomy.identify import identify
from kinelint.anatomy.parts import PARTS
from kinelint.anatomy.standards import COLUMN, hanim_part, vrm_part
from kinelint.clip import Skeleton
from real_data import folder

# ISO/IEC 19774-1:2019, 4.9.6: level of articulation one, joint and parent.
LOA_1 = (
    ("humanoid_root", ""),
    ("sacroiliac", "humanoid_root"),
    ("l_hip", "sacroiliac"),
    ("l_knee", "l_hip"),
    ("l_talocrural", "l_knee"),
    ("l_metatarsophalangeal", "l_talocrural"),
    ("r_hip", "sacroiliac"),
    ("r_knee", "r_hip"),
    ("r_talocrural", "r_knee"),
    ("r_metatarsophalangeal", "r_talocrural"),
    ("vl5", "humanoid_root"),
    ("skullbase", "vl5"),
    ("l_shoulder", "vl5"),
    ("l_elbow", "l_shoulder"),
    ("l_radiocarpal", "l_elbow"),
    ("r_shoulder", "vl5"),
    ("r_elbow", "r_shoulder"),
    ("r_radiocarpal", "r_elbow"),
)


def tables() -> Path:
    place = folder().parent / "reference"
    if not place.is_dir():
        pytest.skip("tables of the standards' names are not here (beside KINELINT_TEST_DATA)")
    return place


def hierarchy(level: int) -> tuple[tuple[str, str], ...]:
    lines = (tables() / "hanim-v2-joints-by-loa.tsv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader((line for line in lines if line[:1] != "#"), delimiter="\t")
    return tuple((row["joint"], row["parent"]) for row in rows if row["loa"] == str(level))


def skeleton_of(joints: tuple[tuple[str, str], ...]) -> Skeleton:
    names = tuple(name for name, _ in joints)
    parents = [names.index(parent) if parent else -1 for _, parent in joints]
    return Skeleton(names, np.array(parents), np.zeros((len(names), 3)))


def test_level_one_maps_fully_without_any_geometry():
    anatomy = identify(skeleton_of(LOA_1))
    names = {part: [LOA_1[j][0] for j in joints] for part, joints in anatomy.joints.items()}
    assert names == {
        "pelvis": ["sacroiliac"],
        "thorax": ["vl5"],
        "head": ["skullbase"],
        "left_upper_arm": ["l_shoulder"],
        "left_forearm": ["l_elbow"],
        "left_hand": ["l_radiocarpal"],
        "left_thigh": ["l_hip"],
        "left_shank": ["l_knee"],
        "left_foot": ["l_talocrural"],
        "left_toes": ["l_metatarsophalangeal"],
        "right_upper_arm": ["r_shoulder"],
        "right_forearm": ["r_elbow"],
        "right_hand": ["r_radiocarpal"],
        "right_thigh": ["r_hip"],
        "right_shank": ["r_knee"],
        "right_foot": ["r_talocrural"],
        "right_toes": ["r_metatarsophalangeal"],
    }
    assert anatomy.confidence > 0.9
    assert all("19774" in one.evidence for one in anatomy.assignments)


def test_the_embedded_level_one_is_the_standard_s():
    assert hierarchy(1) == LOA_1


@pytest.mark.parametrize("level", [2, 3, 4])
def test_higher_levels_map_every_joint_but_root_and_face(level: int):
    joints = hierarchy(level)
    anatomy = identify(skeleton_of(joints))
    left_out = {name for i, (name, _) in enumerate(joints) if i not in anatomy.part_of}
    faces = {name for name in left_out if name.endswith("_joint") or name == "temporomandibular"}
    assert left_out - faces == {"humanoid_root"}
    assert len(faces) == (7 if level >= 3 else 0)
    names = {part: [joints[j][0] for j in found] for part, found in anatomy.joints.items()}
    assert names["thorax"] == ["vt1"]
    assert names["abdomen"][0] == "vl5"
    assert names["left_clavicle"][0] == "l_sternoclavicular"
    assert names["right_thumb_1"] == ["r_carpometacarpal_1"]
    assert names["right_thumb_3"] == ["r_carpal_interphalangeal_1"]
    assert names["left_index_0"] == ["l_carpometacarpal_2"]
    assert names["left_little_3"] == ["l_carpal_distal_interphalangeal_5"]
    missing = {part for part in PARTS if part not in names}
    assert missing == {"left_thumb_0", "right_thumb_0"}


@pytest.mark.parametrize("table", ["hanim-v1-joint-names.txt", "hanim-v2-joint-names-x3d4.txt"])
def test_every_name_of_both_enumerations_is_known(table: str):
    lines = (tables() / table).read_text(encoding="utf-8").splitlines()
    names = [line for line in lines if line and line[0] != "#"]
    assert len(names) > 90
    assert [name for name in names if hanim_part(name) is None] == []


def test_the_older_names_of_fingers_and_feet():
    """ISO/IEC 19774:2006: l_metatarsal carries the forefoot, l_thumb1 is the thumb's first."""
    older = {"l_thumb1": "left_thumb_1", "r_pinky0": "right_little_0", "l_index3": "left_index_3"}
    older |= {"l_subtalar": "left_foot", "r_metatarsal": "right_toes", "vc4": "neck"}
    assert {name: hanim_part(name) for name in older} == older
    assert hanim_part("vt12") == COLUMN
    assert hanim_part("l_thumb4") is None
    assert hanim_part("LeftFoot") is None


def test_every_vrm_bone_but_eyes_and_jaw_has_a_part_of_its_own():
    lines = (tables() / "vrm-1.0-humanoid-bones.tsv").read_text(encoding="utf-8").splitlines()
    bones = [line.split("\t")[0] for line in lines if line[0] != "#"][1:]
    assert len(bones) == 55
    found = {bone: vrm_part(bone) for bone in bones}
    assert {bone for bone, part in found.items() if not part} == {"leftEye", "rightEye", "jaw"}
    assert {bone for bone, part in found.items() if part == COLUMN} == {
        "spine",
        "chest",
        "upperChest",
    }
    single = [part for part in found.values() if part and part != COLUMN]
    assert len(single) == len(set(single))
    assert set(single) <= set(PARTS)
