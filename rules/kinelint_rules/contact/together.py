"""Which overlaps are one defect: an arm in the thigh is often in the hip as well."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from kinelint.anatomy.neighbours import limb, steps
from kinelint.anatomy.parts import label
from kinelint.finding import Finding, Level

# Frames that are looked up together, so that a long clip does not compare all with all.
_SPELL = 256


def told_apart(found: Iterable[Finding]) -> Iterator[Finding]:
    """All findings; those that go with a deeper one of the same limbs and time become notes.

    The order is that of the frames, then of the parts.
    """
    leaders: dict[int, list[Finding]] = {}
    out: list[Finding] = []
    for one in sorted(found, key=lambda f: -(f.measured or 0.0)):
        spells = range(one.span.first // _SPELL, one.span.last // _SPELL + 1)
        beside = (other for spell in spells for other in leaders.get(spell, ()))
        leader = next((other for other in beside if _goes_with(one, other)), None)
        if leader is None:
            for spell in spells:
                leaders.setdefault(spell, []).append(one)
            out.append(one)
        else:
            first, second = (label(part) for part in leader.parts)
            also = f"{one.message}; goes with the {first} in the {second}"
            out.append(replace(one, level=Level.NOTE, message=also))
    yield from sorted(out, key=lambda f: (f.span.first, f.parts, f.span.last))


def _goes_with(one: Finding, other: Finding) -> bool:
    if one.detail or other.detail:
        return False
    apart = one.span.first > other.span.last or other.span.first > one.span.last
    mine, its = ([limb(part) for part in found.parts] for found in (one, other))
    near = mine[0] == its[0] and steps(one.parts[1], other.parts[1]) <= 2
    return not apart and (set(mine) == set(its) or near)
