"""Runs over trees of small files: what is found where, what is said, what is decided."""

from __future__ import annotations

import dataclasses

import pytest

from ferry_tree import HEAD_OVER_PELVIS_M, RATE_HZ, bvh, write
from kinelint.engine import run
from kinelint.errors import PolicyError
from kinelint.finding import Level
from kinelint.policy import load_policy
from kinelint.report import Outcome, Verdict
from policy_rules import (
    Crashing,
    Graded,
    HeadHeight,
    Inapplicable,
    NamesNaN,
    NotANumber,
    OutOfClip,
    registered,
)

TOO_HIGH = [0.98] * 10 + [1.5, 1.6, 1.55] + [0.98] * 7


@pytest.fixture(autouse=True)
def elsewhere(tmp_path, monkeypatch):
    (tmp_path / "cwd").mkdir()
    monkeypatch.chdir(tmp_path / "cwd")


@pytest.fixture
def tree(tmp_path):
    folder = tmp_path / "game"
    folder.mkdir()
    return folder


def judged(tree, *rules, policy="", paths=None, workers=0, **more):
    path = None
    if policy:
        path = tree / "kinelint.toml"
        path.write_text(policy, encoding="utf-8")
    made = load_policy(path, registered(*rules))
    return run([tree] if paths is None else paths, made, workers=workers, **more)


def results(report):
    return {
        (asset.path, clip.name, one.rule_id): one
        for asset in report.assets
        for clip in asset.clips
        for one in clip.results
    }


def only(report):
    [result] = results(report).values()
    return result


HIGH = "[rules.head-height]\nmax_height_mm = 1800\n"


def test_a_finding_stands_at_its_frames_times_and_lines(tree):
    text = bvh(TOO_HIGH)
    write(tree, a=text)
    report = judged(tree, HeadHeight, policy=HIGH)
    [finding] = only(report).findings
    assert (finding.first, finding.worst, finding.last) == (10, 11, 12)
    assert finding.worst_s == pytest.approx(11 / RATE_HZ, rel=1e-5)
    assert finding.measured == pytest.approx((1.6 + HEAD_OVER_PELVIS_M) * 1000, abs=0.1)
    lines = text.splitlines()
    assert lines[finding.first_line - 1].startswith("0 1.5000 0")
    assert lines[finding.last_line - 1].startswith("0 1.5500 0")
    assert finding.joints == ("pelvis/abdomen/thorax/neck/head",)
    assert (finding.level, report.verdict) == (Level.ERROR, Verdict.FAIL)


def test_a_clean_clip_passes(tree):
    write(tree, a=bvh())
    report = judged(tree, HeadHeight, policy=HIGH)
    assert only(report).outcome is Outcome.PASSED
    assert report.verdict is Verdict.PASS
    assert report.assets[0].size_bytes == (tree / "a.bvh").stat().st_size
    assert len(report.assets[0].sha256) == 64


def test_identity_survives_a_trim_and_a_rename(tree):
    write(tree, a=bvh(TOO_HIGH), b=bvh(TOO_HIGH[5:]), c=bvh(TOO_HIGH + TOO_HIGH))
    report = judged(tree, HeadHeight, policy=HIGH)
    found = {path: one.findings for (path, _, _), one in results(report).items()}
    [whole], [trimmed], repeats = found["a.bvh"], found["b.bvh"], found["c.bvh"]
    assert whole.first != trimmed.first
    assert whole.content_id == trimmed.content_id == repeats[0].content_id
    assert repeats[0].content_id == repeats[1].content_id
    assert repeats[0].place_id != repeats[1].place_id


def test_levels_of_rule_finding_and_policy(tree):
    write(tree, a=bvh())
    own = [one.level for one in only(judged(tree, Graded)).findings]
    assert own == [Level.NOTE, Level.WARNING, Level.ERROR]
    report = judged(tree, Graded, policy='[rules.graded]\nlevel = "warning"\n')
    capped = [one.level for one in only(report).findings]
    assert capped == [Level.NOTE, Level.WARNING, Level.WARNING]
    assert report.verdict is Verdict.PASS
    strict = 'fail_on = "warning"\n[rules.graded]\nlevel = "warning"\n'
    assert judged(tree, Graded, policy=strict).verdict is Verdict.FAIL
    assert not results(judged(tree, Graded, policy='[rules.graded]\nlevel = "off"\n'))


def test_what_was_not_judged_is_said(tree):
    write(tree, a=bvh())
    [unjudged] = only(judged(tree, Graded)).not_judged
    assert (unjudged.reason, unjudged.parts) == ("the toes were not seen", ("left_toes",))


