"""Anatomy that a file declares itself, in the names of an open standard."""

from __future__ import annotations

import math

from kinelint.anatomy.draft import Draft
from kinelint.anatomy.limbs import ARM, LEG, Limb, Pair
from kinelint.anatomy.parts import PARTS
from kinelint.anatomy.sides import find_sides
from kinelint.anatomy.standards import COLUMN, standard_parts
from kinelint.anatomy.structure import Plan

_SURE = 0.97


def assign_declared(draft: Draft) -> bool:
    """Take what the file declares; false if it declares nothing."""
    skeleton = draft.tree.skeleton
    standard, parts = standard_parts(skeleton)
    if not parts:
        return False
    thorax = _thorax(draft, parts)
    for joint, part in sorted(parts.items()):
        if joint in draft.taken:
            continue
        found = part if part != COLUMN else "thorax" if joint == thorax else "abdomen"
        draft.put(joint, found, _SURE, f"{standard} says so")
    plan = _plan(draft)
    if plan is not None:
        draft.notes.extend(find_sides(draft.tree, draft.readings, plan, declared=True).notes)
    for part in PARTS:
        joints = [joint for joint, one in draft.taken.items() if one.part == part]
        if joints:
            draft.tip(part, draft.ending(max(joints)))
    return True


def _thorax(draft: Draft, parts: dict[int, str]) -> int:
    """The joint of the column that carries both arms; else the last before neck or head."""
    arms = ("clavicle", "upper_arm")
    joints = [joint for joint, part in parts.items() if part.partition("_")[2] in arms]
    meeting = draft.tree.meeting(*joints) if len(joints) > 1 else -1
    column = [joint for joint, part in parts.items() if part == COLUMN]
    above = [joint for joint in draft.tree.ancestors(meeting) if joint in column]
    if above:
        return above[0]
    return max(column, key=lambda joint: len(draft.tree.ancestors(joint)), default=-1)


def _plan(draft: Draft) -> Plan | None:
    """The declared limbs as a plan, limb `a` the left one; None if some are missing."""
    first: dict[str, int] = {}
    for joint, one in sorted(draft.taken.items()):
        first.setdefault(one.part, joint)
    pairs = []
    for roles in (LEG, ARM):
        sides = [[first.get(f"{side}_{role}", -1) for role in roles] for side in ("left", "right")]
        if -1 in sides[0] + sides[1]:
            return None
        a, b = (_limb(draft, side) for side in sides)
        hub = draft.tree.meeting(a.joints[0], b.joints[0])
        pairs.append(Pair(hub, a, b, 0.0, 0.0, 1.0))
    return Plan(pairs[0], pairs[1], math.inf, 1.0)


def _limb(draft: Draft, joints: list[int]) -> Limb:
    near, middle, far = joints
    apart = draft.tree.apart
    return Limb((near, middle, far), apart(near, middle), apart(middle, far))
