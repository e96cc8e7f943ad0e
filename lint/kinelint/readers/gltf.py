"""glTF 2.0 (.gltf, .glb, and the VRM files built on it) to clips, one skeleton and skins.

glTF lengths are metres and Y is up (glTF 2.0 specification, section 3.4).
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from kinelint.clip import Asset
from kinelint.finding import Note
from kinelint.readers import gltf_expressions, gltf_extensions, gltf_vrm
from kinelint.readers.gltf_accessors import Accessors
from kinelint.readers.gltf_animation import ClipMaker
from kinelint.readers.gltf_buffers import Buffers
from kinelint.readers.gltf_carries import CARRIES
from kinelint.readers.gltf_channels import WIDTHS, Animation, read_animations
from kinelint.readers.gltf_container import MAGIC, open_container
from kinelint.readers.gltf_document import Document
from kinelint.readers.gltf_extensions import counted, few
from kinelint.readers.gltf_nodes import Nodes, read_nodes
from kinelint.readers.gltf_onlookers import Onlookers, find_watching
from kinelint.readers.gltf_skeleton import Rig, build_rig
from kinelint.readers.gltf_skins import read_skins, skin_joints
from kinelint.readers.gltf_weights import WeightReader
from kinelint.readers.options import ReadOptions


@dataclass(frozen=True)
class GltfReader:
    """Reads JSON and binary glTF alike; content decides which it is."""

    media: str = "gltf"
    endings: tuple[str, ...] = (".gltf", ".glb", ".vrm", ".vrma")
    carries: str = CARRIES

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
        # What is not finite stays so on its way to intake, which names the frame and the joint.
        with np.errstate(invalid="ignore", over="ignore"):
            return self._read(path, options)

    def _read(self, path: Path, options: ReadOptions) -> Asset:
        container = open_container(path, options)
        document = container.document
        accessors = Accessors(document, Buffers(container, options), options)
        _refuse_crowd(document, options)
        nodes = read_nodes(document)
        animations = read_animations(document, accessors)
        bones = gltf_vrm.humanoid(document)
        onlookers = _onlookers(document, nodes, bones)
        rig = _rig(document, nodes, animations, bones, onlookers, options)
        notes = list(_notes(document, nodes, animations, bones, rig))
        if rig is None:
            return Asset((), notes=tuple(notes))
        maker = ClipMaker(
            document,
            accessors,
            nodes,
            rig,
            WeightReader(accessors, nodes, onlookers.signs, _drives(document)),
            container.media,
            options,
        )
        moving = [
            replace(one, notes=(*one.notes, *onlookers.notes(one, rig, nodes)))
            for one in animations
            if one.channels
        ]
        clips = maker.make(moving, list(_distinct(moving, notes)))
        if gltf_vrm.is_animation(document):
            clips = tuple(
                replace(clip, notes=(*clip.notes, *gltf_vrm.beyond_standard(clip)))
                for clip in clips
            )
        skins, more = read_skins(document, accessors, nodes, rig)
        return Asset(clips, rig.skeleton, skins, (*notes, *more))


READER = GltfReader()

# Scenery stands in files as well; each node takes some hundred bytes, from three in the file.
_NODES_A_JOINT = 20


_MOST_ANIMATIONS = 10_000


def _refuse_crowd(document: Document, options: ReadOptions) -> None:
    """More nodes or animations than any real file has, from a few bytes each."""
    animations = len(document.table("animations"))
    if animations > _MOST_ANIMATIONS:
        what = f"the file has {animations} animations, more than the {_MOST_ANIMATIONS} read"
        raise document.error(what, "/animations", "Split the file.")
    count, most = len(document.table("nodes")), options.max_joints * _NODES_A_JOINT
    if count > most:
        what = f"the file has {count} nodes, more than the {most} that are read"
        raise document.error(what, "/nodes", "Raise the limit of joints or split the file.")


def _onlookers(document: Document, nodes: Nodes, bones: Mapping[str, int]) -> Onlookers:
    bound = {node for joints in skin_joints(document) for node in joints}
    watching = find_watching(document, nodes, bound.union(bones.values()))
    return Onlookers(gltf_expressions.signs(document), gltf_vrm.gaze(document), watching)


def _rig(
    document: Document,
    nodes: Nodes,
    animations: list[Animation],
    bones: Mapping[str, int],
    onlookers: Onlookers,
    options: ReadOptions,
) -> Rig | None:
    """The joints of the file. Morph-only files get the nodes whose weights move."""
    bound = {node for joints in skin_joints(document) for node in joints}
    channels = [one for each in animations for one in each.channels]
    apart = onlookers.no_joints - bound.union(bones.values())
    animated = {one.node for one in channels if one.path in WIDTHS} - apart
    if not (bound or bones or animated):
        animated = {one.node for one in channels}
    return build_rig(nodes, bound, animated, bones, apart - animated, document, options)


def _drives(document: Document) -> dict[tuple[int, int], list[str]]:
    """By mesh and morph target the expressions that drive it."""
    found: dict[tuple[int, int], list[str]] = defaultdict(list)
    for bind in gltf_expressions.binds(document):
        if bind.weight and bind.expression not in found[bind.mesh, bind.target]:
            found[bind.mesh, bind.target].append(bind.expression)
    return found


def _distinct(animations: list[Animation], notes: list[Note]) -> Iterator[str]:
    """A name for each, no two alike: people and policies tell clips apart by it."""
    given = {one.name for one in animations}
    used: set[str] = set()
    numbers: Counter[str] = Counter()
    renamed: list[str] = []
    for animation in animations:
        wanted = name = animation.name or f"animation {animation.index}"
        while name in used or (name != animation.name and name in given):
            numbers[wanted] += 1
            name = f"{wanted} ({numbers[wanted] + 1})"
        if name != wanted:
            renamed.append(name)
        used.add(name)
        yield name
    if renamed:
        text = f"animations whose name is taken by an earlier one are called here: {few(renamed)}"
        notes.append(Note("clip-names", text))


def _notes(
    document: Document,
    nodes: Nodes,
    animations: list[Animation],
    bones: Mapping[str, int],
    rig: Rig | None,
) -> Iterator[Note]:
    if not animations:
        yield Note("animation", "the file holds no animation")
    still = [one.name or f"animation {one.index}" for one in animations if not one.channels]
    if still:
        count = counted(len(still), "animation")
        text = f"animations that move no node were left out: {count}, {few(still)}"
        yield Note("animation", text)
        yield from dict.fromkeys(
            note for one in animations if not one.channels for note in one.notes
        )
    if rig is None:
        yield Note("skeleton", "the file holds no skeleton")
    sheared = [nodes.label(one) for one in nodes.sheared if rig and one in rig.joint_of]
    if sheared:
        count = counted(len(sheared), "joint")
        text = f"the shear of joints' matrices was left out: {count}"
        yield Note("shear", f"{text}, {few(sheared)}")
    yield from gltf_extensions.notes(document)
    yield from gltf_vrm.notes(document, nodes, bones)
    yield from gltf_expressions.notes(document)
