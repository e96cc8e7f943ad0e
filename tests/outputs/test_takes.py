"""Takes are ranked by the frames and parts that cleaning them would touch: counted by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ferry_tree import bvh, write
from kinelint.cli import main
from kinelint.finding import Level
from kinelint.outputs.takes import render_takes, takes
from kinelint.report import Trouble
from outputs.test_causes import finding, report


def with_findings(*rows):
    """A report of one clip for each row of findings."""
    made = report([None] * len(rows))
    assets = []
    for asset, found in zip(made.assets, rows, strict=True):
        [clip] = asset.clips
        [result] = clip.results
        result = replace(result, findings=tuple(found))
        assets.append(replace(asset, clips=(replace(clip, results=(result,)),)))
    return replace(made, assets=tuple(assets))


def test_cost_is_frames_times_parts_with_warnings_half():
    hand = finding(5.0, first=10, last=19, parts=("left_hand",), level=Level.ERROR)
    foot = finding(5.0, first=15, last=24, parts=("left_foot",), level=Level.WARNING)
    note = finding(5.0, first=0, last=90, level=Level.NOTE)
    overlapping = finding(5.0, first=12, last=15, parts=("left_hand",), level=Level.WARNING)
    costly, free = with_findings([hand, foot, overlapping], [note]).assets
    ranked = takes(replace(with_findings([]), assets=(costly, free)))
    assert [one.clip for one in ranked] == ["clip 1", "clip 0"]
    last = ranked[1]
    assert last.cost == pytest.approx(10 * 1.0 + 10 * 0.5)
    assert last.touched == 15
    assert last.part_frames == (("left_foot", 10), ("left_hand", 10))
    assert (last.errors, last.warnings) == (1, 2)
    assert (ranked[0].cost, ranked[0].touched) == (0, 0)


def test_what_could_not_be_judged_comes_last():
    made = with_findings([], [finding(5.0)])
    troubled = replace(made.assets[0], troubles=(Trouble("crashed-rule", "x", clip="clip 0"),))
    ranked = takes(replace(made, assets=(troubled, made.assets[1])))
    assert [(one.clip, one.judged) for one in ranked] == [("clip 1", True), ("clip 0", False)]
    text = list(render_takes(ranked))
    assert "could not be judged" in text[-3] + text[-1] + text[-2] + text[-4]
    assert max(map(len, text)) <= 80


def test_the_command_ranks_files_and_judges_nothing(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    sunk = [0.98] * 10 + [0.80] * 10
    write(tmp_path, good=bvh(), bad=bvh(sunk))
    asked = ["measure", "--takes", "good.bvh", "bad.bvh", "--workers", "0", "--policy", "/dev/null"]
    assert main(asked) == 0
    out = capsys.readouterr().out
    assert out.index("good.bvh") < out.index("bad.bvh")
    assert main(["measure", "good.bvh", "bad.bvh"]) == 2
    assert "add --takes" in capsys.readouterr().err
