"""glTF 2.0 (.gltf, .glb, and the VRM files built on it) to clips, one skeleton and skins.

glTF lengths are metres and Y is up (glTF 2.0 specification, section 3.4).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from kinelint.clip import Asset, Clip
from kinelint.finding import Note
from kinelint.readers import gltf_vrm
from kinelint.readers.gltf_accessors import Accessors
from kinelint.readers.gltf_animation import ClipMaker
from kinelint.readers.gltf_buffers import Buffers
from kinelint.readers.gltf_channels import WIDTHS, Animation, read_animations
from kinelint.readers.gltf_container import MAGIC, Container, open_container
from kinelint.readers.gltf_document import Document
from kinelint.readers.gltf_nodes import Nodes, read_nodes
from kinelint.readers.gltf_skeleton import Rig, build_rig
from kinelint.readers.gltf_skins import read_skins, skin_joints
from kinelint.readers.options import ReadOptions


@dataclass(frozen=True)
class GltfReader:
    """Reads JSON and binary glTF alike; content decides which it is."""

    media: str = "gltf"
    endings: tuple[str, ...] = (".gltf", ".glb", ".vrm", ".vrma")

    def sniff(self, head: bytes, path: Path) -> bool:
        """Whether a file that begins with `head` is glTF."""
        if head[:4] == MAGIC:
            return True
        text = head.removeprefix(b"\xef\xbb\xbf").lstrip()
        return text[:1] == b"{" and (path.suffix.lower() == ".gltf" or b'"asset"' in text)

    def read(self, path: Path, options: ReadOptions) -> Asset:
        """All animations as clips over one skeleton, and all skins.

        A file without animation has no clips and a note that says so.

        Raises:
            AssetError: naming the place in the file by JSON pointer.
        """
        container = open_container(path, options)
        document = container.document
        accessors = Accessors(document, Buffers(container, options), options)
        nodes = read_nodes(document)
        animations = read_animations(document, accessors)
        rig = _rig(document, nodes, animations, options)
        notes = list(_notes(document, nodes, animations, rig))
        if rig is None:
            return Asset((), notes=tuple(notes))
        clips = _clips(container, accessors, nodes, rig, animations, options, notes)
        skins, more = read_skins(document, accessors, nodes, rig)
        return Asset(clips, rig.skeleton, skins, (*notes, *more))


READER = GltfReader()


def _rig(
    document: Document, nodes: Nodes, animations: list[Animation], options: ReadOptions
) -> Rig | None:
    """The joints of the file. Morph-only files get the nodes whose weights move."""
    bound = {node for joints in skin_joints(document) for node in joints}
    humanoid = gltf_vrm.humanoid(document)
    signs = {*gltf_vrm.expressions(document), gltf_vrm.gaze(document)}
    channels = [one for each in animations for one in each.channels]
    animated = {one.node for one in channels if one.path in WIDTHS} - signs
    if not (bound or humanoid or animated):
        animated = {one.node for one in channels}
    return build_rig(nodes, bound, animated, humanoid, document, options)


def _clips(
    container: Container,
    accessors: Accessors,
    nodes: Nodes,
    rig: Rig,
    animations: list[Animation],
    options: ReadOptions,
    notes: list[Note],
) -> tuple[Clip, ...]:
    document = container.document
    expressions = gltf_vrm.expressions(document)
    maker = ClipMaker(document, accessors, nodes, rig, expressions, container.media, options)
    moving = [one for one in animations if one.channels]
    return maker.make(moving, list(_distinct(moving, notes)))


def _distinct(animations: list[Animation], notes: list[Note]) -> Iterator[str]:
    """A name for each, no two alike: people and policies tell clips apart by it."""
    given = {one.name for one in animations}
    used: set[str] = set()
    numbers: Counter[str] = Counter()
    for animation in animations:
        wanted = name = animation.name or f"animation {animation.index}"
        while name in used or (name != animation.name and name in given):
            numbers[wanted] += 1
            name = f"{wanted} ({numbers[wanted] + 1})"
        if name != wanted:
            text = f"several animations are called {wanted!r}; one of them is {name!r} here"
            notes.append(Note("clip-names", text))
        used.add(name)
        yield name


def _notes(
    document: Document, nodes: Nodes, animations: list[Animation], rig: Rig | None
) -> Iterator[Note]:
    if not animations:
        yield Note("animation", "the file holds no animation")
    for one in animations:
        if not one.channels:
            name = one.name or f"animation {one.index}"
            yield Note("animation", f"{name!r} moves no node and was left out")
    if rig is None:
        yield Note("skeleton", "the file holds no skeleton")
    for node in nodes.sheared:
        if rig is not None and node in rig.joint_of:
            text = f"the matrix of {nodes.label(node)!r} is sheared; the shear was left out"
            yield Note("shear", text)
    if gltf_vrm.gaze(document) is not None:
        yield Note("gaze", "the direction of the eyes is given by a node of its own and not judged")
