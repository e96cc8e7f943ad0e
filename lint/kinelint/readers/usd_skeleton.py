"""Skeleton prims to skeletons.

Source: OpenUSD documentation, UsdSkel schemas: joints are tokens that read as paths, the parent of
a joint is the nearest of its ancestors that is listed; `restTransforms` are local to the parent,
`bindTransforms` are the world's at the bind pose.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from pxr import Usd, UsdSkel, Vt

from kinelint.clip import LARGEST, Skeleton
from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd_space import Space, parts, space_of
from kinelint.readers.usd_stage import Scene
from kinelint.readers.usd_values import names, numbers


@dataclass(frozen=True, eq=False)
class Rig:
    """One Skeleton prim.

    Attributes:
        prim: the Skeleton, possibly of an instance.
        skeleton: its joints, with one above them for the prim's own transform unless that is
            the identity.
        joint_of: token to joint.
        tokens: in the prim's order.
        bind: ``(tokens, 4, 4)`` bind transforms in the prim's order, for column vectors; None if
            the prim has none.
        space: where the skeleton stands.
        size: of the rest pose: the median distance of a joint from its parent.
        notes: what was assumed.
    """

    prim: Any
    skeleton: Skeleton
    joint_of: Mapping[str, int]
    tokens: tuple[str, ...]
    bind: Floats | None
    space: Space
    size: float
    notes: list[Note] = field(default_factory=list)

    @property
    def path(self) -> str:
        """Of the prim."""
        return str(self.prim.GetPath())

    @property
    def has_space_joint(self) -> bool:
        """Whether joint 0 stands for the prim's own transform."""
        return len(self.skeleton) > len(self.tokens)

    @cached_property
    def rest_world(self) -> Floats:
        """``(joints, 4, 4)`` of the rest pose in the world."""
        one = self.skeleton
        found = local_matrices(one.rest_translations, one.rest_rotations, one.rest_scales)
        for joint, parent in enumerate(one.parents.tolist()):
            if parent >= 0:
                found[joint] = found[parent] @ found[joint]
        return found


def local_matrices(translations: Floats, turned: Floats, scales: Floats) -> Floats:
    """``(n, 4, 4)`` of translations, quaternions and scales."""
    w, x, y, z = turned.T
    found = np.zeros((len(turned), 4, 4))
    found[:, 0, :3] = np.stack(
        (1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)), 1
    )
    found[:, 1, :3] = np.stack(
        (2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)), 1
    )
    found[:, 2, :3] = np.stack(
        (2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)), 1
    )
    found[:, :3, :3] *= scales[:, None, :]
    found[:, :3, 3] = translations
    found[:, 3, 3] = 1.0
    return found


def build_rig(prim: Any, animation: Any, scene: Scene, options: ReadOptions) -> Rig | None:
    """The skeleton of a prim; None if it lists no joints.

    Args:
        prim: a Skeleton, or a SkelAnimation in a file without any: its joints are a skeleton too.
        animation: the SkelAnimation prim whose first pose is the rest pose if there is no other.
        scene: of the file.
        options: for the most joints.

    Raises:
        AssetError: too many joints, a token twice, transforms that do not fit the joints.
    """
    place = str(prim.GetPath())
    notes: list[Note] = []
    schema = UsdSkel.Skeleton(prim)
    tokens = names(prim.GetAttribute("joints"), scene.error)
    if not tokens:
        return None
    _check_tokens(tokens, place, scene, options)
    order, parents = _tree(tokens)
    if order != list(range(len(tokens))):
        text = f"{place}: joints stand before their parents; they were put in order"
        notes.append(Note("joint-order", f"{text} (UsdSkel itself does not play such a skeleton)"))
    bind = _matrices(schema.GetBindTransformsAttr(), len(tokens), place, scene)
    rest = _matrices(schema.GetRestTransformsAttr(), len(tokens), place, scene)
    if rest is None:
        rest, source = _other_rest(bind, animation, tokens, order, parents, place, scene)
        notes.append(Note("rest-pose", f"{place}: no restTransforms; taken from {source}"))
    space = space_of(prim)
    above = not space.is_identity
    matrices = np.concatenate((space.rest[None], rest[order])) if above else rest[order]
    shifts, turned, scales, sheared = parts(matrices)
    if sheared:
        text = f"{place}: the rest transforms of {sheared} joints are sheared"
        notes.append(Note("shear", f"{text}; the shear was left out"))
    if above:
        notes.append(Note("root", f"the transform of {place} itself is joint 0"))
    lifted = np.array([-1, *(parents + 1)]) if above else parents
    leaves = [tokens[i].rpartition("/")[2] for i in order]
    handles = [f"{place}/{tokens[i]}" for i in order]
    skeleton = Skeleton(
        names=tuple([prim.GetName(), *leaves] if above else leaves),
        parents=lifted,
        rest_translations=shifts,
        rest_rotations=turned,
        rest_scales=scales,
        handles=tuple([place, *handles] if above else handles),
    )
    joint_of = {tokens[i]: joint + above for joint, i in enumerate(order)}
    lengths = np.linalg.norm(shifts[lifted >= 0], axis=1)
    size = float(np.median(lengths[lengths > 0.0])) if np.any(lengths > 0.0) else 1.0
    return Rig(prim, skeleton, joint_of, tuple(tokens), bind, space, size, notes)


