"""Which parts of a body hang together: the graph of parts.

Steps are counted on parts and not on joints, since skeletons add or lack clavicles, spine and
twist joints.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

from kinelint.anatomy.parts import FINGERS, SIDES, side_of

# Parts this near each other share flesh; their overlap says nothing.
NEXT_NEIGHBOURS = 2
_FAR = 99


def _edges() -> list[tuple[str, str]]:
    found = [("pelvis", "abdomen"), ("abdomen", "thorax"), ("thorax", "neck"), ("neck", "head")]
    for side in SIDES:
        arm = ["thorax", f"{side}_clavicle", f"{side}_upper_arm", f"{side}_forearm", f"{side}_hand"]
        leg = ["pelvis", f"{side}_thigh", f"{side}_shank", f"{side}_foot", f"{side}_toes"]
        chains = [arm, leg]
        for finger in FINGERS:
            chains.append([f"{side}_hand", *(f"{side}_{finger}_{number}" for number in range(4))])
        found += [edge for chain in chains for edge in pairwise(chain)]
    return found


@cache
def _steps_from(part: str) -> dict[str, int]:
    reached, edge = {part: 0}, [part]
    while edge:
        here = edge.pop(0)
        for a, b in _edges():
            for one, other in ((a, b), (b, a)):
                if one == here and other not in reached:
                    reached[other] = reached[here] + 1
                    edge.append(other)
    return reached


def steps(part: str, other: str) -> int:
    """Steps from part to part on the graph; a large number for an unknown part."""
    return _steps_from(part).get(other, _FAR)


def may_collide(part: str, other: str) -> bool:
    """Whether an overlap of the two says something: neither neighbours nor next neighbours."""
    return steps(part, other) > NEXT_NEIGHBOURS


@cache
def reach(part: str) -> tuple[int, int]:
    """How freely a part moves: arms before legs before head and trunk, then the more distal.

    Of two parts that overlap, the one with the higher reach is taken for the one to move.
    """
    base = part.partition("_")[2] or part
    on_arm = steps(part, "thorax")
    if base in ("thigh", "shank", "foot", "toes"):
        return 2, steps(part, "pelvis")
    if base in ("neck", "head"):
        return 1, on_arm
    if part in ("pelvis", "abdomen", "thorax"):
        return 0, on_arm
    return 3, on_arm


def carrier(part: str) -> str:
    """The part of the trunk that carries a limb: the pelvis the legs, the thorax the rest."""
    return "pelvis" if steps(part, "pelvis") < steps(part, "thorax") else "thorax"


@cache
def limb(part: str) -> str:
    """The limb or region a part belongs to: "left arm", "right leg", "head" or "trunk"."""
    kind = ("trunk", "head", "leg", "arm")[reach(part)[0]]
    return f"{side_of(part)} {kind}".strip()
