"""The joints of the real files' main parts, read off their hierarchies by eye.

"{S}" is Left or Right, "{s}" l or r, "{U}" L or R. The first joint of each part.
"""

from __future__ import annotations

from kinelint.anatomy.parts import SIDES

_LONG = {
    "neck": "Neck",
    "head": "Head",
    "clavicle": "{S}Shoulder",
    "upper_arm": "{S}Arm",
    "forearm": "{S}ForeArm",
    "hand": "{S}Hand",
    "thigh": "{S}UpLeg",
    "shank": "{S}Leg",
    "foot": "{S}Foot",
    "toes": "{S}ToeBase",
}
_LEAD = {"pelvis": "Hips", "abdomen": "ToSpine", "thorax": "Spine1"} | _LONG
_FIVE = {"pelvis": "Hips", "abdomen": "Spine", "thorax": "Spine4"} | _LONG
_FOUR = {"pelvis": "Hips", "abdomen": "Spine", "thorax": "Spine3"} | _LONG
_BACK = {"pelvis": "Hips", "abdomen": "LowerBack", "thorax": "Spine1"} | _LONG
_JOINTS = {
    "pelvis": "Hips",
    "abdomen": "lowerback",
    "thorax": "Chest2",
    "neck": "lowerneck",
    "head": "Head",
    "clavicle": "{S}Collar",
    "upper_arm": "{S}Shoulder",
    "forearm": "{S}Elbow",
    "hand": "{S}Wrist",
    "thumb_1": "{U}Thumb",
    "thigh": "{S}Hip",
    "shank": "{S}Knee",
    "foot": "{S}Ankle",
    "toes": "{S}Toe",
}
_DOLL = {
    "pelvis": "hip",
    "abdomen": "abdomen",
    "thorax": "chest",
    "neck": "neck",
    "head": "head",
    "clavicle": "{s}Collar",
    "upper_arm": "{s}Shldr",
    "forearm": "{s}ForeArm",
    "hand": "{s}Hand",
    "thumb_1": "{s}Thumb1",
    "index_2": "{s}Index2",
    "middle_1": "{s}Mid1",
    "ring_2": "{s}Ring2",
    "little_1": "{s}Pinky1",
    "thigh": "{s}Thigh",
    "shank": "{s}Shin",
    "foot": "{s}Foot",
}
_BONES = {
    "pelvis": "pelvis",
    "thorax": "thorax",
    "head": "head",
    "clavicle": "{s}clavicle",
    "upper_arm": "{s}humerus",
    "forearm": "{s}radius",
    "hand": "{s}hand",
    "thigh": "{s}femur",
    "shank": "{s}tibia",
    "foot": "{s}foot",
    "toes": "{s}toes",
}
_FULL = {
    "pelvis": "Hips",
    "abdomen": "Spine1",
    "thorax": "Spine3",
    "neck": "Neck",
    "head": "Head",
    "clavicle": "Clavicle_{U}",
    "upper_arm": "UpArm_{U}",
    "forearm": "LoArm_{U}",
    "hand": "Hand_{U}",
    "thumb_1": "Thumb1_{U}",
    "index_1": "Index1_{U}",
    "middle_3": "Middle3_{U}",
    "ring_2": "Ring2_{U}",
    "little_3": "Pinky3_{U}",
    "thigh": "UpLeg_{U}",
    "shank": "LoLeg_{U}",
    "foot": "Foot_{U}",
    "toes": "Toe_{U}",
}
_STYLISED = {
    "pelvis": "hips",
    "abdomen": "spine",
    "thorax": "chest",
    "head": "head",
    "upper_arm": "upperarm.{s}",
    "forearm": "lowerarm.{s}",
    "hand": "wrist.{s}",
    "thigh": "upperleg.{s}",
    "shank": "lowerleg.{s}",
    "foot": "foot.{s}",
    "toes": "toes.{s}",
}
_ROBOT = {
    "pelvis": "Body",
    "abdomen": "Abdomen",
    "thorax": "Torso",
    "neck": "Neck",
    "head": "Head",
    "clavicle": "Shoulder.{U}",
    "upper_arm": "UpperArm.{U}",
    "forearm": "LowerArm.{U}",
    "hand": "Palm2.{U}",
    "thumb_1": "Thumb.{U}",
    "index_1": "Index.{U}",
    "middle_1": "Middle1.{U}",
    "ring_1": "Ring1.{U}",
    "thigh": "UpperLeg.{U}",
    "shank": "LowerLeg.{U}",
    "foot": "Foot.{U}",
}
_HUMANOID = {
    "pelvis": "hips",
    "abdomen": "spine",
    "thorax": "chest",
    "neck": "neck",
    "head": "head",
    "clavicle": "{d}Shoulder",
    "upper_arm": "{d}UpperArm",
    "forearm": "{d}LowerArm",
    "hand": "{d}Hand",
    "thumb_1": "{d}ThumbMetacarpal",
    "little_3": "{d}LittleDistal",
    "thigh": "{d}UpperLeg",
    "shank": "{d}LowerLeg",
    "foot": "{d}Foot",
    "toes": "{d}Toes",
}
# Two files name nothing: joints by their glTF node.
_NAMELESS = {
    "pelvis": "/nodes/2",
    "abdomen": "/nodes/11",
    "thorax": "/nodes/12",
    "neck": "/nodes/19",
    "head": "/nodes/20",
    "left_upper_arm": "/nodes/16",
    "left_forearm": "/nodes/17",
    "left_hand": "/nodes/18",
    "right_upper_arm": "/nodes/13",
    "right_forearm": "/nodes/14",
    "right_hand": "/nodes/15",
    "left_thigh": "/nodes/7",
    "left_shank": "/nodes/8",
    "left_foot": "/nodes/9",
    "left_toes": "/nodes/10",
    "right_thigh": "/nodes/3",
    "right_shank": "/nodes/4",
    "right_foot": "/nodes/5",
    "right_toes": "/nodes/6",
}

