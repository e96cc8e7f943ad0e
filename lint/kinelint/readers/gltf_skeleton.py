"""Which nodes of a glTF file are joints, and the one skeleton that they make."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from kinelint.clip import Skeleton
from kinelint.readers.gltf_document import Document
from kinelint.readers.gltf_nodes import Nodes
from kinelint.readers.options import ReadOptions

# What a node may carry without being a joint: it is a thing that hangs on one.
_LOADS = ("mesh", "camera", "skin")


@dataclass(frozen=True, eq=False)
class Rig:
    """The skeleton of a file, and the way from its nodes to its joints.

    Attributes:
        skeleton: all joints of the file, one forest.
        nodes: ``joints`` node indices, in the skeleton's order.
        joint_of: node to joint.
        size: of the rest pose, file units: the median distance of a joint from its parent.
    """

    skeleton: Skeleton
    nodes: tuple[int, ...]
    joint_of: Mapping[int, int]
    size: float


def build_rig(
    nodes: Nodes,
    bound: set[int],
    animated: set[int],
    humanoid: Mapping[str, int],
    signs: set[int],
    document: Document,
    options: ReadOptions,
) -> Rig | None:
    """One forest of all that is bound, animated or named, with its ancestors and helper nodes.

    Args:
        nodes: of the file.
        bound: nodes that a skin binds.
        animated: nodes that an animation moves.
        humanoid: bone names to nodes.
        signs: nodes that stand for something else than a place, and are no joints.
        document: for errors.
        options: for the most joints.

    Returns:
        None if the file has no nodes, or nothing but more nodes than a skeleton may have.
    """
    seeds = bound | animated | set(humanoid.values())
    kept = _with_helpers(nodes, _with_ancestors(nodes, seeds), seeds, signs) if seeds else None
    chosen = [node for node in nodes.order if kept is None or node in kept]
    if len(chosen) > options.max_joints:
        if kept is None:
            return None
        what = f"the skeleton has {len(chosen)} joints, more than the {options.max_joints} allowed"
        raise document.error(what, "/nodes", "Raise the limit or remove what is no joint.")
    if not chosen:
        return None
    joint_of = {node: joint for joint, node in enumerate(chosen)}
    inner = {nodes.parents[node] for node in chosen}
    tips = [bool(seeds) and node not in seeds and node not in inner for node in chosen]
    lengths = np.linalg.norm(nodes.translations[chosen], axis=1)
    size = float(np.median(lengths[lengths > 0.0])) if np.any(lengths > 0.0) else 1.0
    skeleton = _skeleton(nodes, chosen, joint_of, tips, humanoid)
    return Rig(skeleton, tuple(chosen), joint_of, size)


def _skeleton(
    nodes: Nodes,
    chosen: list[int],
    joint_of: Mapping[int, int],
    tips: list[bool],
    humanoid: Mapping[str, int],
) -> Skeleton:
    return Skeleton(
        names=tuple(nodes.names[node] for node in chosen),
        parents=np.array([joint_of.get(nodes.parents[node], -1) for node in chosen], dtype=np.intp),
        rest_translations=nodes.translations[chosen],
        rest_rotations=nodes.rotations[chosen],
        rest_scales=nodes.scales[chosen],
        tips=np.array(tips, dtype=np.bool_),
        handles=tuple(f"/nodes/{node}" for node in chosen),
        humanoid={bone: joint_of[node] for bone, node in humanoid.items()},
    )


def _with_ancestors(nodes: Nodes, seeds: Iterable[int]) -> set[int]:
    kept: set[int] = set()
    for node in seeds:
        while node >= 0 and node not in kept:
            kept.add(node)
            node = nodes.parents[node]
    return kept


def _with_helpers(nodes: Nodes, kept: set[int], seeds: set[int], signs: set[int]) -> set[int]:
    """Add what hangs below joints and carries nothing: ends of chains, sockets."""
    found = set(kept)
    waiting = list(seeds)
    while waiting:
        for child in nodes.children[waiting.pop()]:
            if child in found or child in signs:
                continue
            if not any(load in nodes.table[child] for load in _LOADS):
                found.add(child)
                waiting.append(child)
    return found
