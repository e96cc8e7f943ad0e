"""The judge itself, and a quick part of what it measures. Bounds are those that are met today."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from accuracy.clips import Subject, subjects
from accuracy.judge_tables import Figures, by_rule
from accuracy.kinds import UNSEEDED, Kind, every
from accuracy.rig import min_jerk
from accuracy.seed import Seed
from accuracy.trial import RULE, Trial, even, judged, shown, trials
from accuracy.untouched import Told, reviewed, verdict
from kinelint.finding import Finding, FrameSpan, Level
from kinelint.synthetic_walk import walk
from real_data import folder

PAGE = Path(__file__).resolve().parents[2] / "rules" / "ACCURACY.md"
# Kinds that are quick to make and judge, of every folder of rules.
QUICK = (
    "slid", "sunk", "shin", "knee", "pop", "shake-tone", "frozen", "slip", "turn",
    "set-off-at-the-cut", "late", "unequal-limbs", "creeps-in-place", "weight-too-high",
    "phase-too-long", "joint-set-off", "wrap", "other-reading",
)  # fmt: skip
CLIPS = ("accad_male1_b3_walk", "accad_male2_b3_walk", "cmu_12_01_walk_tpose0", "fair1_zombie_zup")


@pytest.fixture(scope="module")
def captures():
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    return [one for one in subjects(folder(), (".bvh",)) if one.file in CLIPS]


@pytest.fixture(scope="module")
def made():
    motion = walk(seconds=4.0, sample_rate_hz=120.0).motion()
    return Subject("made walk", "made", motion, (motion.clip,))


def test_every_rule_has_a_kind_or_a_reason():
    kinds = every()
    assert len({one.name for one in kinds}) == len(kinds)
    assert {one.rule for one in kinds} | set(UNSEEDED) == set(RULE)
    assert not {one.rule for one in kinds} & set(UNSEEDED)
    for one in kinds:
        ranked = sorted(one.limits.items(), key=lambda row: row[0].rank)
        sizes = [size for _, size in ranked]
        assert sizes == sorted(sizes), one.name


def test_the_committed_page_tells_of_every_rule():
    text = PAGE.read_text(encoding="utf-8")
    first = text.split("## By kind")[0]
    for rule in RULE:
        assert re.search(rf"^\| {rule} \|", first, re.MULTILINE), rule
    assert re.search(r"Made on \d{4}-\d\d-\d\d by `python tests/accuracy/judge.py", text)
    assert re.search(r"at commit [0-9a-f]{7,}", text)


def _trial(**more):
    base = Trial(
        "k", "pop", "clip", Level.ERROR, 2.0, 60.0, True, True, 1.0, 20.0, "mm", 0.9, 2, 1, ""
    )
    return replace(base, **more)


def test_figures_against_ones_counted_by_hand():
    rows = [
        _trial(),
        _trial(found=False, off=np.nan, iou=np.nan, told=0, false=0, even=False),
        _trial(off=-3.0, iou=0.7, told=1, false=0),
        # Below the limit: of no account but for precision.
        _trial(factor=0.5, found=False, told=1, false=1, off=np.nan, iou=np.nan),
    ]
    one = Figures.of(rows)
    assert one.seeds == 3
    assert one.recall == pytest.approx(2 / 3)
    assert one.halves == (1.0, 0.0)
    assert one.precision == pytest.approx(1 - 2 / 4)
    # 1 mm of 20 is within 10 %, 3 mm is not.
    assert one.sized == 0.5
    assert one.iou == pytest.approx(0.8)
    assert one.misses == ["recall", "precision", "size"]


def test_a_table_without_trials_says_so_for_every_rule():
    table = by_rule([])
    for rule in RULE:
        assert f"| {rule} | 0 |" in table
        assert UNSEEDED.get(rule, "not tried") in table


def test_a_seed_shows_while_it_is_past_the_lowest_limit(made):
    seed = Seed("k", "r", ("head",), made.motion.clip, 1.0, 1.5, 20.0, "mm", ease_s=0.2)
    first, last = shown(seed, 1000.0, 5.0)
    assert 20.0 * min_jerk((first / 1000.0 - 0.8) / 0.2) == pytest.approx(5.0, abs=0.2)
    assert last - 1500 == pytest.approx(1000 - first, abs=1)
    assert shown(replace(seed, ease_s=0.0), 60.0, 5.0) == (60, 90)


def test_what_was_there_before_is_neither_found_nor_false(made):
    """A seed that changes nothing: nothing new is told of it."""
    kind = Kind("none", "pop", {Level.ERROR: 30.0}, lambda *_: None, each_rate=True)
    seed = Seed("none", "pop", ("head",), made.motion.clip, 1.0, 1.1, 60.0, "deg")
    one = judged(kind, made, seed, 120.0, Level.ERROR, 2.0)
    assert (one.found, one.told, one.false) == (False, 0, 0)


def test_a_pop_elsewhere_than_the_seed_says_is_false(made):
    """The judge can tell: it is told of another part, and counts a miss and a false finding."""
    [kind] = [one for one in every() if one.name == "pop"]
    seed = kind.make(made, "left", 60.0, 30.0, np.random.default_rng(5))
    right = judged(kind, made, seed, 120.0, Level.ERROR, 2.0)
    assert (right.found, right.false) == (True, 0)
    moved = replace(seed, parts=("head",), limb=("head",))
    wrong = judged(kind, made, moved, 120.0, Level.ERROR, 2.0)
    assert (wrong.found, wrong.false) == (False, 1)


def test_halves_are_of_crc32():
    """CRC-32 of "123456789" is 0xCBF43926 (the check value of its definition): even."""
    assert even("123456789")


def test_reviewed_findings_are_known_again():
    known = reviewed()
    assert len({(one.clip, one.rule, one.part, one.frames) for one in known}) == len(known)
    assert all(one.why and one.rule in RULE for one in known)
    one = next(iter(known))
    span = FrameSpan(one.frames[1], one.frames[1] + 4)
    finding = Finding("", span, (one.part,), level=Level.ERROR)
    assert verdict(Told(one.clip, "bvh", True, one.rule, finding), known) is one.real
    after = replace(finding, span=FrameSpan(one.frames[1] + 50, one.frames[1] + 60))
    assert verdict(Told("elsewhere", "bvh", True, one.rule, after), known) is None


@pytest.mark.parametrize("name", QUICK)
def test_seeds_of_twice_the_limit_are_found(captures, name):
    [kind] = [one for one in every() if one.name == name]
    rows = list(trials(kind, captures, 2, (30.0, 120.0), (2.0,)))
    assert len(rows) >= 2
    assert [one.detail for one in rows if not one.found] == []
    told = sum(one.told for one in rows)
    assert sum(one.false for one in rows) <= 0.05 * told
