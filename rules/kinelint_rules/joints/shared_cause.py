"""A pelvis that turns alone breaks three joints at once: that is one defect, and its own."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from kinelint.finding import Finding, FrameSpan

AROUND_THE_PELVIS = ("left_thigh", "right_thigh", "thorax")


def pelvis_named(found: Iterable[Finding]) -> Iterator[Finding]:
    """All findings; hips and trunk that are past their limits together become the pelvis's."""
    rest = list(found)
    while together := _together(rest):
        rest = [one for one in rest if one not in together]
        yield _as_one(together)
    yield from rest


def _together(found: list[Finding]) -> list[Finding]:
    """The first three findings, one for each joint of the pelvis, that share a frame."""
    first, second, third = (
        [one for one in found if one.parts == (part,)] for part in AROUND_THE_PELVIS
    )
    for a in first:
        for b in second:
            for c in third:
                if _last_start(a, b, c) <= min(one.span.last for one in (a, b, c)):
                    return [a, b, c]
    return []


def _last_start(*found: Finding) -> int:
    return max(one.span.first for one in found)


def _as_one(together: list[Finding]) -> Finding:
    worst = max(together, key=lambda one: (one.level.rank if one.level else 0, _past(one)))
    said = "; ".join(one.message for one in together)
    first = min(one.span.first for one in together)
    last = max(one.span.last for one in together)
    return replace(
        worst,
        message=f"pelvis is turned out of all three of its joints: {said}",
        span=FrameSpan(first, last),
        parts=("pelvis", *(one.parts[0] for one in together)),
        remedy="Trunk and both thighs leave their ranges together: turn the pelvis back, not them.",
        detail="pelvis",
    )


def _past(one: Finding) -> float:
    return (one.measured or 0.0) - (one.limit or 0.0)
