"""Calibration: sizes of known distributions, the limits that follow, and the policy's diff."""

from __future__ import annotations

import decimal
import hashlib
import statistics
import subprocess
import sys
import tomllib

import numpy as np
import pytest

import kinelint.registry
from calibrate_rules import STANDS_M, Rise
from ferry_tree import bvh, write
from kinelint.calibrate import Change, edited, new_text, unified
from kinelint.calibrate.propose import rounded_up
from kinelint.calibrate.shown import figures, histogram
from kinelint.calibrate.sizes import size_of
from kinelint.cli import main
from kinelint.errors import PolicyError
from kinelint.finding import Level
from kinelint.report import Located
from policy_rules import registered

FRAMES = 100
# Rises of 24 clips, mm; fixed, so that every figure below can be worked out.
RISES_MM = np.round(np.random.default_rng(7).gamma(4.0, 6.0, 24), 1)


@pytest.fixture(autouse=True)
def made_rules(monkeypatch):
    monkeypatch.setattr(kinelint.registry, "load", lambda: registered(Rise))


@pytest.fixture
def tree(tmp_path, monkeypatch):
    """Clips whose pelvis rises by known amounts, in a repository of its own."""
    game = tmp_path / "game"
    (game / "clips").mkdir(parents=True)
    monkeypatch.chdir(game)
    subprocess.run(["git", "init", "-q"], check=True)
    clips = {f"clips__haul_{n:02}": _clip(rise) for n, rise in enumerate(RISES_MM)}
    return write(game, **clips)


def _clip(rise_mm, fall_mm=0.0):
    heights = [STANDS_M] * FRAMES
    heights[40] = STANDS_M + rise_mm / 1000.0
    heights[60] = STANDS_M - fall_mm / 1000.0
    return bvh(heights)


def calibrate(*arguments):
    return main(["calibrate", "clips", "--workers", "0", *map(str, arguments)])


def _policy(tree, text):
    (tree / "kinelint.toml").write_bytes(f'root = "clips"\n{text}'.encode())


def _row(out, label):
    return next(line for line in out.splitlines() if line.strip().startswith(label))


def test_the_distribution_is_that_of_the_clips(tree, capsys):
    """Against the standard library's inclusive quantiles."""
    assert calibrate() == 0
    out = capsys.readouterr().out
    cuts = statistics.quantiles(RISES_MM.tolist(), n=100, method="inclusive")
    shown = [float(cell) for cell in _row(out, "pelvis").split()[1:6]]
    wanted = [24, cuts[49], cuts[89], cuts[98], RISES_MM.max()]
    np.testing.assert_allclose(shown, wanted, atol=0.06)
    assert "today: note_mm 20, warning_mm 30, error_mm 60" in out
    assert max(map(len, out.splitlines())) <= 80


@pytest.mark.parametrize("percentile", [90.0, 100.0])
def test_figures_and_limits_follow_numpy(tree, capsys, percentile):
    assert calibrate("--percentile", percentile, "--margin", 50) == 0
    out = capsys.readouterr().out
    new = tomllib.loads(out.partition("kinelint.toml, new:\n")[2])["rules"]["rise"]
    exact = np.quantile(RISES_MM, percentile / 100.0) * 1.5
    assert exact - 0.1 <= new["error_mm"] <= exact * 1.1
    assert new["note_mm"] < new["warning_mm"] < new["error_mm"]
    np.testing.assert_allclose(new["note_mm"] / new["error_mm"], 20.0 / 60.0, rtol=0.1)
    assert figures(RISES_MM.tolist()) == pytest.approx(
        np.quantile(RISES_MM, [0.5, 0.9, 0.99, 1.0]).tolist()
    )


