"""One seed at one rate, judged by its rule with and without the defect."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from accuracy.clips import Subject
from accuracy.kinds import Kind
from accuracy.rig import min_jerk, resampled
from accuracy.score import at_seam, figure_for, hit, names
from accuracy.seed import Seed
from kinelint.engine.judge import strict_numbers
from kinelint.errors import KinelintError, NotApplicable
from kinelint.finding import Finding, Level
from kinelint.group import Group
from kinelint.motion import Motion
from kinelint_rules import RULES

RULE = {rule.id: rule for rule in RULES}
# Ladder of sizes in multiples of the limit; below 1 nothing of the level is to be said.
LADDER = (0.5, 0.8, 1.25, 1.5, 2.0, 4.0)
RATES_HZ = (24.0, 30.0, 60.0, 120.0)
# A defect eases in and out beside the frames in which it is past its limit.
EASE_S = 0.35


@dataclass(frozen=True)
class Trial:
    """What came of one seed at one rate.

    Attributes:
        kind, rule, clip, level, factor, rate_hz: what was tried.
        even: the clip is of the half that defaults were chosen on.
        found: a finding of the level names part and half of the seeded frames.
        off: measured less seeded, in `unit`; NaN if it does not say.
        size, unit: as seeded.
        iou: frames of the findings on the seed over the union with those seeded; NaN if not found.
        told: new findings of the rule: what the untouched clip has is left out.
        false: of those, how many are not about the seed.
        detail: for people.
    """

    kind: str
    rule: str
    clip: str
    level: Level
    factor: float
    rate_hz: float
    even: bool
    found: bool
    off: float
    size: float
    unit: str
    iou: float
    told: int
    false: int
    detail: str


def even(file: str) -> bool:
    """The half of the clips that defaults may be chosen on: CRC-32 of the file's name is even."""
    return zlib.crc32(file.encode()) % 2 == 0


def findings(rule_id: str, judged: Motion | Group, settings: dict[str, Any]) -> list[Finding]:
    """What a rule says, each with its level; nothing if it does not apply."""
    rule: Any = RULE[rule_id]
    try:
        with strict_numbers():
            said = list(rule.check(judged, rule.settings_type(**settings)))
    except NotApplicable:
        return []
    every = [getattr(one, "what", one) for one in said]
    return [
        replace(one, level=one.level or rule.level) for one in every if isinstance(one, Finding)
    ]


@lru_cache(maxsize=16)
def at_rate(subject: Subject, rate: float) -> Subject:
    """The subject at another rate."""
    clip = resampled(subject.motion.clip, rate)
    return replace(subject, motion=replace(subject.motion, clip=clip, _derived={}))


_UNTOUCHED: dict[tuple[str, str, float], list[Finding]] = {}


def untouched(kind: Kind, subject: Subject, rate: float) -> list[Finding]:
    """What the rule says of the clip as it is, at a rate."""
    key = subject.name, kind.rule, rate
    if key not in _UNTOUCHED:
        motion = at_rate(subject, rate).motion
        _UNTOUCHED[key] = findings(kind.rule, motion, dict(kind.settings))
    return _UNTOUCHED[key]


def trials(
    kind: Kind,
    subjects: Sequence[Subject],
    per: int,
    rates: Sequence[float] = RATES_HZ,
    ladder: Sequence[float] = LADDER,
    levels: Iterable[Level] | None = None,
) -> Iterator[Trial]:
    """Seeds of one kind: `per` for every size (and rate, if single frames matter)."""
    for level in levels or (kind.worst,):
        for factor in ladder if kind.ladder else (4.0,):
            if kind.each_rate:
                for rate in rates:
                    yield from _some(kind, subjects, per, level, factor, (rate,))
            else:
                yield from _some(kind, subjects, per, level, factor, rates)


def _some(
    kind: Kind,
    subjects: Sequence[Subject],
    per: int,
    level: Level,
    factor: float,
    rates: Sequence[float],
) -> Iterator[Trial]:
    word = f"{kind.name} {level} {factor} {rates[0] if kind.each_rate else ''}"
    chance = np.random.default_rng(zlib.crc32(word.encode()))
    made = 0
    for number in chance.permutation(len(subjects)):
        subject = subjects[int(number)]
        # A rate above the recording's own has no single frames of it.
        if kind.each_rate and rates[0] > 1.05 * subject.motion.sample_rate_hz:
            continue
        here = at_rate(subject, rates[0]) if kind.each_rate else subject
        limit = kind.limits[level]
        side = str(chance.choice(("left", "right")))
        # It shows while it is past the lowest limit, or, below that, nearly as large as it gets.
        lowest = min(*kind.limits.values(), 0.9 * factor * limit)
        seed = kind.make(here, side, factor * limit, lowest, chance)
        if seed is None or _taken(kind, subject, here, seed):
            continue
        for rate in rates:
            yield judged(kind, subject, seed, rate, level, factor)
        made += 1
        if made == per:
            return


