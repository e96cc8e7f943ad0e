"""Morph-target weights of a glTF animation, and the expressions of a VRM animation."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats
from kinelint.readers import sampling
from kinelint.readers.gltf_accessors import Accessors
from kinelint.readers.gltf_channels import Animation, Channel
from kinelint.readers.gltf_document import Document, Json
from kinelint.readers.gltf_extensions import few
from kinelint.readers.gltf_nodes import Nodes
from kinelint.readers.short import short_line


class Weights(NamedTuple):
    """Curves of one clip, ``(frames,)`` each, by name, and what was done to them."""

    names: list[str]
    curves: list[Floats]
    notes: list[Note]


@dataclass(frozen=True)
class WeightReader:
    """Reads the weights of one file's clips.

    Attributes:
        accessors: of the file.
        nodes: of the file.
        signs: nodes whose X translation is the weight of an expression, to its name.
        drives: by mesh and morph target the expressions that drive it.
    """

    accessors: Accessors
    nodes: Nodes
    signs: Mapping[int, str]
    drives: Mapping[tuple[int, int], list[str]]

    def read(
        self, animation: Animation, times: Mapping[int, Floats], at: Mapping[int, sampling.Lookup]
    ) -> Weights:
        """Channels "<node or mesh> <target>" and "expression <name>", in the file's order.

        Args:
            animation: whose channels.
            times: key times by accessor.
            at: where the frames stand among them.
        """
        found = Weights([], [], [])
        clamped: list[str] = []
        for one in animation.channels:
            if one.path == "weights":
                targets = target_count(one, self.accessors, len(times[one.keys]))
                found.names.extend(self._target_names(one, targets))
                curves = _curves(one, self.accessors, targets, len(times[one.keys]), at[one.keys])
                found.curves.extend(curves)
            elif one.node in self.signs and one.path == "translation":
                curves = _curves(one, self.accessors, 3, len(times[one.keys]), at[one.keys])
                if self._add_expression(found, self.signs[one.node], curves[0]):
                    clamped.append(self.signs[one.node])
        if clamped:
            which = few(list(map(repr, clamped)))
            text = f"weights of expressions leave 0 to 1 and were clamped: {which}"
            found.notes.append(Note("expressions", f"{text}; VRMC_vrm_animation asks for that"))
        return found

    def _add_expression(self, found: Weights, name: str, curve: Floats) -> bool:
        """Whether its curve had to be clamped."""
        found.names.append(f"expression {short_line(name, 80)}")
        # NaN stays, for intake to see.
        kept = np.clip(curve, 0.0, 1.0)
        found.curves.append(kept)
        return bool(np.any(kept < curve) or np.any(kept > curve))

    def _target_names(self, channel: Channel, count: int) -> Iterator[str]:
        document = self.accessors.document
        meshes = document.table("meshes")
        index = self.nodes.table[channel.node].get("mesh")
        mesh = meshes[index] if type(index) is int and 0 <= index < len(meshes) else {}
        owner = self.nodes.names[channel.node] or mesh.get("name") or self.nodes.label(channel.node)
        if channel.mesh is not None:
            owner = mesh.get("name") or f"mesh {channel.mesh}"
        named = target_names(document, mesh)
        first = channel.element or 0
        for i in range(first, first + count):
            target = short_line(named[i], 80) if i < len(named) else f"target {i}"
            name = f"{short_line(str(owner), 80)} {target}"
            driven_by = self.drives.get((index, i)) if type(index) is int else None
            yield f"{name} ({few(driven_by)})" if driven_by else name


def target_count(channel: Channel, accessors: Accessors, keys: int) -> int:
    """How many morph targets a channel of weights drives."""
    if channel.element is not None:
        return 1
    rows = keys * 3 if channel.mode == "CUBICSPLINE" else keys
    place = f"{channel.place}/output"
    stored = len(accessors.raw(channel.values, 1, place))
    if stored % rows:
        what = f"{keys} keys of {channel.mode} need a multiple of {rows} weights, found {stored}"
        raise accessors.document.error(what, place)
    return stored // rows


def _curves(
    channel: Channel, accessors: Accessors, width: int, keys: int, at: sampling.Lookup
) -> Floats:
    """``(width, frames)``: the elements of a key may be one vector or `width` scalars."""
    place = f"{channel.place}/output"
    scalar = channel.path == "weights"
    stored = accessors.floats(channel.values, 1 if scalar else width, place)
    rows = keys * 3 if channel.mode == "CUBICSPLINE" else keys
    if stored.size != rows * width:
        what = f"{keys} keys of {channel.mode} need {rows} values, found {len(stored)}"
        raise accessors.document.error(what, place)
    if channel.mode == "CUBICSPLINE":
        inward, values, outward = stored.reshape(keys, 3, width).transpose(1, 2, 0)
        return sampling.cubic(inward, values, outward, at)
    values = stored.reshape(keys, width).T
    return (sampling.step if channel.mode == "STEP" else sampling.linear)(values, at)


def target_names(document: Document, mesh: Json) -> list[str]:
    """What the file calls the morph targets of a mesh, where it does (common practice)."""
    listed = document.inner(mesh, "extras", "targetNames")
    if type(listed) is not list:
        # VRM 0.x writes them into the extras of the first primitive.
        primitives = mesh.get("primitives")
        first = primitives[0] if type(primitives) is list and primitives else None
        listed = document.inner(first, "extras", "targetNames")
    if type(listed) is not list:
        return []
    return [one if type(one) is str else f"target {i}" for i, one in enumerate(listed)]
