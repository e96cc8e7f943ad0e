"""The nodes of an FBX scene: their tree, their transforms at rest, and which of them are joints."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from kinelint.errors import AssetError
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.readers.fbx_binding import binding, kept, listed
from kinelint.readers.options import ReadOptions


@dataclass(frozen=True, eq=False)
class Nodes:
    """All nodes of a scene but its root.

    Attributes:
        objects: the binding's.
        names: with their namespaces and prefixes.
        parents: -1 for what hangs on the scene.
        children: in file order.
        order: every node once, each after its parent.
        kinds: the binding's element type of what each carries, 0 for nothing.
        modes: how each takes its parent's scale: 0 wholly, 1 not the parent's own, 2 by component.
        index_of: element id to node.
        skinned: nodes whose mesh follows joints.
    """

    objects: list[Any]
    names: tuple[str, ...]
    parents: tuple[int, ...]
    children: tuple[tuple[int, ...], ...]
    order: tuple[int, ...]
    kinds: tuple[int, ...]
    modes: tuple[int, ...]
    index_of: Mapping[int, int]
    skinned: frozenset[int]

    def __len__(self) -> int:
        return len(self.objects)


def read_nodes(scene: Any) -> Nodes:
    """The tree. The binding has cut cycles and second parents by then."""
    objects = [one for one in listed(scene.nodes) if not one.is_root]
    index_of = {one.element_id: i for i, one in enumerate(objects)}
    parents = [_parent(one, index_of) for one in objects]
    children: list[list[int]] = [[] for _ in objects]
    for node, parent in enumerate(parents):
        if parent >= 0:
            children[parent].append(node)
    return Nodes(
        objects=objects,
        names=tuple(one.name for one in objects),
        parents=tuple(parents),
        children=tuple(map(tuple, children)),
        order=_order(parents, children),
        kinds=tuple(int(one.attrib_type) for one in objects),
        modes=tuple(int(one.inherit_mode) for one in objects),
        index_of=index_of,
        skinned=frozenset(_skinned(scene, index_of)),
    )


def _parent(node: Any, index_of: Mapping[int, int]) -> int:
    parent = kept(node.parent)
    return -1 if parent is None else index_of.get(parent.element_id, -1)


def _order(parents: list[int], children: list[list[int]]) -> tuple[int, ...]:
    order: list[int] = []
    waiting = [node for node in reversed(range(len(parents))) if parents[node] < 0]
    while waiting:
        node = waiting.pop()
        order.append(node)
        waiting.extend(reversed(children[node]))
    return tuple(order)


def _skinned(scene: Any, index_of: Mapping[int, int]) -> Iterable[int]:
    for mesh in listed(scene.meshes):
        if len(kept(mesh.skin_deformers)):
            yield from (index_of[one.element_id] for one in listed(mesh.instances))


def rest_transforms(nodes: Nodes, chosen: Iterable[int]) -> Floats:
    """``(nodes, 10)``: translation, rotation (scalar last) and scale where nothing is animated."""
    rows = [
        (*one.translation, *one.rotation, *one.scale)
        for one in (nodes.objects[node].local_transform for node in chosen)
    ]
    return np.array(rows, dtype=np.float64).reshape(-1, 10)


@dataclass(frozen=True, eq=False)
class Joints:
    """Which nodes are joints, in the skeleton's order.

    Attributes:
        nodes: their nodes.
        joint_of: node to joint.
        parents: ``(joints,)``, -1 for a root.
        modes: ``(joints,)`` as in `Nodes`.
        tips: ``(joints,)`` true where a chain only ends.
    """

    nodes: tuple[int, ...]
    joint_of: Mapping[int, int]
    parents: Ints
    modes: Ints
    tips: tuple[bool, ...]

    def __len__(self) -> int:
        return len(self.nodes)


def choose_joints(
    nodes: Nodes, bound: set[int], animated: set[int], options: ReadOptions
) -> Joints | None:
    """Bones, what a skin binds, what an animation moves, all above them, empty nodes below.

    Cameras, lights and skinned meshes do not become joints by being animated.

    Args:
        nodes: of the scene.
        bound: nodes that a skin binds.
        animated: nodes whose transform some take animates.
        options: for the most joints.

    Returns:
        None if there is nothing of the kind.

    Raises:
        AssetError: there are more than `options` allows.
    """
    kinds = binding().ElementType
    bones = {node for node, kind in enumerate(nodes.kinds) if kind == kinds.BONE}
    bodies = {int(one) for one in (kinds.BONE, kinds.EMPTY, kinds.MARKER, kinds.MESH)} | {0}
    moving = {node for node in animated if nodes.kinds[node] in bodies} - nodes.skinned
    seeds = bones | bound | moving
    kept_nodes = _with_helpers(nodes, _with_ancestors(nodes, seeds), seeds)
    chosen = tuple(node for node in nodes.order if node in kept_nodes)
    if len(chosen) > options.max_joints:
        what = f"the skeleton has {len(chosen)} joints, more than the {options.max_joints} allowed"
        mend = "Raise the limit or remove what is no joint."
        raise AssetError(what, place="Objects", mend=mend)
    if not chosen:
        return None
    joint_of = {node: joint for joint, node in enumerate(chosen)}
    used, inner = bound | moving, {nodes.parents[node] for node in chosen}
    return Joints(
        chosen,
        joint_of,
        np.array([joint_of.get(nodes.parents[node], -1) for node in chosen], dtype=np.intp),
        np.array([nodes.modes[node] for node in chosen], dtype=np.intp),
        tuple(bool(used) and node not in used and node not in inner for node in chosen),
    )


def _with_ancestors(nodes: Nodes, seeds: Iterable[int]) -> set[int]:
    found: set[int] = set()
    for node in seeds:
        while node >= 0 and node not in found:
            found.add(node)
            node = nodes.parents[node]
    return found


def _with_helpers(nodes: Nodes, found: set[int], seeds: set[int]) -> set[int]:
    """Add what hangs below joints and carries nothing: ends of chains, sockets."""
    kinds = binding().ElementType
    empty = {0, int(kinds.EMPTY), int(kinds.MARKER)}
    waiting = list(seeds)
    while waiting:
        for child in nodes.children[waiting.pop()]:
            if child not in found and nodes.kinds[child] in empty:
                found.add(child)
                waiting.append(child)
    return found
