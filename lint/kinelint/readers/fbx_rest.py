"""The rest pose of an FBX skeleton: the bind pose where the file has one, else what stands still.

Files store, beside the animation, each node's own transform, which is often just the pose that the
scene was saved in. The bind pose (of skin clusters, and of the file's pose objects) is the one the
body was built in, and the same in all takes of a character; so it comes first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from kinelint.clip import Skeleton
from kinelint.errors import AssetError
from kinelint.finding import Note
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.readers.fbx_binding import counted, few, kept, listed
from kinelint.readers.fbx_chain import Locals, Tree, chained
from kinelint.readers.fbx_nodes import Joints, Nodes, rest_transforms
from kinelint.readers.gltf_nodes import decompose

# Bones of a bind pose that is in another unit, or of another rig, are longer or shorter by more.
_ALIKE = 0.25
_FARTHEST = 1e30  # products of a few such numbers are still finite
_SAME_OFFSET = 1e-4  # of size: the bind pose of many files is rounded


def matrix(columns: Any) -> Floats:
    """``(4, 4)`` of the binding's four columns of three."""
    found = np.eye(4)
    found[:3] = np.array(columns, dtype=np.float64).T
    return found


def is_sound(at: Floats) -> bool:
    """Whether a ``(4, 4)`` transform is of numbers, not too large, and flattens nothing."""
    if not np.isfinite(at).all() or np.abs(at).max() > _FARTHEST:
        return False
    sizes = np.linalg.norm(at[:3, :3], axis=0)
    return bool(sizes.min() > 0.0 and abs(np.linalg.det(at[:3, :3] / sizes)) > 1e-9)


def bind_matrices(scene: Any, nodes: Nodes) -> Mapping[int, Floats]:
    """Node to ``(4, 4)``, where it stands in the world at the bind pose."""
    found: dict[int, Floats] = {}
    for node, columns in _stored(scene, nodes):
        if node not in found:
            at = matrix(columns)
            if is_sound(at):
                found[node] = at
    return found


def _stored(scene: Any, nodes: Nodes) -> Iterator[tuple[int, Any]]:
    """Of clusters first: they are what the skin was bound by."""
    for cluster in listed(scene.skin_clusters):
        bone = kept(cluster.bone_node)
        if bone is not None and bone.element_id in nodes.index_of:
            yield nodes.index_of[bone.element_id], cluster.bind_to_world
    for pose in listed(scene.poses):
        if pose.is_bind_pose:
            for one in listed(pose.bone_poses):
                node = nodes.index_of.get(kept(one.bone_node).element_id)
                if node is not None:
                    yield node, one.bone_to_world


def rest_locals(nodes: Nodes, joints: Joints) -> Locals:
    """The nodes' own transforms, as one frame.

    Raises:
        AssetError: one is no number.
    """
    rows = rest_transforms(nodes, joints.nodes)
    lost = np.flatnonzero(~np.isfinite(rows).all(axis=1) | (np.abs(rows) > _FARTHEST).any(axis=1))
    if len(lost):
        name = nodes.names[joints.nodes[int(lost[0])]]
        mend = "Export the scene again."
        raise AssetError("its transform is no usable number", place=f"Model::{name}", mend=mend)
    turns = rotations.normalise(rows[:, [6, 3, 4, 5]].T).T
    nothing = np.empty(0, dtype=np.intp)
    return Locals(rows[:, :3], nothing, np.empty((0, 3, 1)), turns[..., None], rows[:, 7:, None])


@dataclass(frozen=True, eq=False)
class Rest:
    """Of the chain, per joint: ``(joints, 3)``, ``(joints, 4)`` and ``(joints, 3)``."""

    shifts: Floats
    turns: Floats
    scales: Floats
    notes: tuple[Note, ...] = ()


