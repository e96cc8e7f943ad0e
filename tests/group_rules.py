"""Made rules on groups for tests of the engine; importable in worker processes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np

from kinelint.cue import Chain
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan
from kinelint.group import Group, GroupExample, GroupRule, Said
from kinelint.rule import RuleSettings, setting


class ApartSettings(RuleSettings):
    max_apart_mm: float = setting(20.0, gt=0, why="A test.", source="made up")


class _Made(GroupRule[RuleSettings]):
    """Common to the made rules."""

    id = "made-group"
    source = "made up"
    bond = Chain

    @staticmethod
    def check(group: Group, settings: Any, /) -> Iterator[Said]:
        yield from ()

    @staticmethod
    def examples() -> Iterable[GroupExample]:
        return ()


class Apart(GroupRule[ApartSettings]):
    """The pelvis of one clip goes on at the height where the last one ended."""

    id = "apart"
    source = "made up"
    bond = Chain

    @staticmethod
    def check(group: Group, settings: ApartSettings, /) -> Iterator[Said]:
        before, after = group.members
        end = before.motion.part("pelvis").position_m[1, -1]
        begin = after.motion.part("pelvis").position_m[1, 0]
        apart_mm = float(np.abs(end - begin)) * 1000.0
        if apart_mm > settings.max_apart_mm:
            message = f"pelvis begins {apart_mm:.0f} mm from where {before.label} ends"
            span = FrameSpan(0, 0)
            yield Said(
                1, Finding(message, span, ("pelvis",), apart_mm, settings.max_apart_mm, "mm")
            )

    @staticmethod
    def examples() -> Iterable[GroupExample]:
        return ()


class CrashingApart(_Made):
    """Crashes."""

    id = "crashing-apart"

    @staticmethod
    def check(group: Group, settings: Any, /) -> Iterator[Said]:
        raise RuntimeError("made so")
        yield


class InapplicableApart(_Made):
    """Cannot judge."""

    id = "inapplicable-apart"

    @staticmethod
    def check(group: Group, settings: Any, /) -> Iterator[Said]:
        raise NotApplicable("made so")
        yield


class Strange(_Made):
    """Yields a bare finding."""

    id = "strange"

    @staticmethod
    def check(group: Group, settings: Any, /) -> Iterator[Any]:
        yield Finding("made so", FrameSpan(0, 0), ("pelvis",))


class NoMember(_Made):
    """Speaks of a member that is not there."""

    id = "no-member"

    @staticmethod
    def check(group: Group, settings: Any, /) -> Iterator[Said]:
        yield Said(2, Finding("made so", FrameSpan(0, 0), ("pelvis",)))
