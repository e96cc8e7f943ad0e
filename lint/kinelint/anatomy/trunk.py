"""The middle of the body: pelvis, abdomen, thorax, neck and head."""

from __future__ import annotations

import numpy as np

from kinelint.anatomy.draft import Draft
from kinelint.anatomy.structure import Plan, furthest, middle
from kinelint.anatomy.tree import cosine


def assign_trunk(draft: Draft, plan: Plan) -> None:
    """Pelvis where the thighs meet, thorax where the arms do, abdomen between, head beyond."""
    tree = draft.tree
    pelvis, thorax = plan.legs.hub, plan.arms.hub
    structure = 0.85 * plan.plausible
    meeting = tree.meeting(pelvis, thorax)
    column = tree.down(meeting, thorax)[1:-1]
    if meeting == thorax:
        column = tree.down(thorax, pelvis)[1:-1]
    draft.take(pelvis, "pelvis", structure, "both thighs hang from it")
    draft.take(thorax, "thorax", structure, "both arms hang from it")
    for joint in column:
        said = draft.readings[joint]
        if said.says("pelvis") and not said.says("abdomen"):
            draft.take(joint, "pelvis", structure, "between the thighs and the trunk")
        elif said.says("thorax") and not said.says("abdomen"):
            why = "between pelvis and thorax; its name says thorax, but the arms hang from another"
            draft.put(joint, "abdomen", 0.85 * structure, why)
        else:
            draft.take(joint, "abdomen", structure, "between pelvis and thorax")
    if meeting not in (pelvis, thorax):
        name = tree.skeleton.names[meeting] or f"joint {meeting}"
        draft.notes.append(f"{name} carries pelvis and trunk and was taken for neither")
    _assign_head(draft, plan)


def _assign_head(draft: Draft, plan: Plan) -> None:
    first = _neck_root(draft, plan)
    if first is None:
        draft.notes.append("no head was found above the thorax")
        return
    chain = _chain(draft, first)
    structure = 0.8 * plan.plausible
    head = _head_of(draft, plan, chain)
    for joint in chain[:head]:
        said = draft.readings[joint]
        trunk = said.kinds and not said.says("neck") and said.says("thorax")
        part = "thorax" if trunk else "neck"
        draft.take(joint, part, structure, "between thorax and head")
    draft.take(chain[head], "head", structure, "the chain above the thorax ends in it")
    top = draft.ending(chain[head])
    draft.tip("head", chain[head + 1] if top is None and head + 1 < len(chain) else top)


def _neck_root(draft: Draft, plan: Plan) -> int | None:
    """The child of the thorax that leads to the head."""
    tree = draft.tree
    limbs = {*tree.subtrees[plan.arms.a.joints[0]], *tree.subtrees[plan.arms.b.joints[0]]}
    p = tree.poses
    up = middle(p, *(limb.joints[0] for limb in (plan.arms.a, plan.arms.b))) - middle(
        p, *(limb.joints[0] for limb in (plan.legs.a, plan.legs.b))
    )
    best, best_score = None, 0.2
    for child in draft.bodies(plan.arms.hub):
        below = set(tree.subtrees[child])
        if below & limbs or plan.legs.hub in below:
            continue
        named = max(
            (draft.readings[one].says(kind) for one in below for kind in ("neck", "head")),
            default=0.0,
        )
        # The nearest point and the furthest: a neck may start in the thorax, hair may hang down.
        rising = max(
            float(np.median(cosine(up, p[point] - p[plan.arms.hub])))
            for point in (child, furthest(tree, child))
        )
        score = 2.0 * named + rising
        if score > best_score:
            best, best_score = child, score
    return best


def _chain(draft: Draft, first: int) -> list[int]:
    """Down from the neck's first joint to where the chain divides or ends."""
    chain = [first]
    while True:
        onward = draft.bodies(chain[-1])
        named = [
            one
            for one in onward
            if any(draft.readings[one].says(kind) for kind in ("neck", "head", "thorax"))
        ]
        choice = named or (onward if len(onward) == 1 else [])
        if not choice or any(draft.readings[one].says("face") for one in choice):
            return chain
        chain.append(max(choice, key=lambda one: float(draft.tree.reach[one])))


def _head_of(draft: Draft, plan: Plan, chain: list[int]) -> int:
    """Index of the head in the chain: by name, else the last joint that is no crown of a head."""
    named = [i for i, joint in enumerate(chain) if draft.readings[joint].says("head")]
    if named:
        return named[0]
    last = len(chain) - 1
    leaf = not draft.tree.skeleton.children[chain[last]]
    upper_arm = (plan.arms.a.near + plan.arms.b.near) / 2
    # A head is .117 H high and an upper arm .162 H long (de Leva 1996); necks are half a head.
    if last > 0 and leaf and draft.tree.lengths[chain[last]] > 0.55 * upper_arm:
        return last - 1
    return last
