"""Policies hold rules to a version."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from ferry_tree import bvh, write
from kinelint.engine import run
from kinelint.errors import PolicyError
from kinelint.finding import Finding, FrameSpan
from kinelint.policy import load_policy
from kinelint.policy.schema import policy_schema
from kinelint.registry import Registered
from kinelint.rule import Example, Rule, RuleSettings, faults, setting


class OldSettings(RuleSettings):
    most_mm: float = setting(1.0, gt=0, why="A test.", source="made up")


class NewSettings(RuleSettings):
    most_deg: float = setting(1.0, gt=0, why="A test.", source="made up")


class Old(Rule[OldSettings]):
    """The rule as it was."""

    id = "turns"
    source = "made up"
    version = 1

    @staticmethod
    def check(motion, settings, /):
        yield Finding("old", FrameSpan(0, 0), ("pelvis",))

    @staticmethod
    def examples() -> Iterable[Example]:
        return ()


class New(Rule[NewSettings]):
    """The rule as it is."""

    id = "turns"
    source = "made up"
    version = 2
    former = {1: Old}  # noqa: RUF012

    @staticmethod
    def check(motion, settings, /):
        yield Finding("new", FrameSpan(0, 0), ("pelvis",))

    @staticmethod
    def examples() -> Iterable[Example]:
        return ()


RULES = {"turns": Registered(New, "pack", "1.0")}


@pytest.fixture
def judged(tmp_path):
    def judge(policy):
        write(tmp_path, a=bvh())
        path = tmp_path / "kinelint.toml"
        path.write_text(policy, encoding="utf-8")
        report = run([tmp_path], load_policy(path, RULES, "kinelint.toml"), workers=0)
        [result] = report.assets[0].clips[0].results
        return report, result.findings[0].message

    return judge


def test_without_a_pin_the_newest_version_judges(judged):
    report, said = judged("[rules.turns]\nmost_deg = 3\n")
    assert said == "new"
    assert report.rules[0].version == 2
    assert not [one for one in report.notes if one.topic == "pins"]


def test_a_pin_keeps_the_old_behaviour_with_its_settings_and_is_said(judged):
    report, said = judged("[pins]\nturns = 1\n[rules.turns]\nmost_mm = 3\n")
    assert said == "old"
    assert report.rules[0].version == 1
    [note] = [one.text for one in report.notes if one.topic == "pins"]
    assert note == "turns is pinned to version 1; version 2 is there"


@pytest.mark.parametrize(
    ("policy", "said"),
    [
        ("[pins]\nturns = 3\n", "line 2: turns has no version 3. It has 1, 2. Is this an older"),
        ("[pins]\nturns = 0\n", "line 2: turns has no version 0. It has 1, 2."),
        ("[pins]\nturn = 1\n", "line 2: unknown rule 'turn'. Did you mean 'turns'?"),
        ('[pins]\nturns = "1"\n', "must be a whole number"),
        ("[pins]\nturns = 1\n[rules.turns]\nmost_deg = 3\n", "unknown key"),
        ("[rules.turns]\nmost_mm = 3\n", "unknown key"),
    ],
)
def test_pins_that_cannot_be_held_are_errors_with_their_line(judged, policy, said):
    with pytest.raises(PolicyError) as error:
        judged(policy)
    assert said in str(error.value)


def test_the_schema_lists_the_versions():
    assert policy_schema(RULES)["properties"]["pins"]["properties"] == {"turns": {"enum": [1, 2]}}


def test_a_rule_must_name_its_former_versions_rightly():
    class Wrong(New):
        """Wrong."""

        former = {2: Old}  # noqa: RUF012

    assert any("former[2]" in one for one in faults(Wrong))
    assert not any("former" in one for one in faults(New))
