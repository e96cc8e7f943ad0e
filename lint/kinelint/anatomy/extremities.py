"""Arms and legs once they are found: clavicles, twist joints, feet, toes and hands."""

from __future__ import annotations

from kinelint.anatomy.digits import assign_hand
from kinelint.anatomy.draft import Draft
from kinelint.anatomy.limbs import ARM, LEG, Limb, Pair
from kinelint.anatomy.parts import label
from kinelint.anatomy.structure import Plan
from kinelint.anatomy.words import Reading


def assign_limbs(
    draft: Draft, pair: Pair, roles: tuple[str, str, str], a_left: bool, plan: Plan
) -> None:
    """Both limbs of a pair, from the hub to toes or finger tips."""
    structure = (0.55 + 0.35 * pair.mirrored) * plan.plausible
    for limb, side in (
        (pair.a, "left" if a_left else "right"),
        (pair.b, "right" if a_left else "left"),
    ):
        other = "right" if side == "left" else "left"
        _segments(draft, limb, roles, side, structure, f"mirror of the {other} one")
        if roles == LEG:
            _assign_foot(draft, limb, side, structure)
        else:
            _assign_clavicle(draft, pair, limb, side, structure)
            assign_hand(draft, limb.joints[2], f"{side}_hand", structure)


def _segments(
    draft: Draft,
    limb: Limb,
    roles: tuple[str, str, str],
    side: str,
    structure: float,
    why: str,
) -> None:
    near, middle, far = limb.joints
    first, second, third = (f"{side}_{role}" for role in roles)
    draft.take(near, first, structure, why)
    ratio = f"{limb.far / limb.near:.2f} of the {label(roles[0])}'s length"
    draft.take(middle, second, structure, f"{why}; {ratio}")
    draft.take(far, third, structure, f"{why}; where the {label(roles[1])} ends")
    for top, bottom, part in ((near, middle, first), (middle, far, second)):
        for joint in draft.tree.down(top, bottom)[1:-1]:
            draft.put(joint, part, 0.8 * structure, f"inside the {label(part)}")
        _twists(draft, top, bottom, part, structure)


def _twists(draft: Draft, top: int, bottom: int, part: str, structure: float) -> None:
    """Leaves beside a segment that lie on its line: they twist its skin and end nothing."""
    for joint in draft.bodies(top):
        leaf = not draft.bodies(joint)
        if joint != bottom and leaf and draft.readings[joint].is_twist:
            draft.put(joint, part, 0.8 * structure, f"twists inside the {label(part)}")


def _assign_clavicle(draft: Draft, pair: Pair, limb: Limb, side: str, structure: float) -> None:
    between = draft.tree.down(pair.hub, limb.joints[0])[1:-1]
    joints = [
        joint
        for i, joint in enumerate(between)
        if not _connects(draft, joint, between[i + 1 : i + 2])
    ]
    for joint in joints:
        draft.take(joint, f"{side}_clavicle", structure, "between thorax and upper arm")


def _connects(draft: Draft, joint: int, following: list[int]) -> bool:
    """Whether a joint only leads to the next one: same name but for decoration, never turning."""
    if not following:
        return False
    mine, next_one = draft.readings[joint], draft.readings[following[0]]
    if _spoken(mine) and _spoken(mine) == _spoken(next_one):
        return True
    return draft.tree.has_motion and not draft.tree.turns[joint]


def _spoken(reading: Reading) -> tuple[object, ...]:
    return (*reading.words, reading.number) if reading.words else ()


def _assign_foot(draft: Draft, limb: Limb, side: str, structure: float) -> None:
    tree, ankle = draft.tree, limb.joints[2]
    chain = [ankle]
    while onward := draft.bodies(chain[-1]):
        named = [one for one in onward if draft.readings[one].says("toes")]
        chain.append(
            max(named or onward, key=lambda one: float(tree.reach[one] + tree.lengths[one]))
        )
    beyond = chain[1:]
    end = draft.ending(chain[-1])
    ball = _ball(draft, chain, end)
    for i, joint in enumerate(beyond, start=1):
        if i < ball:
            draft.take(joint, f"{side}_foot", structure, "between ankle and toes")
        else:
            draft.take(joint, f"{side}_toes", structure, "the foot bends there")
    draft.tip(f"{side}_toes" if beyond and ball < len(chain) else f"{side}_foot", end)


def _ball(draft: Draft, chain: list[int], end: int | None) -> int:
    """Index of the toes' joint in the chain from the ankle on; beyond it if there is none."""
    for i, joint in enumerate(chain[1:], start=1):
        if draft.readings[joint].says("toes"):
            return i
    if len(chain) <= 2:
        return 1
    whole = draft.tree.way(chain[0], end if end is not None else chain[-1])
    ways = [draft.tree.way(chain[0], joint) for joint in chain]
    # The ball of the foot is some seven tenths of the way from ankle to toe tip.
    return min(range(1, len(chain)), key=lambda i: abs(ways[i] - 0.7 * whole))


__all__ = ["ARM", "LEG", "assign_limbs"]
