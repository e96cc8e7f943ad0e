"""Rules on clips that belong together, through a whole run."""

from __future__ import annotations

import pytest

from ferry_tree import bvh, write
from group_rules import Apart, CrashingApart, InapplicableApart, NoMember, Strange
from kinelint.engine import run
from kinelint.policy import load_policy
from kinelint.report import Outcome, Verdict
from policy_rules import HeadHeight, registered

CUES = '[[chain]]\nname = "deck"\nsteps = ["a.bvh", "b.bvh", "c.bvh"]\n'
HIGH = "[rules.head-height]\nmax_height_mm = 1900\n"


@pytest.fixture
def tree(tmp_path):
    folder = tmp_path / "game"
    folder.mkdir()
    write(folder, a=bvh([0.98] * 20), b=bvh([0.98] * 19 + [1.08]), c=bvh([0.98] * 20))
    write(folder, alone=bvh([1.0] * 20))
    (folder / "cues.toml").write_text(CUES, encoding="utf-8")
    return folder


def judged(tree, *rules, policy="", workers=0):
    path = None
    if policy:
        path = tree / "kinelint.toml"
        path.write_text(policy, encoding="utf-8")
    return run([tree], load_policy(path, registered(*rules)), workers=workers)


def results(report):
    return {
        asset.path.removesuffix(".bvh"): {one.rule_id: one for one in clip.results}
        for asset in report.assets
        for clip in asset.clips
    }


@pytest.mark.parametrize("workers", [0, 2])
def test_a_seam_is_found_on_the_clip_that_begins(tree, workers):
    report = judged(tree, Apart, HeadHeight, workers=workers)
    said = results(report)
    [found] = said["c"]["apart"].findings
    assert found.measured == pytest.approx(100.0, abs=0.1)
    assert (found.first, found.parts) == (0, ("pelvis",))
    assert found.place_id
    assert "b" in found.message
    assert said["a"]["apart"].outcome is Outcome.PASSED
    assert said["b"]["apart"].outcome is Outcome.PASSED
    assert report.verdict is Verdict.FAIL
    assert set(said["b"]) == {"apart", "head-height"}


def test_a_clip_that_nothing_binds_says_so(tree):
    result = results(judged(tree, Apart))["alone"]["apart"]
    assert result.outcome is Outcome.NOT_APPLICABLE
    assert "nothing that follows" in result.reason


def test_a_required_rule_that_binds_nothing_keeps_the_run_from_being_complete(tree):
    policy = '[[scope]]\nclips = ["alone.bvh"]\nrequired = ["apart"]\n'
    report = judged(tree, Apart, policy=policy)
    assert report.verdict is Verdict.INCOMPLETE
    [trouble] = report.all_troubles()
    assert (trouble.kind, trouble.path, trouble.rule_id) == ("required-rule", "alone.bvh", "apart")


def test_levels_and_settings_are_those_of_the_later_clip(tree):
    policy = '[[scope]]\nclips = ["c.bvh"]\n[scope.rules.apart]\nmax_apart_mm = 150\n'
    assert not results(judged(tree, Apart, policy=policy))["c"]["apart"].findings
    policy = '[[scope]]\nclips = ["c.bvh"]\n[scope.rules.apart]\nlevel = "off"\n'
    said = results(judged(tree, Apart, policy=policy))
    assert "apart" not in said["c"]
    assert said["b"]["apart"].outcome is Outcome.PASSED


@pytest.mark.parametrize("rule", [CrashingApart, Strange, NoMember])
def test_a_rule_that_breaks_costs_itself_only(tree, rule):
    report = judged(tree, rule, HeadHeight, policy=HIGH)
    assert report.verdict is Verdict.INCOMPLETE
    said = results(report)
    assert said["b"][rule.id].outcome is Outcome.CRASHED
    assert said["b"]["head-height"].outcome is Outcome.PASSED
    kinds = {(one.kind, one.path) for one in report.all_troubles()}
    assert kinds == {("crashed-rule", f"{name}.bvh") for name in "abc"}


def test_a_rule_that_cannot_judge_says_why(tree):
    said = results(judged(tree, InapplicableApart))
    assert said["b"]["inapplicable-apart"].outcome is Outcome.NOT_APPLICABLE
    assert said["b"]["inapplicable-apart"].reason == "made so"


def test_an_unreadable_partner_is_said(tree):
    (tree / "b.bvh").write_text("HIERARCHY\n", encoding="utf-8")
    report = judged(tree, Apart)
    assert report.verdict is Verdict.INCOMPLETE
    assert any("no clip matches b.bvh" in one.text for one in report.notes)