_ACCAD = {
    1: ("a2_sway", "a5_pickupbox", "a8_crouchtolie", "b17_walk2hop2walk", "b22_sidestepleft"),
    2: ("b3_walk", "c3_run", "e1_jableft", "e8_bounce", "g2_frontkick"),
}

_FILES: dict[str, dict[str, str]] = {
    f"bvh/accad_male{who}_{what}.bvh": _LEAD for who, takes in _ACCAD.items() for what in takes
} | {
    "bvh/accad_male1_b3_walk.bvh": _LEAD,
    "bvh/accad_martialarts_e1_jab_left.bvh": _FIVE,
    "bvh/accad_martialarts_male2_subject_cal_2.bvh": _FIVE,
    "bvh/cmu_02_01_walk.bvh": _BACK,
    "bvh/cmu_10_03_soccer_43j.bvh": _DOLL,
    "bvh/cmu_12_01_walk_tpose0.bvh": _BACK,
    "bvh/cmu_131_01_start_walk_stop.bvh": _JOINTS,
    "bvh/cmu_135_04_frontkick_zup.bvh": _BONES,
    "bvh/cmu_13_26_gestures_trim1000.bvh": _BACK,
    "bvh/cmu_14_14_jumping_jacks_30fps.bvh": _JOINTS,
    "bvh/cmu_60_10_salsa_manA.bvh": _DOLL,
    "bvh/cmu_61_10_salsa_womanB.bvh": _DOLL,
    "bvh/fair1_dab_zup.bvh": _FOUR,
    "bvh/fair1_zombie_zup.bvh": _FOUR,
    "bvh/mh_zombiewalk_loop_75j.bvh": _FULL,
    "gltf/CesiumMan.glb": _NAMELESS,
    "gltf/RiggedFigure.glb": _NAMELESS,
    "gltf/RobotExpressive.glb": _ROBOT,
    "gltf/kaykit_knight.glb": _STYLISED,
    "gltf/kaykit_med_movement_basic.glb": _STYLISED,
    "gltf/threevrm_test.vrma": _HUMANOID,
}
_TRUNK = {"pelvis", "abdomen", "thorax", "neck", "head"}


def _sided(table: dict[str, str]) -> dict[str, str]:
    found = {}
    for part, joint in table.items():
        if part in _TRUNK or part.startswith(SIDES):
            found[part] = joint
            continue
        for side in SIDES:
            letter = side[0]
            words = {"S": side.capitalize(), "d": side, "s": letter, "U": letter.upper()}
            found[f"{side}_{part}"] = joint.format(**words)
    return found


EXPECTED = {name: _sided(table) for name, table in _FILES.items()}
BVH = tuple(name for name in EXPECTED if name.endswith(".bvh"))
MAIN = frozenset(
    {"pelvis", "thorax", "head"}
    | {
        f"{side}_{part}"
        for side in SIDES
        for part in ("upper_arm", "forearm", "hand", "thigh", "shank", "foot", "toes")
    }
)
