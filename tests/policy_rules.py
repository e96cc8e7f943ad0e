"""Made rules for tests of the policy and the engine; importable in worker processes."""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np
from pydantic import model_validator

from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Unjudged
from kinelint.frame_spans import spans
from kinelint.motion import Motion
from kinelint.registry import Registered
from kinelint.rule import Example, Rule, RuleSettings, setting


class HeightSettings(RuleSettings):
    max_height_mm: float = setting(1000.0, gt=0, why="A test.", source="made up")
    min_height_mm: float = setting(0.0, ge=0, why="A test.", source="made up")
    words: tuple[str, ...] = setting((), why="A test.", source="made up")

    @model_validator(mode="after")
    def _ordered(self) -> HeightSettings:
        if self.min_height_mm >= self.max_height_mm:
            raise ValueError("min_height_mm must lie below max_height_mm")
        return self


class _Made(Rule[RuleSettings]):
    """Common to the made rules."""

    id = "made"
    source = "made up"

    @staticmethod
    def check(motion: Motion, settings: Any, /) -> Iterator[Finding | Unjudged]:
        yield from ()

    @staticmethod
    def examples() -> Iterable[Example]:
        return ()


class HeadHeight(Rule[HeightSettings]):
    """The head stays below a height."""

    id = "head-height"
    source = "made up"

    @staticmethod
    def check(motion: Motion, settings: HeightSettings, /) -> Iterator[Finding | Unjudged]:
        height = motion.part("head").position_m[1] * 1000
        for span in spans(height > settings.max_height_mm):
            worst = span.first + int(np.argmax(height[span.first : span.last + 1]))
            yield Finding(
                "head is too high",
                span,
                ("head",),
                measured=float(height[worst]),
                limit=settings.max_height_mm,
                unit="mm",
                worst_frame=worst,
            )

    @staticmethod
    def examples() -> Iterable[Example]:
        return ()


class Graded(_Made):
    """Grades its findings itself."""

    id = "graded"

    @staticmethod
    def check(motion: Motion, settings: Any, /) -> Iterator[Finding | Unjudged]:
        yield Finding("a note", FrameSpan(1, 2), ("head",), level=Level.NOTE)
        yield Finding("a warning", FrameSpan(3, 4), ("head",), level=Level.WARNING)
        yield Finding("the rule's own", FrameSpan(5, 6), ("pelvis",))
        yield Unjudged("the toes were not seen", ("left_toes",))


class Crashing(_Made):
    """Finds something, then raises."""

    id = "crashing"

    @staticmethod
    def check(motion: Motion, settings: Any, /) -> Iterator[Finding | Unjudged]:
        yield Finding("partial", FrameSpan(0, 0), ("head",))
        raise ZeroDivisionError("no stride has zero length")


class NotANumber(_Made):
    """Makes a NaN on its way."""

    id = "not-a-number"

    @staticmethod
    def check(motion: Motion, settings: Any, /) -> Iterator[Finding | Unjudged]:
        none = np.zeros(3)
        if np.any(none / none > 1):
            yield Finding("never", FrameSpan(0, 0), ("head",))


class NamesNaN(_Made):
    """Measures a NaN."""

    id = "names-nan"

    @staticmethod
    def check(motion: Motion, settings: Any, /) -> Iterator[Finding | Unjudged]:
        yield Finding("odd", FrameSpan(0, 0), ("head",), measured=float("nan"))


class OutOfClip(_Made):
    """Names frames that the clip does not have."""

    id = "out-of-clip"

    @staticmethod
    def check(motion: Motion, settings: Any, /) -> Iterator[Finding | Unjudged]:
        yield Finding("odd", FrameSpan(0, motion.frames), ("head",))


class Inapplicable(_Made):
    """Needs what no motion has."""

    id = "inapplicable"

    @staticmethod
    def check(motion: Motion, settings: Any, /) -> Iterator[Finding | Unjudged]:
        raise NotApplicable("no tail was recognised")
        yield


class Dying(_Made):
    """Takes its process down on clips called "deadly"."""

    id = "dying"

    @staticmethod
    def check(motion: Motion, settings: Any, /) -> Iterator[Finding | Unjudged]:
        if motion.clip.name.startswith("deadly"):
            os._exit(7)
        yield from ()


class Slow(_Made):
    """Takes a while."""

    id = "slow"

    @staticmethod
    def check(motion: Motion, settings: Any, /) -> Iterator[Finding | Unjudged]:
        time.sleep(0.05)
        yield from ()


def registered(*rules: type[Rule[Any]]) -> dict[str, Registered]:
    return {one.id: Registered(one, "made", "1.0") for one in sorted(rules, key=lambda r: r.id)}
