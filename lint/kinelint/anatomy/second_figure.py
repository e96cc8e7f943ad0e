"""Whether a skeleton holds a second figure, which nobody judges."""

from __future__ import annotations

from collections.abc import Iterator, Set

import numpy as np

from kinelint.anatomy.structure import find_plan
from kinelint.anatomy.tree import Tree
from kinelint.anatomy.words import read_names
from kinelint.clip import Skeleton

# Two arms and two legs on a trunk have at least so many joints.
LEAST_JOINTS = 13


def second_figures(skeleton: Skeleton, taken: Set[int], plausible: float) -> tuple[str, ...]:
    """What is to be said of other bodies beside the one that was recognised.

    Args:
        skeleton: the joints.
        taken: those that are parts of the body; without any, nothing is said.
        plausible: how like a human's a plan must be, in [0, 1].
    """
    if not taken:
        return ()
    return tuple(
        f'the {len(joints)} joints from "{skeleton.names[joints[0]]}" on look like a second '
        "figure, which is not judged: one figure a clip is"
        for joints in _untaken(skeleton, taken)
        if len(joints) >= LEAST_JOINTS and _is_body(skeleton, joints, plausible)
    )


def _untaken(skeleton: Skeleton, taken: Set[int]) -> Iterator[list[int]]:
    """The largest branches without any joint of the body, each from its top down, no tips."""
    holds = np.zeros(len(skeleton), dtype=np.bool_)
    holds[list(taken)] = True
    inside = holds.copy()
    for joint in range(len(skeleton) - 1, -1, -1):
        parent = skeleton.parents[joint]
        if parent >= 0:
            holds[parent] |= holds[joint]
    top = np.full(len(skeleton), -1)
    branches: dict[int, list[int]] = {}
    for joint in range(len(skeleton)):
        parent = skeleton.parents[joint]
        if parent >= 0:
            # What hangs from the body is a part or a prop of it, however many joints it has.
            inside[joint] |= inside[parent]
            top[joint] = top[parent]
        if not holds[joint] and not inside[joint]:
            top[joint] = joint if top[joint] < 0 else top[joint]
            branches.setdefault(int(top[joint]), []).append(joint)
    for joints in branches.values():
        yield [joint for joint in joints if not skeleton.tips[joint]]


def _is_body(skeleton: Skeleton, joints: list[int], plausible: float) -> bool:
    new = {joint: number for number, joint in enumerate(joints)}
    alone = Skeleton(
        names=tuple(skeleton.names[joint] for joint in joints),
        parents=np.array([new.get(int(skeleton.parents[joint]), -1) for joint in joints]),
        rest_translations=skeleton.rest_translations[joints],
        rest_rotations=skeleton.rest_rotations[joints],
        rest_scales=skeleton.rest_scales[joints],
    )
    plan = find_plan(Tree.of(alone, None), read_names(alone.names))
    return plan is not None and plan.plausible >= plausible
