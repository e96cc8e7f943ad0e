"""Joint names of the open standards: VRM humanoid bones, and H-Anim (ISO/IEC 19774).

Sources: VRMC_vrm 1.0 humanoid.md (vrm-c/vrm-specification); ISO/IEC 19774:2006 and
ISO/IEC 19774-1:2019 joint names as in the X3D 3.x and 4.0 enumerations, with the unnumbered
foot joints of the 2019 hierarchies for LOA-1 to LOA-3.
"""

from __future__ import annotations

import re

from kinelint.anatomy.parts import FINGERS
from kinelint.clip import Skeleton

# Stands for any joint of the column: which of them is the thorax depends on where the arms hang.
COLUMN = "column"

_VRM_TRUNK = {"hips": "pelvis", "neck": "neck", "head": "head"} | dict.fromkeys(
    ("spine", "chest", "upperChest"), COLUMN
)
_VRM_SIDED = {
    "Shoulder": "clavicle",
    "UpperArm": "upper_arm",
    "LowerArm": "forearm",
    "Hand": "hand",
    "UpperLeg": "thigh",
    "LowerLeg": "shank",
    "Foot": "foot",
    "Toes": "toes",
    # A thumb's metacarpal bends at its base: it is the first of its three joints.
    "ThumbMetacarpal": "thumb_1",
    "ThumbProximal": "thumb_2",
    "ThumbDistal": "thumb_3",
} | {
    f"{finger.capitalize()}{bone}": f"{finger}_{number}"
    for finger in FINGERS[1:]
    for number, bone in enumerate(("Proximal", "Intermediate", "Distal"), start=1)
}

_HANIM_TRUNK = {"sacroiliac": "pelvis", "skullbase": "head"}
_HANIM_SIDED = {
    "sternoclavicular": "clavicle",
    "acromioclavicular": "clavicle",
    "shoulder": "upper_arm",
    "elbow": "forearm",
    "wrist": "hand",
    "radiocarpal": "hand",
    "hip": "thigh",
    "knee": "shank",
    "ankle": "foot",
    "talocrural": "foot",
    "subtalar": "foot",
    "midtarsal": "foot",
    "talocalcaneonavicular": "foot",
    "cuneonavicular": "foot",
    "calcaneocuboid": "foot",
    "calcaneuscuboid": "foot",
    "transversetarsal": "foot",
    "tarsometatarsal": "foot",
    "metatarsal": "toes",
    "metatarsophalangeal": "toes",
    "tarsal_interphalangeal": "toes",
    "tarsal_interphangeal": "toes",
    "tarsal_proximal_interphalangeal": "toes",
    "tarsal_distal_interphalangeal": "toes",
    "midcarpal": "hand",
}
# Joint number of a finger, for the thumb (first) and for the others.
_HANIM_FINGER = {
    "carpometacarpal": (1, 0),
    "metacarpophalangeal": (2, 1),
    "carpal_interphalangeal": (3, 3),
    "carpal_proximal_interphalangeal": (2, 2),
    "carpal_distal_interphalangeal": (3, 3),
}
_OLD_FINGER = re.compile(r"(thumb|index|middle|ring|pinky)([0-3])")
_FACE = re.compile(r"[lr]_(eyelid|eyeball|eyebrow)_joint|temporomandibular")
_NUMBERED = re.compile(r"(.+?)(?:_(\d)(?:_\d)?)?")
# Fewer names could be chance: "l_hip" and "l_knee" are plain words.
_LEAST_NAMES = 8


def vrm_part(bone: str) -> str:
    """The part of a VRM bone, `COLUMN`, or "" for eyes, jaw and unknown bones."""
    if bone in _VRM_TRUNK:
        return _VRM_TRUNK[bone]
    for side in ("left", "right"):
        part = _VRM_SIDED.get(bone.removeprefix(side)) if bone.startswith(side) else None
        if part:
            return f"{side}_{part}"
    return ""


def hanim_part(name: str) -> str | None:
    """The part of an H-Anim joint, `COLUMN`, "" for joints beside the body's parts.

    None if the standard has no joint of that name.
    """
    if name in ("humanoid_root", "HumanoidRoot") or _FACE.fullmatch(name):
        return ""
    if re.fullmatch(r"v(l[1-5]|t([1-9]|1[0-2]))", name):
        return COLUMN
    if re.fullmatch(r"vc[1-7]", name):
        return "neck"
    if name in _HANIM_TRUNK:
        return _HANIM_TRUNK[name]
    side = {"l": "left", "r": "right"}.get(name[:1]) if name[1:2] == "_" else None
    return _hanim_sided(side, name[2:]) if side else None


def _hanim_sided(side: str, bare: str) -> str | None:
    old = _OLD_FINGER.fullmatch(bare)
    if old:
        return f"{side}_{old[1].replace('pinky', 'little')}_{old[2]}"
    match = _NUMBERED.fullmatch(bare)
    joint, number = (match[1], match[2]) if match else (bare, None)
    if joint in _HANIM_FINGER and number and 1 <= int(number) <= 5:
        finger = FINGERS[int(number) - 1]
        return f"{side}_{finger}_{_HANIM_FINGER[joint][number != '1']}"
    part = _HANIM_SIDED.get(joint)
    return f"{side}_{part}" if part else None


def standard_parts(skeleton: Skeleton) -> tuple[str, dict[int, str]]:
    """The standard that names the joints, and joint to part; ("", {}) if none does."""
    vrm = {joint: vrm_part(bone) for bone, joint in skeleton.humanoid.items()}
    if sum(1 for part in vrm.values() if part) >= _LEAST_NAMES:
        return "the file's VRM humanoid", {joint: part for joint, part in vrm.items() if part}
    named = {joint: hanim_part(name) for joint, name in enumerate(skeleton.names)}
    known = {joint: part for joint, part in named.items() if part is not None}
    inner = [j for j, name in enumerate(skeleton.names) if name and not skeleton.tips[j]]
    if len(known) >= _LEAST_NAMES and len(known) >= 0.7 * len(inner):
        return "H-Anim (ISO/IEC 19774)", {joint: part for joint, part in known.items() if part}
    return "", {}
