"""What VRM says of a glTF file: which node is which bone of a humanoid, and expressions.

VRM is an open specification: VRMC_vrm 1.0, VRMC_vrm_animation 1.0, and the older VRM 0.x.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from kinelint.readers.gltf_document import Document

# VRM 0.x counts the thumb's bones from its second one (from memory).
_THUMB = {"ThumbProximal": "ThumbMetacarpal", "ThumbIntermediate": "ThumbProximal"}


def humanoid(document: Document) -> dict[str, int]:
    """VRM 1.0 bone name to node; empty if the file has no humanoid.

    Names of VRM 0.x thumbs are given as 1.0 has them.
    """
    extensions = document.tree.get("extensions")
    found: dict[str, int] = {}
    for bone, node, place in (*_present(document, extensions), *_older(document, extensions)):
        if type(node) is not int or not 0 <= node < len(document.table("nodes")):
            raise document.error(f"the humanoid bone {bone!r} names no node", place)
        found.setdefault(bone, node)
    return found


def expressions(document: Document) -> dict[int, str]:
    """Nodes whose X translation stands for the weight of a facial expression, to its name."""
    root = document.inner(document.tree, "extensions", "VRMC_vrm_animation", "expressions")
    found: dict[int, str] = {}
    for group in ("preset", "custom"):
        listed = document.inner(root, group)
        for name, entry in (listed if type(listed) is dict else {}).items():
            node = document.inner(entry, "node")
            if type(node) is int:
                found[node] = name
    return found


def gaze(document: Document) -> int | None:
    """The node that stands for the direction of the eyes in a VRM animation."""
    node = document.inner(document.tree, "extensions", "VRMC_vrm_animation", "lookAt", "node")
    return node if type(node) is int else None


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
