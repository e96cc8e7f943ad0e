"""Which node properties each animation of a glTF file moves, by which keys.

Source: glTF 2.0 specification, section 3.11; KHR_animation_pointer for channels that name their
target by JSON pointer.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import NamedTuple

from kinelint.finding import Note
from kinelint.readers.gltf_accessors import Accessors
from kinelint.readers.gltf_document import Document, Json

WIDTHS = {"translation": 3, "rotation": 4, "scale": 3}
_MODES = ("LINEAR", "STEP", "CUBICSPLINE")
_POINTER = re.compile(r"/nodes/(\d{1,9})/(translation|rotation|scale|weights)")


class Channel(NamedTuple):
    """One property of one node over time. `keys` and `values` are accessors."""

    node: int
    path: str
    keys: int
    values: int
    mode: str
    place: str


@dataclass(frozen=True)
class Animation:
    """One animation: its place in the file, its name there, the channels that move nodes."""

    index: int
    name: str
    channels: tuple[Channel, ...]
    notes: tuple[Note, ...]


def read_animations(document: Document, accessors: Accessors) -> list[Animation]:
    """All animations, their references checked, no values read yet."""
    return [
        _animation(document, accessors, animation, i)
        for i, animation in enumerate(document.table("animations"))
    ]


def _animation(document: Document, accessors: Accessors, tree: Json, index: int) -> Animation:
    place = f"/animations/{index}"
    samplers = [
        _sampler(document, accessors, sampler, f"{place}/samplers/{i}")
        for i, sampler in enumerate(document.objects(tree, "samplers", place))
    ]
    found: dict[tuple[int, str], Channel] = {}
    skipped, doubled = 0, 0
    for i, entry in enumerate(document.objects(tree, "channels", place)):
        at = f"{place}/channels/{i}"
        target = _target(document, entry, at)
        if target is None:
            skipped += 1
            continue
        keys, values, mode, where = samplers[
            document.reference(entry, "sampler", len(samplers), at)
        ]
        doubled += target in found
        found.setdefault(target, Channel(*target, keys, values, mode, where))
    notes = _notes(skipped, doubled)
    return Animation(index, document.text(tree, "name", place), tuple(found.values()), notes)


def _sampler(
    document: Document, accessors: Accessors, sampler: Json, place: str
) -> tuple[int, int, str, str]:
    mode = sampler.get("interpolation", "LINEAR")
    if mode not in _MODES:
        raise document.error(f"{mode!r} is none of {', '.join(_MODES)}", f"{place}/interpolation")
    keys = accessors.reference(sampler, "input", place)
    return keys, accessors.reference(sampler, "output", place), mode, place


def _target(document: Document, channel: Json, place: str) -> tuple[int, str] | None:
    """Node and property; None for a channel that moves no node (a material, an extension)."""
    target = document.object(channel, "target", place)
    path = target.get("path")
    if path == "pointer":
        pointer = document.inner(target, "extensions", "KHR_animation_pointer", "pointer")
        match = _POINTER.fullmatch(pointer) if type(pointer) is str else None
        if match is None:
            return None
        target, path = {"node": int(match[1])}, match[2]
    if "node" not in target or (path not in WIDTHS and path != "weights"):
        return None
    return document.reference(target, "node", len(document.table("nodes")), f"{place}/target"), str(
        path
    )


def _notes(skipped: int, doubled: int) -> tuple[Note, ...]:
    notes = []
    if skipped:
        notes.append(Note("channels", f"{skipped} channels move no node and were left out"))
    if doubled:
        text = f"{doubled} channels move what an earlier channel moves already and were left out"
        notes.append(Note("channels", text))
    return tuple(notes)
