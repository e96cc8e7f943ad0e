"""Depths of one part in another over a clip, and which of them a clip asks to be judged."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from kinelint.anatomy.body import Body, body_overlaps
from kinelint.anatomy.neighbours import carrier
from kinelint.anatomy.parts import side_of
from kinelint.cue import Cue
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.motion import Motion


@dataclass(frozen=True, eq=False)
class PartPair:
    """Two parts that lie in each other at some time.

    Attributes:
        parts: the one that moves more freely first.
        depth_mm: ``(frames,)`` deeper than at rest, the deepest of their capsules; 0 where clear.
        entries: ``(frames,)`` row of the overlap that is deepest, -1 where clear.
        at_rest_mm: how deep that pair of capsules lies at rest, of the deepest overlap.
    """

    parts: tuple[str, str]
    depth_mm: Floats
    entries: Ints
    at_rest_mm: float
    on_mesh: ClassVar[bool] = False

    def place(self, motion: Motion, frame: int) -> tuple[Floats, Floats]:
        """World point ``(3,)`` of the overlap and the direction ``(3,)`` that clears it."""
        found: Any = motion.derive(body_overlaps)
        row = self.entries[frame]
        return found.point_m[:, row], found.direction[:, row]


def part_pairs(motion: Motion, body: Body, min_depth_mm: float) -> Iterator[PartPair]:
    """Pairs of parts that somewhere lie deeper in each other than `min_depth_mm`."""
    found = motion.derive(body_overlaps)
    if found is None:
        return
    excess_mm = 1000.0 * (found.depth_m - body.allowed_m[found.pair])
    names = sorted({body.pair_parts(int(pair)) for pair in np.unique(found.pair)})
    code = {parts: i for i, parts in enumerate(names)}
    codes = np.array([code.get(body.pair_parts(pair), -1) for pair in range(len(body.pairs))])
    for parts in names:
        rows = np.flatnonzero(codes[found.pair] == code[parts])
        if excess_mm[rows].max() <= min_depth_mm:
            continue
        # Written shallow to deep, so that the deepest capsule of a frame stays.
        rows = rows[np.argsort(excess_mm[rows], kind="stable")]
        depth, entries = np.zeros(motion.frames), np.full(motion.frames, -1, dtype=np.intp)
        depth[found.frame[rows]] = excess_mm[rows]
        entries[found.frame[rows]] = rows
        at_rest_mm = 1000.0 * float(body.allowed_m[found.pair[rows[-1]]])
        yield PartPair(parts, depth, entries, at_rest_mm)


def names_part(word: str, part: str) -> bool:
    """Whether a word of the cue sheet means the part: itself, or its family ("hand")."""
    return word in (part, part[len(side_of(part)) :].lstrip("_"))


def is_judged(parts: tuple[str, str], cue: Cue) -> bool:
    """Whether the clip holds both parts: captured, and moved by it or carrying the other."""
    if any(names_part(word, part) for word in cue.not_captured for part in parts):
        return False
    if not cue.only_parts:
        return True
    moved = [any(names_part(word, part) for word in cue.only_parts) for part in parts]
    first, second = parts
    carried = (moved[0] and carrier(first) == second) or (moved[1] and carrier(second) == first)
    return all(moved) or carried


def wanted_mm(parts: tuple[str, str], cue: Cue) -> float:
    """How deep the cue sheet lets the two lie in each other; 0 if it says nothing."""
    deepest = 0.0
    for contact in cue.wanted_contacts:
        a, b = contact.parts
        for one, other in ((a, b), (b, a)):
            if names_part(one, parts[0]) and names_part(other, parts[1]):
                deepest = max(deepest, np.inf if contact.depth_mm is None else contact.depth_mm)
    return deepest
