"""Every finding says which setting its limit is and how sure it is; limits can be lowered."""

from __future__ import annotations

from typing import ClassVar

import pytest

from kinelint.calibrate.probe import NEAR_ZERO
from kinelint.calibrate.sizes import multipliers, size_of
from kinelint.engine.judge import placed_finding
from kinelint.finding import Finding
from kinelint.group import GroupRule
from kinelint.policy import SettledRule
from kinelint.report import Located
from kinelint.rule import Rule, RuleSettings, faults, setting
from kinelint.testing import check_example
from kinelint_rules import RULES
from kinelint_rules.feet.foot_slide import FootSlide
from kinelint_rules.feet.ground_contact import GroundContact
from kinelint_rules.joints.joint_limit import JointLimit

# Where a limit may be no setting: a contact or a reach that the cue sheet gives.
FROM_THE_CUE_SHEET = ("penetration", "contact-sync")
WITH_FINDINGS = [
    pytest.param(rule, one, id=f"{rule.id}: {one.name}")
    for rule in RULES
    if issubclass(rule, Rule | GroupRule)
    for one in rule.examples()
    if one.finds
]


@pytest.mark.parametrize(("rule", "example"), WITH_FINDINGS)
def test_findings_say_their_setting_and_confidence(rule, example):
    settings = rule.settings_type(**example.settings)
    for found in check_example(rule, example):
        assert found.confidence is not None, found.message
        assert 0.0 < found.confidence <= 1.0
        if found.limit is not None and rule.id not in FROM_THE_CUE_SHEET:
            assert found.setting, found.message
        if found.setting:
            assert hasattr(settings, found.setting), found.setting


@pytest.mark.parametrize(("rule", "example"), WITH_FINDINGS)
def test_low_limits_find_no_less(rule, example):
    """What is found by today's limits has the same size where the limits are near zero."""
    if issubclass(rule, GroupRule):
        pytest.skip("judged as groups")
    today = rule.settings_type(**example.settings)
    for group in rule.limits:
        sizes = _sizes(rule, example.motion, today, group)
        again: list[float] = [0.0]
        for lowered in (rule.limits, (group,)):  # as the probes do: all at once, and alone
            low = {
                name: NEAR_ZERO * getattr(today, some[0]) * (1 + 0.01 * number)
                for some in lowered
                for number, name in enumerate(some)
            }
            settings = rule.settings_type(**{**example.settings, **low})
            again += _sizes(rule, example.motion, settings, group).values()
        # Spans that merge may be named after another part of the same thing.
        # A mean over a span falls a little as the span grows.
        assert max(again) >= 0.95 * max(sizes.values(), default=0.0), (group, sizes, again)


def _sizes(
    rule: type[Rule[RuleSettings]], motion: object, settings: RuleSettings, group: tuple[str, ...]
) -> dict[str, float]:
    sizes: dict[str, float] = {}
    for one in rule.check(motion, settings):
        if isinstance(one, Finding) and one.setting in group:
            placed = placed_finding(one, SettledRule(rule, settings), motion)
            size = size_of(placed, getattr(settings, one.setting), multipliers(settings))
            if size is not None:
                sizes[one.parts[0]] = max(sizes.get(one.parts[0], 0.0), size)
    return sizes


def _first(rule: type[Rule[RuleSettings]], name: str, **settings: float) -> Located:
    example = next(one for one in rule.examples() if one.name == name)
    demand = SettledRule(rule, rule.settings_type(**settings))
    found = next(
        one for one in rule.check(example.motion, demand.settings) if isinstance(one, Finding)
    )
    return placed_finding(found, demand, example.motion)


def test_the_source_of_a_limit_is_the_setting_s():
    found = _first(FootSlide, "left foot slides forwards")
    assert found.setting == "error_mm"
    assert found.limit_source == "measured on 24 captures of walks, runs, idles and gestures"


def test_a_limit_that_the_policy_changes_has_the_policy_for_its_source():
    found = _first(FootSlide, "left foot slides forwards", error_mm=50.0)
    assert found.limit == 50.0
    assert found.limit_source == "the policy: error_mm = 50.0"


@pytest.mark.parametrize(
    ("rule", "name", "setting_name"),
    [
        (GroundContact, "left foot under the floor", "error_mm"),
        (GroundContact, "the whole figure floats", "hover_warning_mm"),
        (JointLimit, "left knee 16 deg the wrong way", "margin_deg"),
        (JointLimit, "left thigh 48 deg back", "zero_margin_deg"),
    ],
)
def test_settings_by_level_and_kind(rule, name, setting_name):
    assert _first(rule, name).setting == setting_name


def test_limits_that_are_wrong_are_faults():
    class Settings(RuleSettings):
        note_mm: float = setting(5.0, why="A test.")
        error_mm: float = setting(3.0, why="A test.")
        turn_deg: float = setting(3.0, why="A test.")
        word: str = setting("", why="A test.")

    class Wrong(Rule[Settings]):
        """Wrong."""

        id = "wrong"
        source = "made up"
        limits: ClassVar[tuple[tuple[str, ...], ...]] = (
            ("note_mm", "error_mm"),
            ("note_mm", "turn_deg"),
            ("word",),
            ("gone",),
            (),
        )

        @staticmethod
        def check(motion, settings, /):
            yield from ()

        @staticmethod
        def examples():
            return ()

    said = "\n".join(faults(Wrong))
    for what in (
        "limits note_mm, error_mm do not rise",
        "limits name 'note_mm' more than once",
        "limits ('note_mm', 'turn_deg') are none, or of several units",
        "limits name 'word', whose default is no number",
        "limits name 'gone', and there is no such setting",
        "limits () are none, or of several units",
    ):
        assert what in said, what