def test_limits_at_the_most_let_the_good_clips_pass(tree, capsys):
    """What the gate fails on today passes with what is proposed, and nothing looser is needed."""
    _policy(tree, "[rules.rise]\nnote_mm = 1\nwarning_mm = 2\nerror_mm = 5\n")
    assert main(["gate", "clips", "--workers", "0"]) == 1
    assert calibrate("--percentile", 100, "--diff", "loose.diff") == 0
    out = capsys.readouterr().out
    assert "LOOSENED: 3 limits, which lets through what is found today" in out
    assert "rise, error_mm: from 5 to" in out
    assert "Tightened" not in out
    subprocess.run(["git", "apply", "loose.diff"], check=True)
    assert main(["gate", "clips", "--workers", "0"]) == 0


def test_tightened_limits_are_listed_too(tree, capsys):
    _policy(tree, "[rules.rise]\nnote_mm = 300\nwarning_mm = 500\nerror_mm = 900 # ours\n")
    assert calibrate() == 0
    out = capsys.readouterr().out
    assert "Tightened: 3 limits" in out
    assert "LOOSENED" not in out
    assert "+error_mm = " in out
    assert " # ours" in out


def test_limits_that_fit_stay(tree, capsys):
    exact = np.quantile(RISES_MM, 0.99) * 1.1
    _policy(tree, f"[rules.rise]\nerror_mm = {rounded_up(exact)}\n")
    assert calibrate() == 0
    out = capsys.readouterr().out
    assert "No limit would change." in out
    assert "rise, error_mm: as it should be already" in out
    assert "+++" not in out


def test_one_quantity_does_not_hide_another(tree, capsys):
    """The made rule tells no fall where it tells a rise: each is looked for by itself."""
    write(tree, **{f"clips__fall_{n:02}": _clip(8.0, 50.0 + n) for n in range(24)})
    assert calibrate() == 0
    out = capsys.readouterr().out
    assert "today: fall_mm 40" in out
    assert "rise, fall_mm: from 40 to" in out
    assert "percentile 99 of 48 clips: 72.5 mm" in out  # 99 % of 24 zeros and 50 to 73
    assert np.quantile([0.0] * 24 + [50.0 + n for n in range(24)], 0.99) == pytest.approx(72.53)


def test_too_few_clips_are_refused(tree, capsys):
    for path in sorted((tree / "clips").iterdir())[:5]:
        path.unlink()
    assert calibrate() == 2
    said = capsys.readouterr().err
    assert "19 clips with 62.7 s were judged, 20 clips and 60 s are needed" in said
    assert calibrate("--min-clips", 19) == 0


def test_too_little_motion_is_refused(tree, capsys):
    assert calibrate("--min-seconds", 100) == 2
    assert "24 clips with 79.2 s were judged" in capsys.readouterr().err


def test_clips_that_cannot_be_judged_are_left_out_and_named(tree, capsys):
    (tree / "clips" / "torn.bvh").write_text("HIERARCHY\nROOT", encoding="utf-8")
    assert calibrate() == 0
    out = capsys.readouterr().out
    assert "Left out, since no rule could judge them: 1" in out
    assert "torn.bvh: " in out
    assert "24 clips with" in out


def test_clips_with_limits_of_their_own_do_not_count(tree, capsys):
    write(tree, **{f"clips__raw_{n:02}": _clip(500.0) for n in range(8)})
    _policy(tree, '[[scope]]\nclips = ["raw_*"]\nrequired = ["rise"]\nrules.rise.error_mm = 900\n')
    assert calibrate() == 0
    out = capsys.readouterr().out
    assert _row(out, "worst of each clip").split()[4] == "24"
    assert "500" not in _row(out, "worst of each clip")
    assert "+[rules.rise]\n" in out


def test_a_rule_that_is_off_is_left_alone(tree, capsys):
    _policy(tree, '[rules.rise]\nlevel = "off"\n')
    assert calibrate() == 2
    assert "0 clips" in capsys.readouterr().err


