"""All that is promised of a rule, checked on its own examples. For any test runner."""

from __future__ import annotations

from typing import Any

import numpy as np

from kinelint.clip import Clip
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Unjudged
from kinelint.group import GroupExample, GroupRule, Said
from kinelint.pair_rule import WHOLE_FILE, PairRule
from kinelint.rule import Example, Rule, RuleBase, describe, faults


def check_rule(rule: type[RuleBase[Any]]) -> None:
    """Raises `AssertionError` if `rule` breaks the contract or one of its own examples.

    The contract: well formed (`kinelint.rule.faults`), documented settings with sources, at
    least one example without and one with findings, the same findings when run twice, spans
    inside the motion, finite numbers, arrays left alone.
    """
    wrong = faults(rule)
    assert not wrong, f"{rule.__qualname__}: {'; '.join(wrong)}"
    info = describe(rule)
    assert info.title.endswith("."), f"{rule.id}: the title is a sentence with a full stop"
    unsourced = [s.name for s in info.settings if not s.source and info.pack == "kinelint"]
    assert not (rule.__module__.startswith("kinelint_rules") and unsourced), (
        f"{rule.id}: settings without a source: {', '.join(unsourced)}"
    )
    if issubclass(rule, PairRule):
        _check_pairs(rule)
        return
    assert issubclass(rule, Rule | GroupRule), f"{rule.id}: neither a Rule nor a GroupRule"
    examples: list[Example | GroupExample] = list(rule.examples())
    assert any(one.finds for one in examples), f"{rule.id}: no example with a finding"
    assert any(not one.finds and not one.not_applicable for one in examples), (
        f"{rule.id}: no clean example"
    )
    for one in examples:
        check_example(rule, one)


def _check_pairs(rule: type[PairRule[Any]]) -> None:
    examples = list(rule.examples())
    assert any(one.finds for one in examples), f"{rule.id}: no example with a finding"
    assert any(not one.finds for one in examples), f"{rule.id}: no clean example"
    for one in examples:
        where = f"{rule.id}, example {one.name!r}"
        settings = rule.settings_type(**one.settings)
        found = list(rule.check(one.pair, settings))
        assert found == list(rule.check(one.pair, settings)), f"{where}: two runs differ"
        assert len(found) == one.finds, f"{where}: {found}"
        for said in found:
            assert said.span == WHOLE_FILE, f"{where}: {said.span} is no whole file"
            assert said.parts, f"{where}: names no part"
            assert said.message, f"{where}: says nothing"
        if found:
            first = found[0]
            assert one.detail in ("", first.detail), f"{where}: {first.detail}"
            assert one.level in (None, first.level), f"{where}: level {first.level}"


def check_example(rule: type[RuleBase[Any]], example: Example | GroupExample) -> list[Finding]:
    """Runs one example and holds the rule to it; returns its findings."""
    where = f"{rule.id}, example {example.name!r}"
    before = _fingerprint(example)
    try:
        said = _run(rule, example)
    except NotApplicable as reason:
        assert example.not_applicable, f"{where}: not applicable: {reason}"  # noqa: PT017
        return []
    assert not example.not_applicable, f"{where}: was judged"
    assert said == _run(rule, example), f"{where}: two runs differ"
    assert before == _fingerprint(example), f"{where}: the motion was written to"
    assert all(isinstance(one.what, Finding | Unjudged) for one in said), f"{where}: yields {said}"
    found = [one for one in said if isinstance(one.what, Finding)]
    clips = _clips(example)
    for one in found:
        assert isinstance(one.what, Finding)
        _check_finding(one.what, clips[one.member].frames, where)
    findings = [one.what for one in found if isinstance(one.what, Finding)]
    listed = "\n".join(f"  {one.span} {one.message}" for one in findings)
    assert len(findings) == example.finds, f"{where}: wanted {example.finds} findings:\n{listed}"
    if found:
        _check_first(findings[0], example, where)
        if isinstance(example, GroupExample) and example.member is not None:
            assert found[0].member == example.member, f"{where}: is on member {found[0].member}"
    return findings


def _run(rule: type[RuleBase[Any]], example: Example | GroupExample) -> list[Said]:
    settings = rule.settings_type(**example.settings)
    if issubclass(rule, GroupRule):
        assert isinstance(example, GroupExample)
        return list(rule.check(example.group, settings))
    assert issubclass(rule, Rule)
    assert isinstance(example, Example)
    return [Said(0, one) for one in rule.check(example.motion, settings)]


def _clips(example: Example | GroupExample) -> list[Clip]:
    if isinstance(example, Example):
        return [example.motion.clip]
    return [one.motion.clip for one in example.group.members]


def _check_finding(one: Finding, frames: int, where: str) -> None:
    assert one.span.last < frames, f"{where}: {one.span} is outside the motion"
    assert one.parts, f"{where}: names no part"
    assert one.message, f"{where}: says nothing"
    if one.worst_frame is not None:
        inside = one.span.first <= one.worst_frame <= one.span.last
        assert inside, f"{where}: worst frame {one.worst_frame} is outside {one.span}"
    for value in (one.measured, one.limit):
        assert value is None or np.isfinite(value), f"{where}: {value} is no number"


def _check_first(first: Finding, example: Example | GroupExample, where: str) -> None:
    if example.parts:
        assert first.parts == example.parts, f"{where}: parts {first.parts}"
    if example.frames is not None:
        off = abs(first.span.first - example.frames[0]), abs(first.span.last - example.frames[1])
        assert max(off) <= example.slack_frames, f"{where}: {first.span}, not {example.frames}"
    if example.measured is not None:
        assert first.measured is not None, f"{where}: measured nothing"
        off_by = abs(first.measured - example.measured)
        assert off_by <= example.within, f"{where}: {first.measured}, not {example.measured}"
    if example.level is not None:
        assert first.level == example.level, f"{where}: level {first.level}"


def _fingerprint(example: Example | GroupExample) -> list[bytes]:
    return [
        values.tobytes()
        for clip in _clips(example)
        for values in (clip.rotations, clip.translations)
    ]