def test_scopes_and_classes(tree):
    write(tree, raw__a=bvh(TOO_HIGH), b=bvh(TOO_HIGH), c=bvh(TOO_HIGH))
    (tree / "cues.toml").write_text('[[cue]]\nclips = ["b.bvh"]\nclass = "climb"\n')
    report = judged(
        tree,
        HeadHeight,
        policy=HIGH
        + '[[scope]]\nclips = ["raw/**"]\nrules.head-height.level = "note"\n'
        + '[[scope]]\nclass = "climb"\nrules.head-height.max_height_mm = 3000\n',
    )
    levels = {
        path: [f.level for f in one.findings] for (path, _, _), one in results(report).items()
    }
    assert levels == {"raw/a.bvh": [Level.NOTE], "b.bvh": [], "c.bvh": [Level.ERROR]}
    assert [asset.clips[0].class_name for asset in report.assets] == ["climb", "", ""]


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        (Crashing, "ZeroDivisionError: no stride has zero length"),
        (NotANumber, "FloatingPointError"),
        (NamesNaN, "no number"),
        (OutOfClip, "frame 20 of a clip with 20 frames"),
    ],
)
def test_a_rule_that_fails_costs_itself_only(tree, rule, words):
    write(tree, a=bvh(TOO_HIGH))
    report = judged(tree, rule, HeadHeight, policy=HIGH)
    crashed = results(report)["a.bvh", "a", rule.id]
    assert crashed.outcome is Outcome.CRASHED
    assert not crashed.findings
    assert words in crashed.reason
    assert len(results(report)["a.bvh", "a", "head-height"].findings) == 1
    [trouble] = report.all_troubles()
    assert (trouble.kind, trouble.path, trouble.clip) == ("crashed-rule", "a.bvh", "a")
    assert trouble.rule_id == rule.id
    assert report.verdict is Verdict.INCOMPLETE


def test_a_traceback_names_the_line_and_no_folder_of_this_machine(tree):
    write(tree, a=bvh())
    [trouble] = judged(tree, Crashing).all_troubles()
    assert "tests/policy_rules.py:" in trouble.details
    assert 'raise ZeroDivisionError("no stride has zero length")' in trouble.details
    assert str(tree.anchor) + "tmp" not in trouble.details


def test_not_applicable_is_no_failure_unless_required(tree):
    write(tree, a=bvh(), raw__b=bvh())
    assert judged(tree, Inapplicable).verdict is Verdict.PASS
    report = judged(
        tree,
        Inapplicable,
        policy='[[scope]]\nclips = ["raw/**"]\nrequired = ["inapplicable"]\n',
    )
    assert {one.outcome for one in results(report).values()} == {Outcome.NOT_APPLICABLE}
    [trouble] = report.all_troubles()
    assert (trouble.kind, trouble.path) == ("required-rule", "raw/b.bvh")
    assert "no tail was recognised" in trouble.text
    assert report.verdict is Verdict.INCOMPLETE


def test_a_required_rule_that_is_off_is_said(tree):
    write(tree, a=bvh())
    policy = '[rules.graded]\nlevel = "off"\n[[scope]]\nclips = ["**"]\nrequired = ["graded"]\n'
    [trouble] = judged(tree, Graded, policy=policy).all_troubles()
    assert trouble.kind == "required-rule"


def test_an_unreadable_asset_among_good_ones(tree):
    write(tree, a=bvh(), b="HIERARCHY\nROOT hips\n{\n", c=bvh(TOO_HIGH))
    report = judged(tree, HeadHeight, policy=HIGH)
    assert [asset.path for asset in report.assets] == ["a.bvh", "b.bvh", "c.bvh"]
    [trouble] = report.all_troubles()
    assert (trouble.kind, trouble.path) == ("unreadable-asset", "b.bvh")
    assert trouble.place.startswith("line ")
    assert report.verdict is Verdict.INCOMPLETE
    assert len(results(report)["c.bvh", "c", "head-height"].findings) == 1


def test_a_sample_that_is_no_number_costs_its_clip(tree):
    text = bvh().splitlines()
    text[-3] = text[-3].replace("0.9800", "nan")
    write(tree, a="\n".join(text), b=bvh())
    report = judged(tree, HeadHeight, policy=HIGH)
    [trouble] = report.all_troubles()
    assert (trouble.kind, trouble.path) == ("unreadable-asset", "a.bvh")
    assert list(results(report)) == [("b.bvh", "b", "head-height")]


def test_a_skeleton_that_is_no_body_is_not_applicable(tree):
    rope = "HIERARCHY\nROOT rope\n{\nOFFSET 0 0 0\nCHANNELS 3 Xposition Yposition Zposition\n"
    rope += "End Site\n{\nOFFSET 0 1 0\n}\n}\nMOTION\nFrames: 2\nFrame Time: 0.1\n0 0 0\n0 1 0\n"
    write(tree, rope=rope)
    report = judged(tree, HeadHeight)
    assert only(report).outcome is Outcome.NOT_APPLICABLE
    assert "head" in only(report).reason
    assert report.verdict is Verdict.PASS


