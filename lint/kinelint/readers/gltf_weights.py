"""Morph-target weights of a glTF animation, and the expressions of a VRM animation."""

from __future__ import annotations

from collections.abc import Mapping

from kinelint.kinematics.arrays import Floats
from kinelint.readers import sampling
from kinelint.readers.gltf_accessors import Accessors
from kinelint.readers.gltf_channels import Animation, Channel
from kinelint.readers.gltf_document import Document, Json
from kinelint.readers.gltf_nodes import Nodes


def weight_channels(
    animation: Animation,
    accessors: Accessors,
    nodes: Nodes,
    expressions: Mapping[int, str],
    times: Mapping[int, Floats],
    at: Mapping[int, sampling.Lookup],
) -> tuple[tuple[str, ...], list[Floats]]:
    """Names "<node or mesh> <target>" and curves ``(frames,)``, in the order of the channels.

    Args:
        animation: whose channels.
        accessors: of the file.
        nodes: of the file.
        expressions: nodes whose X translation is the weight of an expression, to its name.
        times: key times by accessor.
        at: where the frames stand among them.
    """
    names: list[str] = []
    curves: list[Floats] = []
    for one in animation.channels:
        if one.node in expressions and one.path == "translation":
            names.append(f"expression {expressions[one.node]}")
            curves.append(_curves(one, accessors, 3, len(times[one.keys]), at[one.keys])[0])
        elif one.path == "weights":
            targets = target_count(one, accessors, len(times[one.keys]))
            names += _target_names(one, accessors.document, nodes, targets)
            curves += list(_curves(one, accessors, targets, len(times[one.keys]), at[one.keys]))
    return tuple(names), curves


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


def _target_names(channel: Channel, document: Document, nodes: Nodes, count: int) -> list[str]:
    meshes = document.table("meshes")
    index = nodes.table[channel.node].get("mesh")
    mesh = meshes[index] if type(index) is int and 0 <= index < len(meshes) else {}
    owner = nodes.names[channel.node] or mesh.get("name") or nodes.label(channel.node)
    if channel.mesh is not None:
        owner = mesh.get("name") or f"mesh {channel.mesh}"
    named = target_names(document, mesh)
    first = channel.element or 0
    return [
        f"{owner} {named[i] if i < len(named) else f'target {i}'}"
        for i in range(first, first + count)
    ]


def target_names(document: Document, mesh: Json) -> list[str]:
    """What the file calls the morph targets of a mesh, where it does (common practice)."""
    listed = document.inner(mesh, "extras", "targetNames")
    if type(listed) is not list:
        # VRM 0.x writes them into the extras of the first primitive.
        primitives = mesh.get("primitives")
        first = primitives[0] if type(primitives) is list and primitives else None
        listed = document.inner(first, "extras", "targetNames")
    return [str(one) for one in listed] if type(listed) is list else []