def test_no_policy_can_be_asked_for(tree, capsys):
    _policy(tree, "[rules.rise]\nerror_mm = 5\n")
    assert calibrate("--policy", "/dev/null", "--min-seconds", 1) == 0
    out = capsys.readouterr().out
    assert "error_mm 60" in out
    assert "kinelint.toml, new:" in out


def test_nothing_is_written(tree, capsys):
    _policy(tree, "[rules.rise]\nerror_mm = 5\n")
    before = _state(tree)
    assert calibrate() == 0
    assert calibrate("--diff", "clips/a.diff") == 2
    assert "it lies in the tree of assets" in capsys.readouterr().err
    assert calibrate("--diff", "kinelint.toml") == 2
    assert calibrate("--plot", "clips/a.png") == 2
    assert _state(tree) == before


def _state(tree):
    return {
        path: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in tree.rglob("*")
        if path.is_file() and ".git" not in path.parts
    }


def test_without_matplotlib_it_says_how_to_get_it(tree, capsys, monkeypatch):
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    assert calibrate("--plot", "sizes.png") == 2
    said = capsys.readouterr()
    assert 'python -m pip install "kinelint[plot]"' in said.err
    assert not said.out
    assert calibrate() == 0


def test_the_picture_is_one(tree, capsys):
    pytest.importorskip("matplotlib")
    assert calibrate("--plot", "sizes.png") == 0
    written = (tree / "sizes.png").read_bytes()
    assert written.startswith(b"\x89PNG\r\n\x1a\n")  # PNG specification, section 5.2
    assert int.from_bytes(written[16:20], "big") > 600
    assert calibrate("--plot", "sizes.bmp") == 2
    assert "Name a .png" in capsys.readouterr().err


CHANGES = [
    Change("rise", "note_mm", "mm", 20.0, 13.0),
    Change("rise", "error_mm", "mm", 60.0, 40.0),
]
LAYOUTS = {
    "no rules": "fail_on = 'error'\n",
    "empty": "",
    "table": "[rules.rise] # the rise\nlevel = 'note'\n\n[figure]\nsex = 'male'\n",
    "set already": "[rules.rise]\nnote_mm=5 # seen\nerror_mm = 9.5\n",
    "shown default": "[rules.rise]\n# A test.\n# note_mm = 20.0\n# More.\n# error_mm = 60.0\n",
    "inline": "[rules]\nrise = { level = 'note', error_mm = 9 } # so\n",
    "inline, empty": "[rules]\nrise = {}\n",
    "inline, in one line": "rules = { rise = { note_mm = 1, error_mm = 2 } }\n",
    "dotted": "[rules]\nrise.level = 'note'\n# end\n",
    "dotted from the top": "rules.rise.error_mm = 9\n",
    "quoted": "[rules.'rise']\n'error_mm' = 9\n",
    "windows": "# ours\r\n[rules.rise]\r\nnote_mm = 5\r\n\r\n[figure]\r\nsex = 'male'\r\n",
    "no last newline": "[rules.rise]\nnote_mm = 5",
    "windows, no rules": "fail_on = 'error'\r\n",
    "scopes": "[rules.rise]\nerror_mm = 9\n[[scope]]\nclips = ['a']\nrules.rise.error_mm = 7\n",
    "a mark first": "\ufeff[rules.rise]\nerror_mm = 9\n",
}


