"""Which node properties each animation of a glTF file moves, by which keys.

Sources: glTF 2.0 specification, section 3.11; KHR_animation_pointer and the glTF 2.0 Asset Object
Model for channels that name their target by JSON pointer.
"""

from __future__ import annotations

import re
import reprlib
from collections import defaultdict
from dataclasses import dataclass, field
from typing import NamedTuple

from kinelint.finding import Note
from kinelint.readers.gltf_accessors import Accessors
from kinelint.readers.gltf_document import Document, Json
from kinelint.readers.gltf_extensions import counted, few

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
    entries = document.objects(tree, "channels", place)
    channels = _plain(reading, entries, samplers, index)
    if channels is None:
        channels = _any(reading, entries, samplers, index)
    return Animation(index, document.name(tree, place), tuple(channels), _notes(reading))


def _plain(
    reading: _Reading, entries: list[Json], samplers: list[tuple[int, int, str]], index: int
) -> list[Channel] | None:
    """Channels that all move nodes, none of them twice; None if one is not so.

    Files hold ten thousand channels, nearly always such: checked together they cost half.
    """
    try:
        rows = [(one["target"]["node"], one["target"]["path"], one["sampler"]) for one in entries]
        if len({row[:2] for row in rows}) < len(rows) or not rows:
            return None
        nodes, paths, used = zip(*rows, strict=True)
    except (KeyError, TypeError):
        return None
    whole = set(map(type, nodes)) | set(map(type, used)) == {int}
    if not whole or not set(paths) <= WIDTHS.keys():
        return None
    if min(nodes) < 0 or max(nodes) >= len(reading.nodes):
        return None
    if min(used) < 0 or max(used) >= len(samplers):
        return None
    # As `Channel(…)` does, but without a call of Python for each.
    make = tuple.__new__
    return [
        make(Channel, (node, path, None, None, *samplers[sampler], index, sampler))
        for node, path, sampler in rows
    ]


def _any(
    reading: _Reading, entries: list[Json], samplers: list[tuple[int, int, str]], index: int
) -> list[Channel]:
    """The channels that move nodes or weights, each property by the first that moves it."""
    document, count = reading.document, len(samplers)
    found: dict[tuple[object, ...], Channel] = {}
    for i, entry in enumerate(entries):
        place = f"/animations/{index}/channels/{i}"
        aim = document.object(entry, "target", place)
        target = _target(reading, aim, f"{place}/target")
        if target is None:
            continue
        node, path, element, mesh = target
        sampler = document.reference(entry, "sampler", count, place)
        channel = Channel(node, path, element, mesh, *samplers[sampler], index, sampler)
        if found.setdefault(target, channel) is not channel:
            what = f"{reading.nodes[node].get('name') or f'node {node}'} {path}"
            reading.unused["move what an earlier channel moves already"].append(what)
    return list(found.values())


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
        what = f"{reprlib.repr(mode)} is none of {', '.join(_MODES)}"
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
    if "node" not in target or path not in (*WIDTHS, "weights"):
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
        return f"channels that {why} were left out: {counted(len(names), 'channel')}, {which}"

    return tuple(Note("channels", told(why, names)) for why, names in reading.unused.items())