def _taken(kind: Kind, subject: Subject, here: Subject, seed: Seed) -> bool:
    """Whether the clip has that defect at that place already."""
    rate = here.motion.sample_rate_hz
    before = _before(kind, subject, seed, rate)
    first, last = round(seed.first_s * rate), round(seed.last_s * rate)
    return any(
        names(one, seed) and one.span.first <= last and one.span.last >= first for one in before
    )


def _before(kind: Kind, subject: Subject, seed: Seed, rate: float) -> list[Finding]:
    if seed.clean is not None:
        return findings(kind.rule, seed.clean, dict(kind.settings))
    # A loop is cut out and closed: of what is left of the clip nothing is known.
    return [] if seed.cue.loop else untouched(kind, subject, rate)


def _seeded(kind: Kind, subject: Subject, seed: Seed, rate: float) -> Motion | Group:
    if isinstance(seed.seeded, Group) or (kind.each_rate and seed.seeded is not None):
        return seed.seeded
    if seed.seeded is not None:
        clip = resampled(seed.clip, rate)
        return replace(seed.seeded, clip=clip, _derived={})
    if kind.each_rate:
        return Motion(seed.clip, subject.figure, subject.motion.cue)
    clip = resampled(seed.clip, rate, to_end=bool(seed.cue.loop))
    if seed.drops_last:
        clip = clip.cut(0, clip.frames - 2)
    return Motion(clip, figure_for(subject, clip), seed.cue)


def judged(
    kind: Kind, subject: Subject, seed: Seed, rate: float, level: Level, factor: float
) -> Trial:
    """The rule's word on a seed at a rate."""
    try:
        said = findings(kind.rule, _seeded(kind, subject, seed, rate), dict(kind.settings))
    except KinelintError:
        said = []
    best = at_seam(said, seed) if seed.cue.loop else hit(said, seed, rate)
    before = _before(kind, subject, seed, rate)
    new = [one for one in said if not any(_same(one, old) for old in before)]
    about = [one for one in new if _about(one, seed, rate)]
    off = np.nan
    if best is not None and best.measured is not None and best.unit == seed.unit:
        off = abs(best.measured) - abs(seed.size)
    iou = np.nan
    if best is not None and not seed.cue.loop:
        iou = _iou(said, seed, rate, min(kind.limits.values()))
    return Trial(
        kind.name, kind.rule, subject.name, level, factor, rate, even(_file(subject)),
        best is not None and best.level is not None and best.level.rank >= level.rank,
        float(off), seed.size, seed.unit,
        iou, len(new), len(new) - len(about), seed.detail,
    )  # fmt: skip


def _file(subject: Subject) -> str:
    return f"{subject.file}.{subject.media}"


def _same(one: Finding, old: Finding) -> bool:
    together = one.span.first <= old.span.last and one.span.last >= old.span.first
    return together and one.detail == old.detail and bool(set(one.parts) & set(old.parts))


def _about(one: Finding, seed: Seed, rate: float) -> bool:
    """Whether a finding is about what the seed moves, where it moves it."""
    if seed.cue.loop:
        return not seed.parts or bool(set(one.parts) & {*seed.parts, *seed.limb})
    first, last = (seed.first_s - EASE_S) * rate, (seed.last_s + EASE_S) * rate
    here = one.span.first <= last and one.span.last >= first
    return here and bool(set(one.parts) & {*seed.parts, *seed.limb})


def _iou(said: Sequence[Finding], seed: Seed, rate: float, lowest: float) -> float:
    """Frames of findings that name the seed and touch it, over the union with those it shows in."""
    first, last = shown(seed, rate, lowest)
    wanted, named = set(range(first, last + 1)), set()
    for one in said:
        if names(one, seed) and one.span.first <= last and one.span.last >= first:
            named |= set(range(one.span.first, one.span.last + 1))
    return len(wanted & named) / len(wanted | named)


def shown(seed: Seed, rate: float, lowest: float) -> tuple[int, int]:
    """First and last frame in which it is past the lowest limit: it eases in and out of that."""
    share = np.linspace(0.0, 1.0, 201)
    sizes = seed.from_size + (abs(seed.size) - seed.from_size) * min_jerk(share)
    past = float(share[np.argmax(sizes > lowest)]) if sizes[-1] > lowest else 1.0
    more_s = seed.ease_s * (1.0 - past)
    if not more_s:
        first, last = round(seed.first_s * rate), round(seed.last_s * rate)
    else:
        # A frame is in it if its own time is.
        first = int(np.ceil((seed.first_s - more_s) * rate - 1e-6))
        last = int(np.floor((seed.last_s + more_s) * rate + 1e-6))
    return max(first, 0), max(last, first, 0)
