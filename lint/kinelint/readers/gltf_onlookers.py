"""Nodes of a glTF file that an animation moves though they are no joints, and what is said of them.

Cameras and lights watch a figure; nodes of a VRM animation may stand for an expression or for the
direction of the eyes. Their channels are no motion of a body.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from kinelint.finding import Note
from kinelint.readers.gltf_channels import WIDTHS, Animation, Channel
from kinelint.readers.gltf_document import Document
from kinelint.readers.gltf_extensions import counted, few
from kinelint.readers.gltf_nodes import Nodes
from kinelint.readers.gltf_skeleton import Rig

_LIGHT = "KHR_lights_punctual"


@dataclass(frozen=True)
class Onlookers:
    """Which nodes are looked past.

    Attributes:
        signs: nodes that stand for expressions, to their names.
        gaze: the node that stands for the direction of the eyes.
        watching: nodes with a camera or a light, and nothing below them.
    """

    signs: Mapping[int, str]
    gaze: int | None
    watching: frozenset[int]

    @property
    def no_joints(self) -> set[int]:
        """All of them."""
        return {*self.signs, *self.watching} | ({self.gaze} if self.gaze is not None else set())

    def notes(self, animation: Animation, rig: Rig, nodes: Nodes) -> Iterator[Note]:
        """What one animation moves that is left out, one note for each kind."""
        left_out: dict[str, list[str]] = defaultdict(list)
        strays = [one for one in animation.channels if one.node not in rig.joint_of]
        for one in strays:
            kind = self._kind(one)
            if kind:
                left_out[kind].append(nodes.label(one.node))
        for kind, names in left_out.items():
            which = few(list(dict.fromkeys(names)))
            text = f"channels that move {kind} were left out"
            yield Note("channels", f"{text}: {counted(len(names), 'channel')}, of {which}")

    def _kind(self, one: Channel) -> str:
        """What a channel moves; "" where that is carried over."""
        if one.path not in WIDTHS or (one.node in self.signs and one.path == "translation"):
            return ""
        if one.node in self.watching:
            return "cameras or lights"
        # A note of the asset tells of the eyes.
        return "" if one.node == self.gaze else "what is no joint"


def find_watching(document: Document, nodes: Nodes, joints: set[int]) -> frozenset[int]:
    """Nodes with a camera or a light that are not among `joints` and carry nothing."""
    return frozenset(
        node
        for node, table in enumerate(nodes.table)
        if node not in joints
        and not nodes.children[node]
        and "mesh" not in table
        and ("camera" in table or document.inner(table, "extensions", _LIGHT) is not None)
    )
