"""How well foot-slide and ground-contact find seeded feet: one table. Run me.

    python tests/accuracy/feet.py [FOLDER]

FOLDER holds real clips (by default KINELINT_TEST_DATA or ../shared/data); without one, only the
made walk is measured.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from accuracy.clips import data_folder, subjects
from accuracy.feet_seeding import Stand, resampled, slid, stands, sunk
from kinelint.errors import KinelintError, NotApplicable
from kinelint.finding import Finding, Level
from kinelint.motion import Motion
from kinelint.synthetic_walk import standing_on, walk
from kinelint_rules.feet.foot_slide import FootSlide, FootSlideSettings
from kinelint_rules.feet.ground_contact import GroundContact, GroundContactSettings

RATES_HZ = (30.0, 60.0, 120.0)
# 1.25 times the limits of note, warning and error of each rule, and more.
LIMITS_MM = {
    kind: (rule.note_mm, rule.warning_mm, rule.error_mm)
    for kind, rule in (("slide", FootSlideSettings()), ("sink", GroundContactSettings()))
}
SIZES_MM = {kind: (*(1.25 * limit for limit in mm), 100.0) for kind, mm in LIMITS_MM.items()}
# Long enough for a foot to be seen to glide, and fast.
SECONDS = (0.1, 0.25)
# On the ground: a fast dip and a longer one.
DIPS_S = (0.12, 0.4)


@dataclass
class Tally:
    """Seeds of one kind, size and rate."""

    seeds: int = 0
    found: int = 0
    graded: int = 0
    off_mm: list[float] = field(default_factory=list)

    def add(self, hit: Finding | None, size_mm: float, level: Level) -> None:
        self.seeds += 1
        if hit is not None:
            self.found += 1
            self.graded += int((hit.level or Level.ERROR).rank >= level.rank)
            self.off_mm.append((hit.measured or 0.0) - size_mm)


def findings(rule: type, motion: Motion) -> list[Finding]:
    try:
        return [f for f in rule.check(motion, rule.settings_type()) if isinstance(f, Finding)]
    except NotApplicable:
        return []


def hit(found: list[Finding], side: str, first: int, last: int) -> Finding | None:
    """The largest finding on the foot that overlaps the frames."""
    here = [
        one
        for one in found
        if f"{side}_foot" in one.parts and one.span.first <= last and one.span.last >= first
    ]
    return max(here, key=lambda one: one.measured or 0.0, default=None)


def level_of(kind: str, size_mm: float) -> Level:
    """What a defect of 1.25 times a limit must at least be."""
    levels = (Level.NOTE, Level.WARNING, Level.ERROR)
    passed = [
        level
        for level, limit in zip(levels, LIMITS_MM[kind], strict=True)
        if size_mm >= 1.25 * limit
    ]
    return passed[-1]


def seeds(motion: Motion, most: int = 4) -> Iterator[tuple[str, float, Stand, int, int, Motion]]:
    """Kind, size, stand, frames and the motion of each seed that the legs can reach."""
    rate = motion.sample_rate_hz
    chosen = stands(motion)
    step = max(len(chosen) // most, 1)
    for number, stand in enumerate(chosen[::step][:most]):
        middle = (stand.first + stand.last) // 2
        for size_mm in SIZES_MM["slide"]:
            for seconds in SECONDS:
                half = max(round(seconds * rate / 2), 1)
                angle = number * 2.4 + size_mm
                way = np.array([np.cos(angle), 0.0, np.sin(angle)]) * size_mm / 1000.0
                yield from _made("slide", motion, slid, size_mm, stand, way, middle, half)
        for size_mm in SIZES_MM["sink"]:
            for seconds in DIPS_S:
                half = max(round(seconds * rate / 2), 1)
                yield from _made(
                    "sink", motion, sunk, size_mm, stand, size_mm / 1000.0, middle, half
                )


def _made(kind, motion, make, size_mm, stand, amount, middle, half):
    first, last = middle - half, middle + half
    if first < stand.first or last > stand.last:
        return
    try:
        clip = make(motion.clip, motion.figure, stand, amount, first, last)
    except ValueError:
        return
    seeded = Motion(clip, motion.figure, motion.cue, motion.ground_m)
    yield kind, size_mm, stand, first, last, seeded


def measure(motions: list[Motion]) -> dict[tuple[str, float, float], Tally]:
    """Tallies by kind, size and rate."""
    table: dict[tuple[str, float, float], Tally] = {}
    rules = {"slide": FootSlide, "sink": GroundContact}
    for motion in motions:
        for kind, size_mm, stand, first, last, seeded in seeds(motion):
            for rate in RATES_HZ:
                scale = rate / motion.sample_rate_hz
                clip = resampled(seeded.clip, rate)
                judged = Motion(clip, seeded.figure, seeded.cue, seeded.ground_m)
                found = findings(rules[kind], judged)
                one = hit(found, stand.side, int(first * scale), int(np.ceil(last * scale)))
                tally = table.setdefault((kind, size_mm, rate), Tally())
                tally.add(one, size_mm, level_of(kind, size_mm))
    return table


def show(title: str, table: dict[tuple[str, float, float], Tally]) -> None:
    print(f"\n{title}\nkind   size   rate  seeds  found  level  size error median  95 %   mm")
    for (kind, size_mm, rate), tally in sorted(table.items()):
        off = np.abs(tally.off_mm) if tally.off_mm else np.array([np.nan])
        print(
            f"{kind:5s} {size_mm:6.1f} {rate:5.0f} {tally.seeds:6d} {tally.found:6d} "
            f"{tally.graded:6d} {np.median(tally.off_mm or [np.nan]):12.1f} "
            f"{np.quantile(off, 0.95):12.1f}"
        )


def made() -> list[Motion]:
    """Clean made motions: a walk, and standing with bent knees."""
    return [walk(sample_rate_hz=120.0).motion(), standing_on({}, frames=241).motion()]


def originals(motions: list[tuple[str, Motion]]) -> None:
    print("\nuntouched: findings of foot-slide and ground-contact (errors, warnings, notes)")
    minutes, errors = 0.0, 0
    for name, motion in motions:
        row = []
        for rule in (FootSlide, GroundContact):
            found = findings(rule, motion)
            counts = [sum(f.level == level for f in found) for level in Level]
            errors += counts[0]
            row.append("/".join(map(str, counts)))
        minutes += motion.clip.duration_s / 60.0
        print(f"{name[:44]:44s} {motion.clip.duration_s:5.1f} s  {row[0]:9s} {row[1]:9s}")
    print(f"{errors} errors in {minutes:.2f} minutes: {errors / max(minutes, 1e-9):.1f} a minute")


def main(arguments: list[str]) -> None:
    show("made motions", measure(made()))
    try:
        real = [(one.name, one.motion) for one in subjects(data_folder(arguments))]
    except KinelintError as error:
        print(error)
        return
    captures = [(name, motion) for name, motion in real if motion.clip.source.media == "bvh"]
    if captures:
        show("real clips", measure([motion for _, motion in captures]))
        originals(captures)


if __name__ == "__main__":
    main(sys.argv[1:])