def test_parts_and_units_of_the_policy_hold(tree):
    write(tree, a=bvh(TOO_HIGH))
    policy = HIGH + '[[skeleton]]\nassets = ["a.bvh"]\nmetres_per_unit = 2.0\n'
    [finding] = only(judged(tree, HeadHeight, policy=policy)).findings
    assert (finding.first, finding.last) == (0, 19)
    assert finding.measured == pytest.approx((1.6 + HEAD_OVER_PELVIS_M) * 2000, abs=0.2)
    policy = '[[skeleton]]\nassets = ["a.bvh"]\nparts = { head = "head", neck = "no such" }\n'
    report = judged(tree, HeadHeight, policy=policy)
    assert only(report).outcome is Outcome.NOT_APPLICABLE
    # What the policy says of a body and cannot be true must not pass in silence.
    [trouble] = report.all_troubles()
    assert (trouble.kind, report.verdict) == ("misread-body", Verdict.INCOMPLETE)
    assert "no such" in trouble.text


def test_nothing_to_judge_is_an_error(tree):
    with pytest.raises(PolicyError, match="no motion file was found"):
        judged(tree, HeadHeight)
    with pytest.raises(PolicyError, match="no such file or folder"):
        judged(tree, HeadHeight, paths=[tree / "none"])
    write(tree, a=bvh())
    with pytest.raises(PolicyError, match="no motion file was found"):
        judged(tree, HeadHeight, policy='assets = ["raw/**"]\n')


def test_what_a_policy_leaves_unused_is_said(tree):
    write(tree, a=bvh())
    (tree / "cues.toml").write_text('[[cue]]\nclips = ["a.bvh"]\n\n[[cue]]\nclips = ["walk/**"]\n')
    policy = '[[scope]]\nclips = ["raw/**"]\n[[skeleton]]\nassets = ["crew/**"]\n'
    texts = [note.text for note in judged(tree, HeadHeight, policy=policy).notes]
    assert [text.partition(":")[2].strip() for text in texts] == [
        "no clip matches the cue walk/**",
        "no clip matches the scope raw/**",
        "no clip matches the skeleton crew/**",
    ]
    assert texts[0].startswith("cues.toml, line 4")
    # Of a part of the tree, nothing of the kind can be said.
    assert not judged(tree, HeadHeight, policy=policy, paths=[tree / "a.bvh"]).notes


def test_without_a_policy_it_is_said(tree):
    write(tree, a=bvh())
    [note] = judged(tree, HeadHeight).notes
    assert "no kinelint.toml" in note.text


def test_files_are_found_in_order_without_hidden_ones_and_loops(tree):
    write(tree, b=bvh(), a=bvh(), c__d=bvh())
    write(tree / ".hidden", e=bvh())
    (tree / "notes.txt").touch()
    (tree / "c" / "loop").symlink_to(tree)
    report = judged(tree, HeadHeight, policy='except = ["a.bvh"]\n')
    assert [asset.path for asset in report.assets] == ["b.bvh", "c/d.bvh"]
    named = judged(tree, HeadHeight, policy='except = ["a.bvh"]\n', paths=[tree / "a.bvh"])
    assert [asset.path for asset in named.assets] == ["a.bvh"]


def test_rules_and_setups_are_in_the_order_of_ids(tree):
    write(tree, a=bvh())
    report = judged(tree, HeadHeight, Graded, Inapplicable)
    assert [one.id for one in report.rules] == ["graded", "head-height", "inapplicable"]
    assert [one.rule_id for one in report.assets[0].clips[0].results] == [
        "graded",
        "head-height",
        "inapplicable",
    ]


def test_no_file_is_written_into_the_tree(tree):
    write(tree, a=bvh(), b=bvh())
    before = sorted(tree.rglob("*"))
    judged(tree, HeadHeight)
    assert sorted(tree.rglob("*")) == before


def plain(report):
    return dataclasses.replace(report, seconds=0.0)


def test_progress_is_told_to_the_end(tree):
    write(tree, a=bvh(), b=bvh())
    said = []
    judged(tree, HeadHeight, progress=lambda *one: said.append(one))
    assert said == [(p, n, 2) for p in ("survey", "judge") for n in (0, 1, 2)]


def test_what_is_odd_about_a_body_is_noted(tree):
    """A scene with a partner: the second figure is not judged, and that is said."""
    text = bvh(frames=20)
    hierarchy, motion = text.removeprefix("HIERARCHY\n").split("MOTION\n")
    head, rows = motion.splitlines()[:2], motion.splitlines()[2:]
    other = hierarchy.replace("ROOT pelvis", "ROOT mate").replace("OFFSET 0.0", "OFFSET 2.0", 1)
    doubled = [f"{row} {row}" for row in rows]
    both = "\n".join(["HIERARCHY", hierarchy + other + "MOTION", *head, *doubled, ""])
    (tree / "both.bvh").write_text(both, encoding="utf-8")
    [asset] = judged(tree, HeadHeight).assets
    told = [note.text for note in asset.clips[0].notes if note.topic == "anatomy"]
    assert any('"mate" on look like a second figure' in text for text in told)
