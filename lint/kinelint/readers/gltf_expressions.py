"""Facial expressions of VRM files: by nodes in a VRM animation, by morph targets in a VRM figure.

Sources: VRMC_vrm_animation 1.0 ("Expressions"), VRMC_vrm 1.0 (expressions.md), VRM 0.x
(blendShapeMaster).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from kinelint.finding import Note
from kinelint.readers.gltf_document import Document
from kinelint.readers.gltf_extensions import counted, few

PRESETS = frozenset(
    (
        *("happy", "angry", "sad", "relaxed", "surprised", "neutral"),
        *("aa", "ih", "ou", "ee", "oh"),
        *("blink", "blinkLeft", "blinkRight"),
        *("lookUp", "lookDown", "lookLeft", "lookRight"),
    )
)
"""The names that VRMC_vrm 1.0 gives a meaning."""

# VRM 0.x has other names for the same; 1.0 says what became of emotions, the rest is by sound.
_OLD = {name.lower(): name for name in PRESETS} | {
    "a": "aa",
    "i": "ih",
    "u": "ou",
    "e": "ee",
    "o": "oh",
    "joy": "happy",
    "sorrow": "sad",
    "fun": "relaxed",
    "blink_l": "blinkLeft",
    "blink_r": "blinkRight",
}


class Bind(NamedTuple):
    """An expression drives a morph target: of which mesh, by which share of its value."""

    expression: str
    mesh: int
    target: int
    weight: float


def signs(document: Document) -> dict[int, str]:
    """Nodes of a VRM animation whose X translation is the weight of an expression, to its name."""
    root = document.inner(document.tree, "extensions", "VRMC_vrm_animation", "expressions")
    size = len(document.table("nodes"))
    found: dict[int, str] = {}
    for group in ("preset", "custom"):
        listed = document.inner(root, group)
        for name, entry in (listed if type(listed) is dict else {}).items():
            node = document.inner(entry, "node")
            if type(node) is not int or not 0 <= node < size:
                place = f"/extensions/VRMC_vrm_animation/expressions/{group}/{name}"
                raise document.error(f"the expression {name!r} names no node", place)
            found[node] = name
    return found


def binds(document: Document) -> list[Bind]:
    """Which morph targets the expressions of a VRM figure drive."""
    targets = [_target_count(document, mesh) for mesh in document.table("meshes")]
    return [one for one in _listed(document) if isinstance(one, Bind) and _leads(one, targets)]


def _leads(one: Bind, targets: list[int]) -> bool:
    return one.mesh < len(targets) and one.target < targets[one.mesh]


def _listed(document: Document) -> Iterator[Bind | str]:
    """Every bind; of one that is malformed the name of its expression."""
    yield from _present(document)
    yield from _older(document)


def _lost(document: Document) -> Iterator[str]:
    """Names of expressions, once for each bind that leads to no morph target."""
    targets = [_target_count(document, mesh) for mesh in document.table("meshes")]
    for one in _listed(document):
        if isinstance(one, str):
            yield one
        elif not _leads(one, targets):
            yield one.expression


def _oddities(document: Document) -> Iterator[Note]:
    """What of expressions was passed over since it is not as VRM has it."""
    lost = list(_lost(document))
    if lost:
        text = "binds of expressions that lead to no morph target were left out"
        which = few(list(dict.fromkeys(lost)))
        yield Note("expressions", f"{text}: {counted(len(lost), 'bind')}, {which}")
    unknown = [name for name in _presets(document) if name not in PRESETS]
    if unknown:
        text = "presets that VRM 1.0 does not have were read as custom expressions"
        yield Note("expressions", f"{text}: {few(unknown)}")


def _presets(document: Document) -> Iterator[str]:
    for extension in ("VRMC_vrm", "VRMC_vrm_animation"):
        expressions = document.inner(document.tree, "extensions", extension, "expressions")
        listed = document.inner(expressions, "preset")
        yield from listed if type(listed) is dict else {}


def notes(document: Document) -> Iterator[Note]:
    """Which expressions a figure has, and what of them is not carried over."""
    found = binds(document)
    names = list(dict.fromkeys(one.expression for one in found))
    if names:
        count = len({(one.mesh, one.target) for one in found})
        own = len([name for name in names if name not in PRESETS])
        held = counted(count, "morph target")
        text = f"{counted(len(names), 'expression')} ({own} custom) on {held}"
        yield Note("expressions", f"{text}: {few(names)}")
    yield from _oddities(document)
    looks = [
        name
        for name, entry in _entries(document)
        if document.inner(entry, "materialColorBinds")
        or document.inner(entry, "textureTransformBinds")
        or document.inner(entry, "materialValues")
    ]
    if looks:
        text = "colours and textures of expressions are not read"
        yield Note("expressions", f"{text}: {counted(len(looks), 'expression')}, {few(looks)}")


def _target_count(document: Document, mesh: Any) -> int:
    primitives = document.inner(mesh, "primitives")
    first = primitives[0] if type(primitives) is list and primitives else None
    targets = document.inner(first, "targets")
    return len(targets) if type(targets) is list else 0


def _entries(document: Document) -> Iterator[tuple[str, Any]]:
    """Name and object of every expression of a figure."""
    extensions = document.tree.get("extensions")
    for group in ("preset", "custom"):
        listed = document.inner(extensions, "VRMC_vrm", "expressions", group)
        yield from (listed if type(listed) is dict else {}).items()
    groups = document.inner(extensions, "VRM", "blendShapeMaster", "blendShapeGroups")
    for entry in groups if type(groups) is list else []:
        preset = str(document.inner(entry, "presetName") or "unknown").lower()
        yield _OLD.get(preset, str(document.inner(entry, "name") or preset)), entry


def _present(document: Document) -> Iterator[Bind | str]:
    nodes = document.table("nodes")
    for name, entry in _entries(document):
        listed = document.inner(entry, "morphTargetBinds")
        for one in listed if type(listed) is list else []:
            node = document.inner(one, "node")
            there = type(node) is int and 0 <= node < len(nodes)
            mesh = nodes[node].get("mesh") if there else None
            yield _bind(document, name, mesh, one, 1.0)


def _older(document: Document) -> Iterator[Bind | str]:
    for name, entry in _entries(document):
        listed = document.inner(entry, "binds")
        for one in listed if type(listed) is list else []:
            # Weights went from 0 to 100 before VRM 1.0.
            yield _bind(document, name, document.inner(one, "mesh"), one, 0.01)


def _bind(document: Document, name: str, mesh: Any, entry: Any, scale: float) -> Bind | str:
    target, weight = document.inner(entry, "index"), document.inner(entry, "weight")
    right = type(mesh) is int and type(target) is int and mesh >= 0 and target >= 0
    if right and type(weight) in (int, float):
        return Bind(name, mesh, target, weight * scale)
    return name
