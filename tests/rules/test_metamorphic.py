"""What every rule says of its own worked motions does not hang on how they are told."""

from __future__ import annotations

import pytest

from kinelint.errors import NotApplicable
from kinelint.finding import Finding
from kinelint.registry import load
from kinelint.rule import Rule
from rules.variants import SAME_SIDES, halved, mirrored, swapped

CASES = [
    pytest.param(one.rule, example, id=f"{rule_id}: {example.name}")
    for rule_id, one in load().items()
    if issubclass(one.rule, Rule)
    for example in one.rule.examples()
]


def verdict(rule, example, motion, side=lambda part: part, of_settings=lambda part: part):
    settings = rule.settings_type(**_each(example.settings, of_settings))
    try:
        said = list(rule.check(motion, settings))
    except NotApplicable:
        return "not applicable"
    return [
        (
            _sorted(map(side, one.parts)),
            str(one.level),
            one.detail,
            one.unit,
            one.span,
            one.measured,
        )
        for one in said
        if isinstance(one, Finding)
    ]


def _sorted(parts):
    # Only the offending one has a place of its own; a pair of both sides offends together.
    first, *others = parts
    return tuple(sorted([first, *others])) if swapped(first) in others else (first, *sorted(others))


def _each(value, change):
    """Every word in some settings changed."""
    if isinstance(value, str):
        return change(value)
    if isinstance(value, dict):
        return {change(name): _each(one, change) for name, one in value.items()}
    if isinstance(value, list | tuple):
        return type(value)(_each(one, change) for one in value)
    return value


def alike(one, other):
    if isinstance(one, str) or isinstance(other, str):
        assert one == other
        return
    key = lambda said: (said[4].first, said[4].last, said[0], said[2])  # noqa: E731
    one, other = sorted(one, key=key), sorted(other, key=key)
    assert [said[:4] for said in one] == [said[:4] for said in other]
    for mine, theirs in zip(one, other, strict=True):
        assert abs(mine[4].first - theirs[4].first) <= 1
        assert abs(mine[4].last - theirs[4].last) <= 1
        if mine[5] is None or theirs[5] is None:
            assert mine[5] is theirs[5]
            continue
        assert mine[5] == pytest.approx(theirs[5], rel=1e-3, abs=0.05)


@pytest.mark.parametrize("told", SAME_SIDES)
@pytest.mark.parametrize(("rule", "example"), CASES)
def test_units_axes_names_and_places_change_no_verdict(rule, example, told):
    before = verdict(rule, example, example.motion)
    alike(before, verdict(rule, example, SAME_SIDES[told](example.motion)))


@pytest.mark.parametrize(("rule", "example"), CASES)
def test_mirroring_swaps_the_sides(rule, example):
    before = verdict(rule, example, example.motion)
    alike(before, verdict(rule, example, mirrored(example.motion), swapped, swapped))


@pytest.mark.parametrize(("rule", "example"), CASES)
def test_half_the_rate_gives_the_same_verdict(rule, example):
    before = verdict(rule, example, example.motion)
    if example.motion.sample_rate_hz < 60.0:
        pytest.skip("made at less than 60 Hz")
    if not isinstance(before, str) and any(one[4].frames < 4 for one in before):
        pytest.skip("shows for less than two frames at half the rate")
    after = verdict(rule, example, halved(example.motion))
    if isinstance(before, str) or isinstance(after, str):
        assert before == after
        return
    # Which of two points of a foot slides further may be a matter of a millimetre.
    assert sorted((*one[:2], one[3]) for one in before) == sorted(
        (*one[:2], one[3]) for one in after
    )