def _check_tokens(tokens: list[str], place: str, scene: Scene, options: ReadOptions) -> None:
    if len(tokens) > options.max_joints:
        what = f"the skeleton has {len(tokens)} joints, more than the {options.max_joints} allowed"
        raise scene.error(what, place, "Raise the limit or remove what is no joint.")
    seen: set[str] = set()
    for token in tokens:
        if token in seen:
            raise scene.error(f"the joint {token!r} is listed twice", f"{place}.joints")
        seen.add(token)


def _tree(tokens: list[str]) -> tuple[list[int], Ints]:
    """An order with parents before children, and the parents in that order."""
    order = list(range(len(tokens)))
    parents = _parents(tokens)
    if np.any(parents >= np.arange(len(tokens))):
        order.sort(key=lambda i: tokens[i].count("/"))
        parents = _parents([tokens[i] for i in order])
    return order, parents


def _parents(tokens: list[str]) -> Ints:
    topology = UsdSkel.Topology(Vt.TokenArray(tokens))
    return np.array(topology.GetParentIndices(), dtype=np.intp)


def _matrices(attribute: Any, joints: int, place: str, scene: Scene) -> Floats | None:
    """``(joints, 4, 4)`` for column vectors; None if not authored."""
    at = f"{place}.{attribute.GetName()}"
    found = numbers(attribute.Get(), (4, 4), at, scene.error)
    if not len(found):
        return None
    if len(found) != joints:
        raise scene.error(f"{joints} joints have {len(found)} matrices", at)
    return found.transpose(0, 2, 1)


def _other_rest(
    bind: Floats | None,
    animation: Any,
    tokens: list[str],
    order: list[int],
    parents: Ints,
    place: str,
    scene: Scene,
) -> tuple[Floats, str]:
    """``(tokens, 4, 4)`` to the parents, where there are no rest transforms, and whence."""
    if bind is not None:
        if np.any(np.abs(np.linalg.det(bind)) < 1e-30):
            raise scene.error("a bind transform cannot be inverted", f"{place}.bindTransforms")
        rest = bind.copy()
        for joint, parent in zip(order, parents.tolist(), strict=True):
            if parent >= 0:
                rest[joint] = np.linalg.inv(bind[order[parent]]) @ bind[joint]
        return rest, "bindTransforms"
    pose = first_pose(animation, scene) if animation else {}
    if all(token in pose for token in tokens):
        return np.stack(
            [pose[token] for token in tokens]
        ), f"the first pose of {animation.GetPath()}"
    what = "the skeleton has neither restTransforms nor bindTransforms"
    raise scene.error(what, place, "Export it with its rest pose.")


def first_pose(animation: Any, scene: Scene) -> dict[str, Floats]:
    """Token to ``(4, 4)`` local transform at an animation's earliest time; empty if it has none."""
    query = UsdSkel.Cache().GetAnimQuery(UsdSkel.Animation(animation))
    posed = query.ComputeJointLocalTransforms(Usd.TimeCode.EarliestTime()) if query else None
    tokens = [str(token) for token in query.GetJointOrder()] if query else []
    if posed is None or len(posed) != len(tokens):
        return {}
    matrices = np.array(posed, dtype=np.float64).reshape(-1, 4, 4).transpose(0, 2, 1)
    if not np.all(np.abs(matrices) <= LARGEST):
        what = "its first pose holds what is no number or no length"
        raise scene.error(what, str(animation.GetPath()))
    return dict(zip(tokens, matrices, strict=True))
