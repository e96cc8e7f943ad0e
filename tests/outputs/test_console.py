"""What people read at a terminal: it fits, it says all, it obeys nothing."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from kinelint.finding import Level, Note
from kinelint.outputs.cells import apart, cell_width, cut, padded, wrapped
from kinelint.outputs.console import render, render_rule, render_rules
from kinelint.outputs.wording import against, clock, number, plain
from kinelint.report import NotJudged, Outcome, RuleResult, Verdict
from outputs import made_report as made

REPORTS = {**made.ALL, "crowded": lambda: made.crowded(120)}
_SGR = re.compile(r"\x1b\[[0-9;]*m")


@pytest.mark.parametrize("quiet", [False, True])
@pytest.mark.parametrize("width", [40, 56, 80, 132])
@pytest.mark.parametrize("name", REPORTS)
def test_no_line_is_wider_than_the_terminal(name, width, quiet):
    text = render(REPORTS[name](), width=width, quiet=quiet)
    assert max(map(cell_width, text.split("\n"))) <= width
    assert not any(line != line.rstrip() for line in text.split("\n"))


@pytest.mark.parametrize("name", REPORTS)
def test_colour_only_repeats_what_words_say(name):
    plain_text, coloured = render(REPORTS[name]()), render(REPORTS[name](), colour=True)
    assert "\x1b" not in plain_text
    assert _SGR.sub("", coloured) == plain_text
    assert coloured != plain_text


@pytest.mark.parametrize("name", REPORTS)
def test_no_control_character_reaches_the_terminal(name):
    assert not re.search(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", render(
        REPORTS[name]()
    ))  # fmt: skip


def test_a_finding_tells_when_where_how_much_and_what_to_do():
    text = render(made.full())
    row = next(line for line in text.split("\n") if "f37–42" in line)
    assert row.split("  ")[1] == "ERROR"
    for said in ("0:01.233–0:01.400", "left foot", "64 mm, limit 50"):
        assert said in row
    flat = " ".join(text.split())
    assert "foot-slide: left foot slides 64 mm while planted; worst at f39" in flat
    assert "Do: Pin the left heel on its mark of frame 37 until frame 42, or let the foot" in flat
    assert re.search(r"Haul_Line +0:03.967, 120 frames, 30 Hz\nclips/haul_line.bvh\n", text)


def test_at_40_cells_nothing_of_a_finding_is_lost():
    flat = " ".join(render(made.full(), width=40).split())
    for said in ("ERROR", "0:00.400–0:00.633", "34.2 mm, limit 10", "right thigh", "24 mm forward"):
        assert said in flat


def test_the_worst_clip_comes_first_and_in_it_the_worst_finding():
    text = render(made.full())
    order = [text.index(name) for name in ("Haul_Line", "Carry_Crate", "Throw_Line")]
    assert order == sorted(order)
    assert text.index("64 mm, limit 50") < text.index("36 mm, limit 30")


def test_columns_of_a_clip_stand_below_each_other():
    rows = [line for line in render(made.full()).split("\n") if re.search(r"  f\d", line)]
    haul = [line for line in rows if "left foot" in line][:2]
    assert len({line.index("left foot") for line in haul}) == 1
    assert len({line.index(", limit") for line in haul}) == 1


def test_parts_that_do_not_fit_are_named_below():
    parts = ("left_upper_arm", "right_upper_arm", "left_forearm", "thorax")
    finding = made.poke(parts=parts, message="arms are crossed too deep")
    clip = made.clip("A", made.failed("penetration", finding))
    text = render(made.report(made.asset("a.glb", clip)))
    assert "left upper arm +3" in text
    flat = " ".join(text.split())
    assert "(left upper arm, right upper arm, left forearm, thorax)" in flat


def test_what_was_waived_is_shown_with_its_reason_and_counted():
    text = render(made.full())
    assert "Waived: the deck is wet here; Ines, until May" in text
    assert "1 waived" in text
    quiet = render(made.full(), quiet=True)
    assert "wet here" not in quiet
    assert "1 waived" in quiet


def test_one_reason_for_many_clips_is_said_once():
    clips = [
        made.clip(f"Walk_{n}", made.unfit("loop-seam", "the clip is not called a loop"))
        for n in range(30)
    ]
    text = render(made.report(*(made.asset(f"{one.name}.bvh", one) for one in clips)))
    assert text.count("the clip is not called a loop") == 1
    assert "(all 30 clips)" in text
    assert "30 not judged" in text


def test_a_reason_of_one_clip_with_findings_stands_in_its_block():
    text = render(made.full())
    block = text[text.index("Haul_Line") : text.index("ERROR")]
    assert "not judged  joint-limit: no frame stands with flat feet" in block
    assert "noted       the floor lies at 0.003 m" in block


def test_notes_that_differ_in_their_numbers_are_said_once_with_their_range():
    clips = [
        made.clip(f"Walk_{n}", notes=(Note("ground", f"the floor was estimated at {h} m"),))
        for n, h in enumerate(("0.012", "-0.003", "0.004", "0.004"))
    ]
    text = render(made.report(*(made.asset(f"{one.name}.bvh", one) for one in clips)))
    assert "ground  the floor was estimated at -0.003 to 0.012 m (all 4 clips)" in text


def test_what_holds_for_both_sides_is_said_once():
    sides = tuple(
        NotJudged(f"{side} hip: no frame is upright", (f"{side}_thigh",))
        for side in ("left", "right")
    )
    clips = [
        made.clip(f"Walk_{n}", RuleResult("joint-limit", Outcome.PASSED, not_judged=sides))
        for n in range(5)
    ]
    text = render(made.report(*(made.asset(f"{one.name}.bvh", one) for one in clips)))
    flat = " ".join(text.split())
    assert "left and right hip: no frame is upright (left and right thigh) (all 5 clips)" in flat
    assert "10 not judged" in flat


def test_what_holds_for_several_joints_is_said_once():
    said = [
        NotJudged(f"{joint}: no zero: nobody stands", (part,))
        for joint, part in (
            ("trunk", "thorax"),
            ("left hip", "left_thigh"),
            ("right hip", "right_thigh"),
        )
    ]
    other = NotJudged("neck: it turns too much", ("head",))
    judged = RuleResult("joint-limit", Outcome.PASSED, not_judged=(*said, other))
    clips = [made.clip(f"Walk_{n}", judged) for n in range(5)]
    flat = " ".join(
        render(made.report(*(made.asset(f"{one.name}.bvh", one) for one in clips))).split()
    )
    assert "left and right hip, trunk: no zero: nobody stands (all 5 clips)" in flat
    assert "neck: it turns too much (head) (all 5 clips)" in flat
    assert "20 not judged" in flat
    alone = made.clip("Walk", judged, made.failed("foot-slide", made.poke()))
    flat = " ".join(render(made.report(made.asset("walk.bvh", alone))).split())
    assert "joint-limit: trunk, left and right hip: no zero: nobody stands joint-limit:" in flat


def test_clips_of_one_name_are_counted_apart():
    one = made.clip("Walk", made.unfit("loop-seam", "no loop"))
    text = render(made.report(*(made.asset(f"{n}.bvh", one) for n in range(5))))
    assert "no loop (all 5 clips)" in text


def test_what_is_quiet_is_still_counted():
    quiet = render(made.full(), quiet=True)
    assert "Not judged" not in quiet
    assert "4 not judged" in quiet


def test_parts_that_could_not_be_judged_are_told():
    result = RuleResult(
        "joint-limit", Outcome.PASSED, not_judged=(NotJudged("no zero", ("left_hand",)),)
    )
    text = render(made.report(made.asset("a.bvh", made.clip("A", result))))
    assert "joint-limit  no zero (left hand) (A)" in text


def test_findings_that_are_not_shown_are_counted_by_rule_and_level():
    text = render(made.crowded(50))
    assert text.count("Do: ") == 12
    assert "and 38 more, not shown (foot-slide: 38 errors)" in text
    assert render(made.crowded(50), most=None).count("Do: ") == 50


def test_all_shows_every_note_and_reason():
    words = ["anchor", "bollard", "cleat", "davit", "ensign", "fender", "gunwale", "hawser"]
    words += ["hatch", "keel", "locker", "mast", "oar", "plank"]
    judged = [made.unfit("loop-seam", f"no {word} was found") for word in words]
    noted = tuple(Note("unit", f"the {word} was left out") for word in words)
    run = made.report(made.asset("a.bvh", made.clip("A", *judged), notes=noted))
    few, every = render(run), render(run, most=None)
    assert few.count("and 2 other reasons, in 2 places") == 2
    assert "other reason" not in every
    for word in words:
        assert f"no {word} was found" in every
        assert f"the {word} was left out" in every


def test_every_trouble_is_told_with_its_place():
    flat = " ".join(render(made.troubled()).split())
    for said in (
        "clips/broken.glb, byte 9120: cannot be read chunk 1 is cut off. Export the asset again",
        "clips/lost.glb: worker process lost",
        "clips/step_gap.bvh, Step_Gap rule foot-slide crashed: ZeroDivisionError",
        "rule loop-seam is required here and could not judge: the clip is too short",
        "the run: body not understood no pelvis was found",
        "INCOMPLETE no findings in 1 clip; 1 not judged; 5 troubles.",
        "Exit status 2.",
    ):
        assert said in flat


@pytest.mark.parametrize(
    ("verdict", "fail_on", "last"),
    [
        (Verdict.PASS, Level.ERROR, "There are no findings of level error. Exit status 0."),
        (Verdict.FAIL, Level.WARNING, "findings of level warning or above. Exit status 1."),
    ],
)
def test_the_last_line_tells_the_verdict_and_the_exit_status(verdict, fail_on, last):
    text = render(replace(made.full(), verdict=verdict, fail_on=fail_on))
    assert text.rstrip("\n").split("\n")[-1].endswith(last)
    assert f"{verdict.value.upper()}  2 errors, 1 warning, 1 note in 2 of 4 clips" in text


def test_a_long_name_is_cut_by_cells_and_a_long_path_is_wrapped():
    text = render(made.hostile())
    heading = next(line for line in text.split("\n") if "手を引く" in line)
    assert "…" in heading
    assert heading.endswith("0:03.967, 120 frames, 30 Hz")
    path = "深い/" * 60 + "a.glb"
    deep = made.asset(path, made.clip("A", made.failed("penetration", made.poke())))
    assert path in render(made.report(deep)).replace("\n", "")


def test_names_are_neutralised_and_still_recognisable():
    assert plain("\x1b[2J") == "␛[2J"
    assert plain("a\tb\nc") == "a b c"
    assert plain("\u202eexe") == "\ufffdexe"
    assert plain("手を引く é") == "手を引く é"


@pytest.mark.parametrize(
    ("text", "cells"), [("abc", 3), ("手", 2), ("é", 1), ("e\u0301", 1), ("ｱ", 1), ("Ａ", 2)]
)
def test_cells_are_counted_by_east_asian_width(text, cells):
    """Unicode Standard Annex 11: wide and full-width take two, half-width one."""
    assert cell_width(text) == cells


def test_text_is_cut_padded_and_wrapped_by_cells():
    assert cut("手手手", 5) == "手手…"
    assert cut("手手手", 4) == "手…"
    assert padded("手", 4) == "手  "
    assert padded("ab", 4, right=True) == "  ab"
    assert apart("left", "right", 12) == "left   right"
    assert apart("much too long", "right", 12) == "much…  right"
    assert wrapped("aa bbb 手手", 6, first="> ") == ["> aa", "bbb", "手手"]
    assert wrapped("abcdefgh", 4, rest=" ") == ["abcd", " efg", " h"]


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "0:00.000"),
        (1.2333333, "0:01.233"),
        (59.9996, "1:00.000"),
        (3661.5, "61:01.500"),
        (-0.1, "-0:00.100"),
        (float("nan"), "?"),
    ],
)
def test_times_read_as_minutes_seconds_and_milliseconds(seconds, text):
    assert clock(seconds) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [(64.0, "64"), (34.21, "34.2"), (123.4, "123"), (5.25, "5.25"), (0.0123, "0.0123"), (0.0, "0"),
     (-12.34, "-12.3")],
)  # fmt: skip
def test_numbers_have_three_digits_or_so(value, text):
    assert number(value) == text


def test_a_value_just_past_its_limit_does_not_read_as_equal():
    assert against(made.slide(measured=50.04)) == "50.04 mm, limit 50"
    assert against(made.slide(measured=750.0, limit=720.0, unit="deg/s")) == "750°/s, limit 720"
    assert against(made.slide(measured=6.5, limit=5.0, unit="percent")) == "6.5 %, limit 5"


def test_rules_are_listed_by_id_with_level_and_title():
    lines = render_rules(made.RULES).split("\n")
    assert max(map(cell_width, lines)) <= 80
    ids = [line.split()[0] for line in lines if line and not line.startswith(" ")][:-1]
    assert ids == sorted(one.id for one in made.RULES)
    assert "pack night-ferry-rules" in " ".join(" ".join(lines).split())


@pytest.mark.parametrize("info", made.RULES, ids=lambda one: one.id)
def test_the_page_of_a_rule_says_all_that_the_rule_says(info):
    text = render_rule(info, ("feet planted",))
    flat = " ".join(text.split())
    assert max(map(cell_width, text.split("\n"))) <= 80
    for said in (info.title, info.quantity, info.on_screen, info.remedy, info.source):
        assert said in flat
    for one in info.settings:
        assert one.name in flat
        assert one.why in flat
    assert "- feet planted" in text
    assert ("no medical reference" in flat) == (info.id == "joint-limit")


def test_notes_leave_their_remedy_to_those_who_ask_for_all():
    report = made.full()
    report = replace(report, assets=tuple(_with_remedies(asset) for asset in report.assets))
    short, whole = render(report), render(report, most=None)
    assert "Turn it a little" in whole
    assert "Turn it a little" not in short
    assert short.count("Do: ") > 0


def _with_remedies(asset):
    def change(one):
        return replace(one, remedy="Turn it a little") if one.level is Level.NOTE else one

    clips = []
    for clip in asset.clips:
        results = tuple(
            replace(result, findings=tuple(map(change, result.findings))) for result in clip.results
        )
        clips.append(replace(clip, results=results))
    return replace(asset, clips=tuple(clips))
