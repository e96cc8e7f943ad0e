"""What VRM says of a glTF file: which node is which bone of a humanoid, eyes, moving hair.

VRM is an open specification of the VRM Consortium: VRMC_vrm 1.0 (a figure, facing +Z, whose rest
pose is the "VRM T-pose" and whose joints may be turned at rest), VRMC_vrm_animation 1.0 (a motion
for such figures), VRMC_springBone 1.0 and VRMC_node_constraint 1.0, and the older VRM 0.x (facing
-Z, no joint turned at rest). Rest rotations are kept as the file has them: positions, which rules
go by, do not depend on them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from kinelint.clip import Clip
from kinelint.finding import Note
from kinelint.readers.gltf_document import Document
from kinelint.readers.gltf_extensions import counted, few
from kinelint.readers.gltf_nodes import Nodes

# VRM 0.x counts the thumb's bones from its second one (from memory).
_THUMB = {"ThumbProximal": "ThumbMetacarpal", "ThumbIntermediate": "ThumbProximal"}
_EYES = ("leftEye", "rightEye")
REQUIRED = (
    *("hips", "spine", "head"),
    *(
        f"{side}{bone}"
        for side in ("left", "right")
        for bone in ("UpperLeg", "LowerLeg", "Foot", "UpperArm", "LowerArm", "Hand")
    ),
)
"""The bones that every VRM 1.0 humanoid has (VRMC_vrm 1.0, humanoid.md)."""


def humanoid(document: Document) -> dict[str, int]:
    """VRM 1.0 bone name to node; empty if the file has no humanoid.

    Names of VRM 0.x thumbs are given as 1.0 has them.

    Raises:
        AssetError: a bone names no node.
    """
    found: dict[str, int] = {}
    for bone, node in _bones(document):
        if bone not in found and node not in found.values():
            found[bone] = node
    return found


def _bones(document: Document) -> list[tuple[str, int]]:
    """Bones and nodes as the file lists them, repeated ones too."""
    extensions, size = document.tree.get("extensions"), len(document.table("nodes"))
    found: list[tuple[str, int]] = []
    for bone, node, place in (*_present(document, extensions), *_older(document, extensions)):
        if type(node) is not int or not 0 <= node < size:
            raise document.error(f"the humanoid bone {bone!r} names no node", place)
        found.append((bone, node))
    return found


def _present(document: Document, extensions: Any) -> Iterator[tuple[str, Any, str]]:
    for name in ("VRMC_vrm", "VRMC_vrm_animation"):
        bones = document.inner(extensions, name, "humanoid", "humanBones")
        place = f"/extensions/{name}/humanoid/humanBones"
        for bone, entry in (bones if type(bones) is dict else {}).items():
            yield bone, document.inner(entry, "node"), f"{place}/{bone}"


def _older(document: Document, extensions: Any) -> Iterator[tuple[str, Any, str]]:
    bones = document.inner(extensions, "VRM", "humanoid", "humanBones")
    for i, entry in enumerate(bones if type(bones) is list else []):
        bone = str(document.inner(entry, "bone"))
        for side in ("left", "right"):
            part = bone.removeprefix(side)
            if part != bone:
                bone = side + _THUMB.get(part, part)
                break
        yield bone, document.inner(entry, "node"), f"/extensions/VRM/humanoid/humanBones/{i}"


def gaze(document: Document) -> int | None:
    """The node that stands for the direction of the eyes in a VRM animation."""
    node = document.inner(document.tree, "extensions", "VRMC_vrm_animation", "lookAt", "node")
    return node if type(node) is int else None


def notes(document: Document, nodes: Nodes, bones: Mapping[str, int]) -> Iterator[Note]:
    """What of a VRM file is assumed or passed over, one note a kind."""
    for name in ("VRMC_vrm", "VRMC_vrm_animation"):
        version = document.inner(document.tree, "extensions", name, "specVersion")
        if version is not None and not str(version).startswith("1."):
            yield Note("extensions", f"{name} of version {version} was read as version 1.0")
    yield from _wrong_kinds(document)
    missing = [bone for bone in REQUIRED if bone not in bones]
    if bones and missing:
        text = f"the humanoid lacks bones that VRM requires: {few(missing)}"
        yield Note("humanoid", text)
    lost = [bone for bone, node in _bones(document) if bones.get(bone) != node]
    if lost:
        text = f"bones that share a node or are named twice were left out: {few(lost)}"
        yield Note("humanoid", text)
    yield from _gaze_notes(document)
    yield from _driven(document, nodes)


def _wrong_kinds(document: Document) -> Iterator[Note]:
    """Parts of VRM extensions that are no object (or list, of VRM 0.x), and so were not read."""
    wrong = []
    for name, kind in (("VRMC_vrm", dict), ("VRMC_vrm_animation", dict), ("VRM", list)):
        extension = document.inner(document.tree, "extensions", name)
        if extension is None:
            continue
        if type(extension) is not dict:
            wrong.append(name)
            continue
        wrong += [
            f"{name}/{key}"
            for key in ("humanoid", "expressions", "lookAt", "blendShapeMaster")
            if type(extension.get(key, {})) is not dict
        ]
        bones = document.inner(extension, "humanoid", "humanBones")
        if bones is not None and type(bones) is not kind:
            wrong.append(f"{name}/humanoid/humanBones")
        groups = document.inner(extension, "expressions")
        wrong += [
            f"{name}/expressions/{key}"
            for key in ("preset", "custom")
            if type(groups) is dict and type(groups.get(key, {})) is not dict
        ]
    if wrong:
        text = "parts of the VRM extensions are of a wrong type and were not read"
        yield Note("extensions", f"{text}: {few(wrong)}")


def is_animation(document: Document) -> bool:
    """Whether the file is a VRM animation."""
    return document.inner(document.tree, "extensions", "VRMC_vrm_animation") is not None


def beyond_standard(clip: Clip) -> Iterator[Note]:
    """What a VRM animation moves though VRMC_vrm_animation 1.0 rules it out ("Humanoid")."""
    bone_of = {joint: bone for bone, joint in clip.skeleton.humanoid.items()}
    moved = [bone_of.get(joint, "hips") for joint in clip.translated.tolist()]
    told = {
        "move bones other than the hips": [bone for bone in moved if bone != "hips"],
        "scale bones": [bone_of[one] for one in clip.scaled.tolist() if one in bone_of],
        "have bones for the eyes": [one for one in _EYES if one in clip.skeleton.humanoid],
    }
    for what, bones in told.items():
        if bones:
            text = f"VRM animations may not {what}, as this one does; it was read: {few(bones)}"
            yield Note("humanoid", text)


def _gaze_notes(document: Document) -> Iterator[Note]:
    extensions = document.tree.get("extensions")
    if gaze(document) is not None:
        yield Note("gaze", "the direction of the eyes is given by a node of its own and not judged")
    kind = document.inner(extensions, "VRMC_vrm", "lookAt", "type")
    if document.inner(extensions, "VRMC_vrm", "lookAt") is not None:
        how = "expressions" if kind == "expression" else "bones"
        yield Note("gaze", f"eyes that follow a target (by {how}) are not judged")


def _driven(document: Document, nodes: Nodes) -> Iterator[Note]:
    """Nodes that a program moves while the motion is shown."""
    held = [
        node
        for node, table in enumerate(nodes.table)
        if document.inner(table, "extensions", "VRMC_node_constraint") is not None
    ]
    if held:
        names = few([nodes.label(node) for node in held])
        text = "nodes that follow others by a constraint, which is not evaluated"
        yield Note("constraints", f"{text}: {counted(len(held), 'node')}, {names}")
    swung = _swung(document, len(nodes))
    if swung:
        names = few([nodes.label(node) for node in swung])
        text = f"not simulated are springs by which {counted(len(swung), 'joint')} swing: {names}"
        yield Note("springs", text)


def _swung(document: Document, size: int) -> list[int]:
    extensions = document.tree.get("extensions")
    found: list[Any] = []
    for spring in _list(document.inner(extensions, "VRMC_springBone", "springs")):
        found += [document.inner(one, "node") for one in _list(document.inner(spring, "joints"))]
    for group in _list(document.inner(extensions, "VRM", "secondaryAnimation", "boneGroups")):
        found += _list(document.inner(group, "bones"))
    whole = [one for one in found if type(one) is int and 0 <= one < size]
    return list(dict.fromkeys(whole))


def _list(value: Any) -> list[Any]:
    return value if type(value) is list else []