@pytest.mark.parametrize("name", LAYOUTS)
@pytest.mark.parametrize("tool", ["git", "patch"])
def test_outside_tools_apply_the_diff(tmp_path, monkeypatch, name, tool):
    """`git apply` and `patch` make of the file what we say; its comments stay."""
    text = LAYOUTS[name]
    new = edited(text, CHANGES, "kinelint.toml")
    folder = tmp_path / "the game"
    folder.mkdir()
    policy = folder / "kinelint.toml"
    policy.write_bytes(text.encode())
    diff = unified(text, new, "the game/kinelint.toml").encode()
    apply = ["git", "apply"] if tool == "git" else ["patch", "-p1", "--binary", "-s"]
    monkeypatch.chdir(tmp_path)
    subprocess.run(apply, input=diff, check=True)
    assert policy.read_bytes() == new.encode()
    assert [line for line in text.splitlines() if line.startswith("#")] == [
        line for line in new.splitlines() if line.startswith("#")
    ]
    said = tomllib.loads(new.removeprefix("\ufeff"))
    before = tomllib.loads(text.removeprefix("\ufeff"))
    assert said["rules"]["rise"] == {
        **before.get("rules", {}).get("rise", {}),
        "note_mm": 13.0,
        "error_mm": 40.0,
    }
    assert {key: one for key, one in said.items() if key != "rules"} == {
        key: one for key, one in before.items() if key != "rules"
    }
    if "\r" in text:
        assert new.count("\r\n") == new.count("\n")


@pytest.mark.parametrize("tool", ["git", "patch"])
def test_a_new_policy_comes_as_a_new_file(tmp_path, monkeypatch, tool):
    new = new_text(CHANGES)
    diff = unified(None, new, "kinelint.toml").encode()
    apply = ["git", "apply"] if tool == "git" else ["patch", "-p1", "-s"]
    monkeypatch.chdir(tmp_path)
    subprocess.run(apply, input=diff, check=True)
    assert (tmp_path / "kinelint.toml").read_text(encoding="utf-8") == new
    assert tomllib.loads(new)["rules"]["rise"] == {"note_mm": 13.0, "error_mm": 40.0}


def test_a_layout_that_cannot_be_edited_is_refused():
    odd = "rules = { other = { level = 'note' } }\n"
    with pytest.raises(PolicyError, match="cannot be edited"):
        edited(odd, CHANGES, "kinelint.toml")


@pytest.mark.parametrize("value", [47.31, 0.312, 5.0, 99.01, 0.0451, 1234.5, 11.0, 29.0, 0.29])
def test_limits_are_rounded_up_to_two_digits(value):
    """Against decimal arithmetic."""
    up = decimal.Context(prec=2, rounding=decimal.ROUND_CEILING)
    assert rounded_up(value) == float(up.create_decimal(str(value)))
    assert rounded_up(0.0) == 0.0


def test_the_histogram_counts_as_numpy_does():
    sizes = [0.0, 0.1, 0.2, 9.9]
    assert histogram(sizes, 10.0, 5) == "█   ▃"
    assert [mark != " " for mark in histogram(RISES_MM.tolist(), 80.0, 16)] == [
        count > 0 for count in np.histogram(RISES_MM, 16, (0.0, 80.0))[0]
    ]


def _found(measured, limit, unit="mm", setting="error_mm"):
    return Located("rise", Level.NOTE, "…", ("pelvis",), 0, 0, 0, 0.0, 0.0, 0.0,
                   measured=measured, limit=limit, unit=unit, setting=setting)  # fmt: skip


@pytest.mark.parametrize(
    ("measured", "limit", "size"),
    [
        (12.0, 0.4, 12.0),  # the setting is the limit
        (-12.0, -0.4, 12.0),  # a shortening is as large as a lengthening
        (12.0, 0.8, 6.0),  # of a part whose limits are doubled: 6 would let it through
        (12.0, 5.0, 12.0),  # quick motion asked for more than the setting did
    ],
)
def test_a_size_is_what_the_setting_would_have_to_be(measured, limit, size):
    assert size_of(_found(measured, limit), 0.4, (2.0, 3.0)) == pytest.approx(size)


def test_the_size_of_a_margin_is_what_lies_beyond_the_range():
    found = _found(16.0, 5.1, unit="deg", setting="margin_deg")
    assert size_of(found, 0.1) == pytest.approx(11.0)  # 16 where the range ends at 5


def test_sizes_in_another_unit_say_nothing_of_a_setting():
    assert size_of(_found(12.0, 0.4, unit="percent"), 0.4) is None
    assert size_of(_found(None, 0.4), 0.4) is None
