"""What every rule says of real clips as they are, a minute, and which errors a person looked at.

`reviewed.toml` holds the findings of level error that were looked at: clip, rule, part, frames,
whether the defect is real, and why.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from accuracy.clips import Subject
from accuracy.trial import RULE, even, findings
from kinelint.errors import KinelintError
from kinelint.finding import Finding, Level
from kinelint.rule import Rule

REVIEWED = Path(__file__).with_name("reviewed.toml")
# Of the issue: error findings a minute at most, and the share of them that must be real.
MOST_A_MINUTE = 3.0
LEAST_REAL = 0.95


@dataclass(frozen=True)
class Reviewed:
    """One finding of level error that was looked at."""

    clip: str
    rule: str
    part: str
    frames: tuple[int, int]
    real: bool
    why: str

    def covers(self, clip: str, rule: str, one: Finding) -> bool:
        """Whether it is this finding, or what has become of it."""
        together = one.span.first <= self.frames[1] and one.span.last >= self.frames[0]
        return (clip, rule) == (self.clip, self.rule) and self.part in one.parts and together


@dataclass(frozen=True)
class Told:
    """A finding on an untouched clip."""

    clip: str
    media: str
    even: bool
    rule: str
    finding: Finding


def reviewed(path: Path = REVIEWED) -> tuple[Reviewed, ...]:
    """The list as it is kept."""
    rows = tomllib.loads(path.read_text(encoding="utf-8"))["finding"]
    return tuple(
        Reviewed(
            row["clip"], row["rule"], row["part"], (row["first"], row["last"]), row["real"],
            row["why"],
        )
        for row in rows
    )  # fmt: skip


def said_of(subject: Subject) -> Iterator[Told]:
    """Every rule on single clips, on one clip."""
    for rule_id, rule in RULE.items():
        if not issubclass(rule, Rule):
            continue
        try:
            every = findings(rule_id, subject.motion, {})
        except KinelintError as reason:
            print(f"{subject.name}: {rule_id}: {reason}")
            continue
        half = even(f"{subject.file}.{subject.media}")
        for one in every:
            yield Told(subject.name, subject.media, half, rule_id, one)


def verdict(one: Told, known: Iterable[Reviewed]) -> bool | None:
    """Real or not, by the list; None if nobody has looked."""
    for row in known:
        if row.covers(one.clip, one.rule, one.finding):
            return row.real
    return None


def a_minute(told: Iterable[Told], minutes: float) -> dict[str, dict[Level, float]]:
    """Rule to level to findings a minute."""
    count = Counter((one.rule, one.finding.level) for one in told)
    return {
        rule: {level: count[rule, level] / max(minutes, 1e-9) for level in Level} for rule in RULE
    }
