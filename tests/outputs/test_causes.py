"""One offset over many clips is one cause."""

from __future__ import annotations

from dataclasses import replace

import pytest

from kinelint.finding import Level
from kinelint.outputs.causes import LEAST_CLIPS, likely_causes
from kinelint.outputs.console import render
from kinelint.report import (
    AssetReport,
    ClipReport,
    Located,
    Outcome,
    Report,
    RuleResult,
    Verdict,
)


def finding(measured, last=90, **more):
    made = Located(
        rule_id="ground-contact",
        level=Level.WARNING,
        message="left foot under the floor",
        parts=("left_foot",),
        first=0,
        last=last,
        worst=3,
        start_s=0.0,
        end_s=1.0,
        worst_s=0.1,
        measured=measured,
        limit=20.0,
        unit="mm",
    )
    return replace(made, **more)


def report(sizes, skeleton="abc", **more):
    assets = []
    for number, size in enumerate(sizes):
        found = () if size is None else (finding(size, **more),)
        outcome = Outcome.FAILED if found else Outcome.PASSED
        result = RuleResult("ground-contact", outcome, found)
        clip = ClipReport(f"clip {number}", 100, 30.0, 3.3, skeleton=skeleton, results=(result,))
        assets.append(AssetReport(f"{number}.bvh", "bvh", False, 1, "", (clip,)))
    return Report("0", tuple(assets), (), (), Level.ERROR, Verdict.PASS)


def test_the_same_offset_in_most_clips_is_one_cause():
    [cause] = likely_causes(report([24, 25, 23, 24.5, 26, 24, None]))
    assert (cause.clips, cause.judged) == (6, 7)
    assert cause.measured == pytest.approx(24.25)
    assert (cause.lowest, cause.highest) == (23, 26)
    assert "soles" in cause.likely


@pytest.mark.parametrize(
    "made",
    [
        report([24] * (LEAST_CLIPS - 1)),
        report([10, 20, 40, 80, 160, 320]),
        report([24] * 5 + [None] * 5),
        report([24] * 6, last=10),
        report([24] * 6, waived="known"),
    ],
)
def test_few_unlike_rare_short_or_waived_findings_are_none(made):
    assert likely_causes(made) == ()


def test_other_skeletons_are_other_causes():
    one, other = report([24] * 5), report([24] * 5, skeleton="def")
    both = replace(one, assets=(*one.assets, *other.assets))
    assert len(likely_causes(both)) == 2


def test_the_console_says_it_once_and_where_to_look():
    text = render(report([24, 25, 23, 24.5, 26, 24]))
    assert text.count("Likely one cause") == 1
    assert "ground-contact: left foot, about 24.2 mm, in 6 of 6 clips of one" in text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "Likely one cause" not in render(report([24]))
