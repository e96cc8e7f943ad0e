"""Which joint is which part of the body."""

from __future__ import annotations

from collections.abc import Mapping

from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.declared import assign_declared
from kinelint.anatomy.draft import Draft
from kinelint.anatomy.extremities import assign_limbs
from kinelint.anatomy.limbs import ARM, LEG
from kinelint.anatomy.names_only import assign_by_names
from kinelint.anatomy.parts import PARTS, label
from kinelint.anatomy.second_figure import second_figures
from kinelint.anatomy.sides import find_sides
from kinelint.anatomy.structure import find_plan, four_legged
from kinelint.anatomy.tree import Tree
from kinelint.anatomy.trunk import assign_trunk
from kinelint.anatomy.words import read_names
from kinelint.clip import Clip, Skeleton
from kinelint.errors import BodyError

LEAST_PLAUSIBLE = 0.25


def identify(
    skeleton: Skeleton,
    overrides: Mapping[str, str] | None = None,
    clip: Clip | None = None,
) -> Anatomy:
    """The parts of a skeleton, from tree shape, geometry, symmetry, names and standards.

    Args:
        skeleton: the joints.
        overrides: part to the name of its joint, as the policy says; they always win.
        clip: a motion of the skeleton, whose poses say more than a rest pose.

    Raises:
        BodyError: an override names an unknown part, or a joint that the skeleton has not or
            has more than once.
    """
    readings = read_names(skeleton.names)
    tree = Tree.of(skeleton, clip)
    draft = Draft(tree, readings)
    for part, name in (overrides or {}).items():
        draft.decree(_joint_named(skeleton, part, name), part)
    if not assign_declared(draft):
        _assign_by_structure(draft)
    _miss(draft)
    draft.notes += second_figures(skeleton, draft.taken.keys(), LEAST_PLAUSIBLE)
    return draft.finished()


def _assign_by_structure(draft: Draft) -> None:
    tree, readings = draft.tree, draft.readings
    plan = find_plan(tree, readings)
    if plan is None or plan.plausible < LEAST_PLAUSIBLE:
        if not assign_by_names(draft):
            draft.notes.append("no human body was recognised: no two arms and two legs on a trunk")
    elif four_legged(tree, plan):
        draft.notes.append("the skeleton stands on four legs: no human parts were assigned")
    else:
        sides = find_sides(tree, readings, plan)
        draft.notes.extend(sides.notes)
        draft.side_confidence = sides.confidence
        assign_limbs(draft, plan.legs, LEG, sides.legs_a_left, plan)
        assign_limbs(draft, plan.arms, ARM, sides.arms_a_left, plan)
        assign_trunk(draft, plan)


def _miss(draft: Draft) -> None:
    """Say which of the parts that rules ask for a body does not have."""
    found = {one.part for one in draft.taken.values()}
    wanted = [
        part
        for part in PARTS
        if not part[-1].isdigit() and not part.endswith(("clavicle", "abdomen", "neck"))
    ]
    missing = [label(part) for part in wanted if part not in found]
    if found and missing:
        draft.notes.append(f"no joint was recognised as {', '.join(missing)}")


def _joint_named(skeleton: Skeleton, part: str, name: str) -> int:
    if part not in PARTS:
        raise BodyError(f'"{part}" is no part of a body', mend=f"Parts are {', '.join(PARTS)}.")
    found = [joint for joint, one in enumerate(skeleton.names) if one == name]
    if len(found) != 1:
        many = "no joint" if not found else f"{len(found)} joints"
        raise BodyError(f'{many} of the skeleton named "{name}", meant for the {part}')
    return found[0]
