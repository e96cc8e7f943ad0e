"""What the rules say of a seeded clip, held against what was seeded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from accuracy.clips import RULES, Subject, errors, said
from accuracy.rig import resampled
from accuracy.seed import Seed
from kinelint.anatomy.figure import Figure
from kinelint.assemble import figure_of
from kinelint.clip import Clip
from kinelint.finding import Finding, Level
from kinelint.motion import Motion


@dataclass(frozen=True, eq=False)
class Outcome:
    """One seed at one rate.

    Attributes:
        subject: the clip it was put into.
        seed: what was put in.
        level: whose limit the size is a multiple of.
        factor: the multiple.
        rate_hz: of the clip that was judged.
        finding: the one that names it, None if none does.
        collateral: error findings that the untouched clip has not and the seed does not explain.
        rest: what the rule said instead, where it missed.
    """

    subject: Subject
    seed: Seed
    level: Level
    factor: float
    rate_hz: float
    finding: Finding | None
    collateral: tuple[tuple[str, Finding], ...] = ()
    rest: tuple[Finding, ...] = ()

    @property
    def found(self) -> bool:
        """Found, and graded at least as badly as the limit that it passes."""
        one = self.finding
        return one is not None and one.level is not None and one.level.rank >= self.level.rank

    @property
    def off(self) -> float:
        """Measured less seeded."""
        one = self.finding
        if one is None or one.measured is None or one.unit != self.seed.unit:
            return np.nan
        return abs(one.measured) - abs(self.seed.size)


def names(one: Finding, seed: Seed) -> bool:
    """Whether a finding names the seeded part, and the seeded way."""
    if seed.rule == "penetration":
        return any(set(one.parts) == set(pair) for pair in seed.pairs)
    if seed.rule == "limb-stretch" and (one.measured or 0.0) * seed.size < 0:
        return False
    if seed.rule == "joint-limit" and "hyperextended" not in one.message:
        return False
    if seed.rule == "ground-contact" and one.detail == "floats":
        return False
    if not one.detail.endswith(seed.says):
        return False
    return bool(set(one.parts) & set(seed.parts))


def hit(found: Sequence[Finding], seed: Seed, rate: float) -> Finding | None:
    """The worst finding on the seeded part, if findings on it cover half of the seeded frames."""
    first, last = round(seed.first_s * rate), max(round(seed.last_s * rate), 0)
    covered: set[int] = set()
    worst: Finding | None = None
    for one in found:
        inside = set(range(max(first, one.span.first), min(last, one.span.last) + 1))
        if not inside or not names(one, seed):
            continue
        covered |= inside
        if worst is None or _badness(one) > _badness(worst):
            worst = one
    return worst if len(covered) >= 0.5 * (last - first + 1) else None


def at_seam(found: Sequence[Finding], seed: Seed) -> Finding | None:
    named = [one for one in found if names(one, seed)]
    return max(named, key=_badness, default=None)


def _badness(one: Finding) -> tuple[int, float]:
    return (one.level.rank if one.level else 0), abs(one.measured or 0.0)


def figure_for(subject: Subject, clip: Clip) -> Figure:
    """The figure that a seeded clip and the others of its skeleton give."""
    others = [one for one in subject.others if one is not subject.motion.clip]
    return figure_of([clip, *others], skins=subject.skins)


def judged(subject: Subject, seed: Seed, rate: float, level: Level, factor: float) -> Outcome:
    """The seed at a rate, on the figure that the seeded clip and the others of its skeleton give.

    At the clip's own rate all six rules are asked, for what else they say; else the one.
    """
    clip = resampled(seed.clip, rate, to_end=bool(seed.cue.loop))
    if seed.drops_last:
        clip = clip.cut(0, clip.frames - 2)
    figure = figure_for(subject, clip)
    own = abs(rate - subject.motion.sample_rate_hz) < 0.5
    found = said(
        Motion(clip, figure, seed.cue), tuple(RULES) if own and not seed.cue.loop else (seed.rule,)
    )
    of_rule = found.get(seed.rule, [])
    finding = at_seam(of_rule, seed) if seed.cue.loop else hit(of_rule, seed, rate)
    return Outcome(
        subject,
        seed,
        level,
        factor,
        rate,
        finding,
        collateral=tuple(_collateral(subject, seed, found)) if own else (),
        rest=() if finding else tuple(of_rule),
    )


def _collateral(
    subject: Subject, seed: Seed, found: dict[str, list[Finding]]
) -> list[tuple[str, Finding]]:
    if seed.rule == "loop-seam":
        return [one for one in errors(found) if one[0] == "loop-seam" and not seed.parts]
    before = errors(untouched(subject))
    return [
        (rule, one)
        for rule, one in errors(found)
        if not set(one.parts) & {*seed.parts, *seed.limb}
        and not any(rule == r and one.parts == o.parts for r, o in before)
    ]


_UNTOUCHED: dict[int, dict[str, list[Finding]]] = {}


def untouched(subject: Subject) -> dict[str, list[Finding]]:
    """What the rules say of the clip as it is."""
    if id(subject) not in _UNTOUCHED:
        _UNTOUCHED[id(subject)] = said(subject.motion)
    return _UNTOUCHED[id(subject)]


def taken(subject: Subject, seed: Seed) -> bool:
    """Whether the untouched clip has that defect at that place already."""
    before = untouched(subject).get(seed.rule, [])
    first, last = (round(t * subject.motion.sample_rate_hz) for t in (seed.first_s, seed.last_s))
    return any(
        names(one, seed) and one.span.first <= last and one.span.last >= first for one in before
    )