def build_rest(
    tree: Tree,
    own: Locals,
    joints: Joints,
    bind: Mapping[int, Floats],
    zero: Callable[[], Floats | None],
) -> Rest:
    """The rest pose: by `bind` where that is known and plausible, else by `zero`, else by `own`.

    Args:
        tree: how scales are written.
        own: the nodes' own transforms.
        joints: of the skeleton.
        bind: as `bind_matrices` gives it.
        zero: gives ``(joints, 4)`` as `fbx_zero.zero_turns` does, for files without bind pose.
    """
    still = _unbound(tree, own)
    at = {joints.joint_of[node]: place for node, place in bind.items() if node in joints.joint_of}
    if at and _plausible(tree, still, at):
        return _bound(tree, still, at)
    notes = []
    if at:
        text = "the bind pose has bones of other lengths than the skeleton and was not used"
        notes.append(Note("rest-pose", text))
    turns = zero()
    if turns is not None:
        still = _unbound(tree, own._replace(turns=turns[..., None]))
        text = "without a bind pose, the skeleton rests where its rotation channels are zero"
        notes.append(Note("rest-pose", text))
    return replace(still, notes=tuple(notes))


def _unbound(tree: Tree, own: Locals) -> Rest:
    chain = chained(tree, own)
    scales = np.ones(chain.shifts.shape)
    scales[tree.stays] = chain.scales[..., 0]
    return Rest(chain.shifts, own.turns[..., 0], scales)


def _plausible(tree: Tree, still: Rest, at: Mapping[int, Floats]) -> bool:
    lengths = np.linalg.norm(still.shifts, axis=1)
    ratios = [
        float(np.linalg.norm(place[:3, 3] - at[parent][:3, 3]) / lengths[joint])
        for joint, place in at.items()
        if (parent := int(tree.parents[joint])) in at and lengths[joint] > 1e-9
    ]
    # One bone alone says nothing either way.
    return not ratios or abs(float(np.median(ratios)) - 1.0) <= _ALIKE


def _bound(tree: Tree, still: Rest, at: Mapping[int, Floats]) -> Rest:
    """`still`, turned and moved joint by joint to where the bind pose has it."""
    shifts, turns = still.shifts.copy(), still.turns.copy()
    lengths = np.linalg.norm(shifts, axis=1)
    size = float(np.median(lengths[lengths > 0.0])) if np.any(lengths > 0.0) else 1.0
    world = np.empty((len(shifts), 4))
    own, places = np.empty((len(shifts), 3, 3)), np.empty((len(shifts), 3))
    for joint, parent in enumerate(tree.parents.tolist()):
        above = world[parent] if parent >= 0 else np.array([1.0, 0.0, 0.0, 0.0])
        axes = own[parent] if parent >= 0 else np.eye(3)
        origin = places[parent] if parent >= 0 else np.zeros(3)
        if joint in at:
            turned = decompose(at[joint][None, :3, :3])[0][0]
            turns[joint] = rotations.multiply(rotations.conjugate(above[:, None]), turned[:, None])[
                :, 0
            ]
            moved = np.linalg.solve(axes, at[joint][:3, 3] - origin)
            if np.abs(moved - shifts[joint]).max() > _SAME_OFFSET * max(size, lengths[joint]):
                shifts[joint] = moved
        world[joint] = rotations.multiply(above[:, None], turns[joint][:, None])[:, 0]
        own[joint] = axes @ rotations.to_matrix(turns[joint][:, None])[..., 0] * still.scales[joint]
        places[joint] = origin + axes @ shifts[joint]
    return Rest(shifts, turns, still.scales)


def build_skeleton(nodes: Nodes, joints: Joints, rest: Rest) -> Skeleton:
    """The skeleton that all clips and skins of the file share."""
    return Skeleton(
        names=tuple(nodes.names[node] for node in joints.nodes),
        parents=joints.parents,
        rest_translations=rest.shifts,
        rest_rotations=rest.turns,
        rest_scales=rest.scales,
        tips=np.array(joints.tips, dtype=np.bool_),
        handles=tuple(f"Model::{nodes.names[node]}" for node in joints.nodes),
    )


def scale_note(skeleton: Skeleton, joints: Joints, tree: Tree) -> Iterator[Note]:
    """Joints that are scaled at rest in a way that offsets cannot take over."""
    uneven = [skeleton.names[joint] for joint in np.flatnonzero(tree.stays)]
    if uneven:
        text = f"{counted(len(uneven), 'joint')} of {len(joints)} scaled unevenly or over time"
        yield Note("scale", f"{text}: {few(uneven)}")
