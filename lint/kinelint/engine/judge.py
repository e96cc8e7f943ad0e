"""One rule on one motion. Whatever the rule does, the run goes on."""

from __future__ import annotations

import math
import warnings
from dataclasses import replace

import numpy as np

from kinelint.engine.context import short_traceback
from kinelint.engine.place import located, with_place_ids
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level, Unjudged
from kinelint.motion import Motion
from kinelint.policy import SettledRule
from kinelint.report import Located, NotJudged, Outcome, RuleResult
from kinelint.rule import Rule


class BrokenContract(Exception):  # noqa: N818 - said of a rule, never shown as an error
    """A rule said something that no rule may say."""


def judge(motion: Motion, demand: SettledRule) -> RuleResult:
    """What became of a rule on a motion; a rule that raises costs itself only."""
    rule = demand.rule
    try:
        findings, unjudged = _said(motion, demand)
    except NotApplicable as reason:
        return RuleResult(
            rule.id, Outcome.NOT_APPLICABLE, reason=str(reason), required=demand.required
        )
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        said = str(error) if isinstance(error, BrokenContract) else named(error)
        return RuleResult(
            rule.id,
            Outcome.CRASHED,
            reason=said,
            details=short_traceback(error),
            required=demand.required,
        )
    placed = [placed_finding(one, demand, motion) for one in findings]
    placed.sort(key=lambda one: (one.first, one.last, one.parts, one.detail))
    return RuleResult(
        rule.id,
        Outcome.FAILED if placed else Outcome.PASSED,
        with_place_ids(placed, motion.clip.name),
        tuple(NotJudged(one.reason, tuple(one.parts)) for one in unjudged),
        required=demand.required,
    )


def placed_finding(found: Finding, demand: SettledRule, motion: Motion) -> Located:
    """A finding at its place, at the level and with the source that the policy leaves it."""
    level = level_of(found, demand)
    made = located(demand.rule.id, found, level, motion.clip, motion.figure)
    return replace(made, limit_source=demand.source_of(found.setting))


def level_of(found: Finding, demand: SettledRule) -> Level:
    """The policy's level is the highest that a graded finding may have, and any other's own."""
    if demand.level is None:
        return found.level or demand.rule.level
    if found.level is None:
        return demand.level
    return min(found.level, demand.level, key=lambda level: level.rank)


def named(error: BaseException) -> str:
    """An exception for people: its class and what it says."""
    text = str(error)
    return f"{type(error).__name__}: {text}" if text else type(error).__name__


def _said(motion: Motion, demand: SettledRule) -> tuple[list[Finding], list[Unjudged]]:
    findings: list[Finding] = []
    unjudged: list[Unjudged] = []
    with strict_numbers():
        rule = demand.rule
        assert issubclass(rule, Rule)
        for one in rule.check(motion, demand.settings):
            if isinstance(one, Finding):
                hold(one, motion)
                findings.append(one)
            elif isinstance(one, Unjudged):
                unjudged.append(one)
            else:
                raise BrokenContract(f"the rule yielded {one!r}, which is no finding")
    return findings, unjudged


class strict_numbers:  # noqa: N801 - reads as a statement: with strict_numbers()
    """Numbers that come to nothing raise: a NaN is never above a limit, so it would pass."""

    def __enter__(self) -> None:
        self._warnings = warnings.catch_warnings()
        self._warnings.__enter__()
        warnings.simplefilter("ignore")
        self._errors = np.errstate(invalid="raise", divide="raise", over="raise")
        self._errors.__enter__()

    def __exit__(self, *said: object) -> None:
        self._errors.__exit__(None, None, None)
        self._warnings.__exit__(None, None, None)


def hold(one: Finding, motion: Motion) -> None:
    """Holds a finding to what a report can carry.

    Raises:
        BrokenContract: it cannot.
    """
    if one.span.last >= motion.frames:
        raise BrokenContract(
            f"the rule names frame {one.span.last} of a clip with {motion.frames} frames"
        )
    worst = one.span.first if one.worst_frame is None else one.worst_frame
    if not one.span.first <= worst <= one.span.last:
        raise BrokenContract(f"the rule's worst frame {worst} lies outside its own span")
    if not one.parts or not one.message:
        raise BrokenContract("the rule made a finding without a part or a message")
    numbers = (one.measured, one.limit, one.confidence, *(one.at_m or ()), *(one.direction or ()))
    if not all(math.isfinite(value) for value in numbers if value is not None):
        raise BrokenContract(f"the rule measured a value that is no number: {one.message!r}")
