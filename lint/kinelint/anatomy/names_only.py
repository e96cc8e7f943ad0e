"""Part of a body: where the shape of the tree does not show a whole one, names must do.

A file may hold the legs alone, one arm, or a figure so stylised that structure fails.
"""

from __future__ import annotations

from kinelint.anatomy.draft import Draft
from kinelint.anatomy.parts import ARM, FINGERS, LEG, SIDES, TRUNK

_CONFIDENCE = 0.55
_LEAST_PARTS = 3


def assign_by_names(draft: Draft) -> bool:
    """Take joints at their word; false, and nothing taken, if names say too little or too much.

    At least three parts of one limb must hang from each other in the right order.
    """
    if any(one.says("animal") for one in draft.readings):
        return False
    found: dict[int, str] = {}
    for joint in range(len(draft.tree.skeleton)):
        part = _part(draft, joint, found)
        if part:
            found[joint] = part
    if not any(_in_order(draft, found, side, limb) for side in SIDES for limb in (LEG, ARM)):
        return False
    for joint, part in found.items():
        draft.put(joint, part, _CONFIDENCE, "by its name alone")
        draft.tip(part, draft.ending(joint))
    draft.notes.append("the tree shows no whole body: parts were taken from names alone")
    return True


def _part(draft: Draft, joint: int, found: dict[int, str]) -> str:
    """The part a joint is named for, given those above it; "" if none is clear."""
    reading = draft.readings[joint]
    if reading.is_control or draft.is_end(joint) or not reading.kinds:
        return ""
    above = [found[one] for one in draft.tree.ancestors(joint)[1:] if one in found]
    kind = reading.best
    if kind in TRUNK:
        return kind
    if not reading.side:
        return ""
    if kind in FINGERS:
        return _finger(f"{reading.side}_{kind}", above)
    # "leg" and "arm" alone: the near segment first, then the far one.
    for word, (near, far) in (("leg", LEG[:2]), ("arm", ARM[1:3])):
        if word in reading.words and min(reading.says(near), reading.says(far)) > 0:
            kind = far if f"{reading.side}_{near}" in above else near
    return f"{reading.side}_{kind}" if kind in ARM + LEG else ""


def _finger(finger: str, above: list[str]) -> str:
    taken = sum(1 for part in above if part.startswith(finger))
    return f"{finger}_{min(taken + 1, 3)}"


def _in_order(draft: Draft, found: dict[int, str], side: str, limb: tuple[str, ...]) -> bool:
    """Whether three parts of a limb lie on one way down, from near to far."""
    order = [f"{side}_{part}" for part in limb]
    for joint, part in found.items():
        if part in order:
            line = [found[one] for one in draft.tree.ancestors(joint)[::-1] if one in found]
            places = [order.index(one) for one in line if one in order]
            if places == sorted(places) and len(set(places)) >= _LEAST_PARTS:
                return True
    return False
