"""Which glTF extensions a file may demand, and what is said of those that are passed over.

A file that requires an extension cannot be shown right without it. It can still be measured right
if the extension touches neither motion nor the shape of a body: materials, textures, lights,
metadata. Anything else that is not read here, and that nobody here knows, is refused by name.
Source: glTF 2.0 specification, section 3.12, and its extension registry.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from kinelint.finding import Note
from kinelint.readers.gltf_document import Document
from kinelint.readers.short import short_line

READ = frozenset(
    (
        "EXT_meshopt_compression",
        "KHR_animation_pointer",
        "KHR_draco_mesh_compression",
        "KHR_mesh_quantization",
        "KHR_meshopt_compression",
        "VRM",
        "VRMC_node_constraint",
        "VRMC_springBone",
        "VRMC_vrm",
        "VRMC_vrm_animation",
    )
)
"""Read here, or told of in a note of their own."""

# Whoever's they are: vendors name extensions by their prefix and what they extend.
_LOOKS = re.compile(r"[A-Z]+_(materials|textures?|lights|packing)_\w+")
_METADATA = frozenset(
    (
        "CESIUM_primitive_outline",
        "EXT_mesh_features",
        "EXT_mesh_manifold",
        "EXT_structural_metadata",
        "KHR_techniques_webgl",
        "KHR_xmp",
        "KHR_xmp_json_ld",
    )
)

# Their effect is left out, which costs no motion; people are told.
_PASSED_OVER = {
    "EXT_mesh_gpu_instancing": "copies of meshes by instancing are not read",
    "KHR_node_hoverability": "what a pointer may hover over is not read",
    "KHR_node_selectability": "what can be selected is not read",
    "KHR_node_visibility": "hidden nodes are read as if they were shown",
    "MSFT_lod": "coarser levels of detail are not judged in place of the finest",
    "VRMC_springBone_extended_collider": "colliders of spring bones are not read",
    "VRMC_springBone_limit": "limits of spring bones are not read",
}


def touches_no_motion(name: str) -> bool:
    """Whether an extension is about looks or metadata alone."""
    return name in _METADATA or _LOOKS.fullmatch(name) is not None


def check_required(document: Document) -> None:
    """Refuse a file that cannot be read without an extension nobody here knows.

    Raises:
        AssetError: naming the first such extension.
    """
    required = document.tree.get("extensionsRequired", [])
    if type(required) is not list:
        raise document.error("must be a list", "/extensionsRequired")
    for i, name in enumerate(required):
        if type(name) is not str:
            raise document.error("must be a text", f"/extensionsRequired/{i}")
        if name in READ or name in _PASSED_OVER or touches_no_motion(name):
            continue
        what = f"the file cannot be read without the extension {name!r}, unknown here"
        raise document.error(what, f"/extensionsRequired/{i}", "Export it without.")


def notes(document: Document) -> Iterator[Note]:
    """One note for each extension that is passed over, one for all that nobody here knows."""
    listed = document.tree.get("extensionsUsed")
    names = [name for name in listed if type(name) is str] if type(listed) is list else []
    used = dict.fromkeys((*names, *document.tree.get("extensionsRequired", [])))
    for name in used:
        if name in _PASSED_OVER:
            yield Note("extensions", f"{name}: {_PASSED_OVER[name]}")
    known = READ.union(_PASSED_OVER)
    unknown = [name for name in used if name not in known and not touches_no_motion(name)]
    if unknown:
        yield Note("extensions", f"extensions that are not read: {few(unknown)}")


def few(names: list[str], most: int = 4) -> str:
    """The first of some names, and how many more there are."""
    shown = ", ".join(short_line(name, 80) for name in names[:most])
    return f"{shown} and {len(names) - most} more" if len(names) > most else shown


def counted(number: int, one: str, more: str = "") -> str:
    """A number and what there are so many of: 1 channel, 2 channels."""
    return f"{number} {one if number == 1 else more or one + 's'}"
