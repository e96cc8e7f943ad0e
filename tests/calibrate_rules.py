"""Made rules with limits, whose every size is known; for tests of calibration."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.finding import Finding, FrameSpan, Level, Unjudged
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting

STANDS_M = 0.98


class RiseSettings(RuleSettings):
    note_mm: float = setting(20.0, gt=0, why="A test.", source="made up")
    warning_mm: float = setting(30.0, gt=0, why="A test.", source="made up")
    error_mm: float = setting(60.0, gt=0, lt=5000, why="A test.", source="made up")
    fall_mm: float = setting(40.0, ge=0, why="A test.", source="made up")


class Rise(Rule[RiseSettings]):
    """The pelvis stays at its height; a rise past its limit hides a fall."""

    id = "rise"
    source = "made up"
    limits = (("note_mm", "warning_mm", "error_mm"), ("fall_mm",))

    @staticmethod
    def check(motion: Motion, settings: RiseSettings, /) -> Iterator[Finding | Unjudged]:
        off_mm = 1000.0 * (motion.part("pelvis").position_m[1] - STANDS_M)
        for level in (Level.ERROR, Level.WARNING, Level.NOTE):
            name = f"{level.value}_mm"
            if off_mm.max() > getattr(settings, name):
                yield _finding("rises", off_mm, getattr(settings, name), name, level)
                return
        if -off_mm.min() > settings.fall_mm:
            yield _finding("falls", -off_mm, settings.fall_mm, "fall_mm", Level.ERROR)

    @staticmethod
    def examples() -> Iterable[Example]:
        return ()


def _finding(said: str, off_mm: np.ndarray, limit: float, name: str, level: Level) -> Finding:
    worst = int(np.argmax(off_mm))
    return Finding(
        f"the pelvis {said}",
        FrameSpan(worst, worst),
        ("pelvis",),
        measured=float(off_mm[worst]),
        limit=limit,
        unit="mm",
        level=level,
        setting=name,
        confidence=1.0,
    )
