"""Which node properties each animation of a glTF file moves, by which keys.

Sources: glTF 2.0 specification, section 3.11; KHR_animation_pointer and the glTF 2.0 Asset Object
Model for channels that name their target by JSON pointer.
"""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, field
from typing import NamedTuple

from kinelint.finding import Note
from kinelint.readers.gltf_accessors import Accessors
from kinelint.readers.gltf_document import Document, Json
from kinelint.readers.gltf_extensions import few

WIDTHS = {"translation": 3, "rotation": 4, "scale": 3}
_MODES = ("LINEAR", "STEP", "CUBICSPLINE")
_INDEX = r"(0|[1-9]\d{0,8})"
_NODE = re.compile(rf"/nodes/{_INDEX}/(translation|rotation|scale)")
_WEIGHTS = re.compile(rf"/(nodes|meshes)/{_INDEX}/weights(?:/{_INDEX})?")


class Target(NamedTuple):
    """What a channel moves.

    Attributes:
        node: of the file; for the weights of a mesh the first node that has it.
        path: "translation", "rotation", "scale" or "weights".
        element: the one morph target that is driven; None for all.
        mesh: the mesh whose own weights are driven; None for those of a node.
    """

    node: int
    path: str
    element: int | None = None
    mesh: int | None = None


class Channel(NamedTuple):
    """One property of one node over time. `keys` and `values` are accessors."""

    node: int
    path: str
    element: int | None
    mesh: int | None
    keys: int
    values: int
    mode: str
    animation: int
    sampler: int

    @property
    def place(self) -> str:
        """JSON pointer of the sampler."""
        return f"/animations/{self.animation}/samplers/{self.sampler}"


@dataclass(frozen=True)
class Animation:
    """One animation: its place in the file, its name there, the channels that move nodes."""

    index: int
    name: str
    channels: tuple[Channel, ...]
    notes: tuple[Note, ...]


@dataclass
class _Reading:
    """What the animations of one file share."""

    document: Document
    accessors: int
    nodes: list[Json]
    unused: dict[str, list[str]] = field(default_factory=lambda: defaultdict(list))


def read_animations(document: Document, accessors: Accessors) -> list[Animation]:
    """All animations, their references checked, no values read yet."""
    count, nodes = len(document.table("accessors")), document.table("nodes")
    return [
        _animation(_Reading(document, count, nodes), tree, i)
        for i, tree in enumerate(document.table("animations"))
    ]


def _animation(reading: _Reading, tree: Json, index: int) -> Animation:
    document, place = reading.document, f"/animations/{index}"
    samplers = _samplers(reading, document.objects(tree, "samplers", place), place)
    found: dict[Target, Channel] = {}
    nodes = len(reading.nodes)
    for i, entry in enumerate(document.objects(tree, "channels", place)):
        aim = entry.get("target")
        sampler = entry.get("sampler")
        if type(aim) is not dict:
            raise document.error("must be an object", f"{place}/channels/{i}/target")
        node, path = aim.get("node"), aim.get("path")
        target: Target | None
        if type(node) is int and 0 <= node < nodes and type(path) is str and path in WIDTHS:
            target = Target(node, path)
        else:
            target = _target(reading, aim, f"{place}/channels/{i}/target")
        if target is None:
            continue
        if type(sampler) is not int or not 0 <= sampler < len(samplers):
            sampler = document.reference(entry, "sampler", len(samplers), f"{place}/channels/{i}")
        keys, values, mode = samplers[sampler]
        channel = Channel(*target, keys, values, mode, index, sampler)
        if found.setdefault(target, channel) is not channel:
            what = f"{reading.nodes[target[0]].get('name') or f'node {target[0]}'} {target[1]}"
            reading.unused["move what an earlier channel moves already"].append(what)
    notes = _notes(reading)
    return Animation(index, document.text(tree, "name", place), tuple(found.values()), notes)


def _samplers(reading: _Reading, table: list[Json], place: str) -> list[tuple[int, int, str]]:
    """Key accessor, value accessor and mode of each."""
    count = reading.accessors
    found = []
    for i, sampler in enumerate(table):
        keys, values = sampler.get("input"), sampler.get("output")
        mode = sampler.get("interpolation", "LINEAR")
        # Written out: files hold thousands of these.
        if not (
            type(keys) is int
            and type(values) is int
            and 0 <= keys < count
            and 0 <= values < count
            and mode in _MODES
        ):
            raise _fault(reading, sampler, f"{place}/samplers/{i}")
        found.append((keys, values, mode))
    return found


def _fault(reading: _Reading, sampler: Json, place: str) -> Exception:
    mode = sampler.get("interpolation", "LINEAR")
    if mode not in _MODES:
        what = f"{mode!r} is none of {', '.join(_MODES)}"
        return reading.document.error(what, f"{place}/interpolation")
    for key in ("input", "output"):
        reading.document.reference(sampler, key, reading.accessors, place)
    raise AssertionError(place)


def _target(reading: _Reading, target: Json, place: str) -> Target | None:
    """What a channel moves; None for one that moves no node (a material, an extension)."""
    document, path = reading.document, target.get("path")
    if path == "pointer":
        pointer = document.inner(target, "extensions", "KHR_animation_pointer", "pointer")
        found = _pointed(reading, pointer, place) if type(pointer) is str else None
        if found is None:
            reading.unused["point at what is neither a joint nor a weight"].append(str(pointer))
        return found
    if "node" not in target or (path not in WIDTHS and path != "weights"):
        reading.unused["name no node or a property that no node has"].append(str(path))
        return None
    return Target(document.reference(target, "node", len(reading.nodes), place), str(path))


def _pointed(reading: _Reading, pointer: str, place: str) -> Target | None:
    at = f"{place}/extensions/KHR_animation_pointer"
    document = reading.document

    def index(text: str, table: str) -> int:
        size = len(document.table(table))
        return document.reference({"pointer": int(text)}, "pointer", size, at)

    match = _NODE.fullmatch(pointer)
    if match:
        return Target(index(match[1], "nodes"), match[2])
    match = _WEIGHTS.fullmatch(pointer)
    if match is None:
        return None
    element = None if match[3] is None else int(match[3])
    if match[1] == "nodes":
        return Target(index(match[2], "nodes"), "weights", element)
    mesh = index(match[2], "meshes")
    # A node's own weights take the place of its mesh's (glTF 2.0, section 5.25, node.weights).
    bearers = (i for i, one in enumerate(reading.nodes) if one.get("mesh") == mesh)
    node = next((i for i in bearers if "weights" not in reading.nodes[i]), None)
    return None if node is None else Target(node, "weights", element, mesh)


def _notes(reading: _Reading) -> tuple[Note, ...]:
    def told(why: str, names: list[str]) -> str:
        which = few(list(dict.fromkeys(names)))
        return f"{len(names)} channels {why} and were left out: {which}"

    return tuple(Note("channels", told(why, names)) for why, names in reading.unused.items())
