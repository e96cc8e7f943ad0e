"""Which joint of a skeleton is which part of the body, how sure that is, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property


@dataclass(frozen=True, slots=True)
class Assignment:
    """One joint taken for one part: confidence in [0, 1] and the evidence in words."""

    joint: int
    part: str
    confidence: float
    evidence: str


@dataclass(frozen=True)
class Anatomy:
    """The parts of one skeleton.

    Attributes:
        assignments: one for each recognised joint.
        tips: point at the far end of a part ("left_toes", "head", "left_hand"): joint index.
            Where a part ends in the next part's joint it is not listed.
        notes: what could not be decided, in words.
    """

    assignments: tuple[Assignment, ...]
    tips: Mapping[str, int] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @cached_property
    def joints(self) -> dict[str, tuple[int, ...]]:
        """Part to its joints, the most proximal first; several for a spine or twist joints."""
        found: dict[str, list[int]] = {}
        for one in self.assignments:
            found.setdefault(one.part, []).append(one.joint)
        return {part: tuple(sorted(joints)) for part, joints in found.items()}

    @cached_property
    def part_of(self) -> dict[int, str]:
        """Joint to part, for recognised joints only."""
        return {one.joint: one.part for one in self.assignments}

    @cached_property
    def confidence(self) -> float:
        """Of the whole mapping: that of its weakest part; 0 if nothing was recognised."""
        return min((one.confidence for one in self.assignments), default=0.0)

    def has(self, *parts: str) -> bool:
        """Whether all of `parts` were recognised."""
        return all(part in self.joints for part in parts)
