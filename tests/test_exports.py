"""Working files and exports: pairs, the record, the rule in whole runs and in every output.

Digests are held against `sha256sum` of GNU coreutils where it is installed (FIPS 180-4).
"""

from __future__ import annotations

import json
import shutil
import subprocess
import tomllib

import pytest

from ferry_tree import bvh
from kinelint.cli import main
from kinelint.engine import run
from kinelint.errors import PolicyError
from kinelint.exports import Pattern, pairs
from kinelint.outputs import console, json_report
from kinelint.policy import load_policy
from kinelint.registry import load
from kinelint.report import Outcome, Verdict
from kinelint.testing import check_rule
from kinelint_rules.files.stale_export import StaleExport
from outputs.sarif_logs import SCHEMA, raw

POLICY = """\
assets = ["clips/**"]
metres_per_unit = 1.0
up_axis = "y"

[[export]]
source = "work/{name}.txt"
export = "clips/{name}.bvh"
"""


@pytest.fixture
def tree(tmp_path):
    folder = tmp_path / "ferry"
    for name in ("haul", "deck/idle"):
        for path, text in ((f"work/{name}.txt", name), (f"clips/{name}.bvh", bvh())):
            target = folder / path
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_text(text, encoding="utf-8")
    (folder / "kinelint.toml").write_text(POLICY, encoding="utf-8")
    return folder


def judged(tree, *paths, rules=None):
    rules = rules or {"stale-export": load()["stale-export"]}
    return run([tree / one for one in paths] or [tree], load_policy(tree / "kinelint.toml", rules),
               workers=0)  # fmt: skip


def told(report):
    return {
        asset.path: [(one.detail, str(one.level)) for one in asset.results[0].findings]
        for asset in report.assets
        if asset.results
    }


def valid_log(report):
    """The SARIF log, which keeps the standard's schema."""
    log = json.loads(raw(report)[0])
    assert SCHEMA.is_valid(log)
    return log


def record(tree, *more):
    assert main(["exports", str(tree), "--record", *more]) == 0


def test_it_keeps_its_promises():
    check_rule(StaleExport)


def test_from_nothing_recorded_to_stale_and_back(tree, capsys):
    assert told(judged(tree)) == {
        "work/haul.txt": [("unrecorded", "note")],
        "work/deck/idle.txt": [("unrecorded", "note")],
    }
    record(tree)
    report = judged(tree)
    assert told(report) == {"work/haul.txt": [], "work/deck/idle.txt": []}
    assert report.verdict is Verdict.PASS
    (tree / "work/haul.txt").write_text("hauled further", encoding="utf-8")
    report = judged(tree)
    assert told(report)["work/haul.txt"] == [("stale", "error")]
    assert report.verdict is Verdict.FAIL
    # To record it anew would hide it.
    record(tree)
    assert told(judged(tree))["work/haul.txt"] == [("stale", "error")]
    (tree / "clips/haul.bvh").write_text(bvh(frames=30), encoding="utf-8")
    assert told(judged(tree))["work/haul.txt"] == [("unrecorded", "note")]
    record(tree)
    assert told(judged(tree))["work/haul.txt"] == []
    assert "2 exports recorded" in capsys.readouterr().out


def test_an_export_that_came_out_the_same_can_be_recorded(tree):
    record(tree)
    (tree / "work/haul.txt").write_text("only a remark changed", encoding="utf-8")
    assert main(["exports", str(tree), "--record-stale"]) == 0
    assert told(judged(tree))["work/haul.txt"] == []


def test_missing_and_edited_exports(tree):
    record(tree)
    (tree / "clips/haul.bvh").unlink()
    (tree / "clips/deck/idle.bvh").write_text(bvh(frames=25), encoding="utf-8")
    assert told(judged(tree)) == {
        "work/haul.txt": [("missing", "error")],
        "work/deck/idle.txt": [("edited", "warning")],
    }


def test_a_copy_or_a_checkout_with_new_dates_changes_nothing(tree, tmp_path):
    record(tree)
    other = tmp_path / "elsewhere"
    shutil.copytree(tree, other)
    for path in other.rglob("*.*"):
        path.touch()
    assert told(judged(other)) == {"work/haul.txt": [], "work/deck/idle.txt": []}


def test_only_what_the_run_is_about_is_told(tree):
    assert set(told(judged(tree, "clips/deck"))) == {"work/deck/idle.txt"}
    assert set(told(judged(tree, "clips/haul.bvh"))) == {"work/haul.txt"}


def test_a_working_file_that_is_an_asset_too_keeps_its_clips(tree):
    text = POLICY.replace("work/{name}.txt", "clips/{name}.bvh").replace(
        'export = "clips/{name}.bvh"', 'export = "game/{name}.glb"'
    )
    (tree / "kinelint.toml").write_text(text, encoding="utf-8")
    report = judged(tree)
    assert told(report)["clips/haul.bvh"] == [("missing", "error")]
    assert all(asset.clips for asset in report.assets)


def test_levels_and_off_are_the_policys(tree):
    path = tree / "kinelint.toml"
    (tree / "clips/haul.bvh").unlink()
    path.write_text(POLICY + '[rules.stale-export]\nlevel = "warning"\n', encoding="utf-8")
    assert told(judged(tree))["work/haul.txt"] == [("missing", "warning")]
    scope = '[[scope]]\nclips = ["work/haul*"]\nrules.stale-export = { level = "off" }\n'
    path.write_text(POLICY + scope, encoding="utf-8")
    assert set(told(judged(tree))) == {"work/deck/idle.txt"}


def test_every_output_tells_it(tree):
    (tree / "clips/haul.bvh").unlink()
    report = judged(tree)
    text = console.render(report, width=100)
    assert "work/haul.txt" in text
    assert "stale-export: has no export: there is no clips/haul.bvh" in text
    assert "working file" in text
    assert json_report.load(json_report.dump(report)) == report
    log = valid_log(report)
    [found] = [
        one for one in log["runs"][0]["results"]
        if one["ruleId"] == "stale-export" and one["level"] == "error"
    ]  # fmt: skip
    [place] = found["locations"]
    uri = place["physicalLocation"]["artifactLocation"]["uri"]
    assert uri == "work/haul.txt"
    assert "logicalLocations" not in place
    assert "frame" not in found["message"]["text"]


def test_a_rule_that_crashes_costs_itself_only(tree, monkeypatch):
    def crash(pair, settings):
        raise RuntimeError("made so")

    monkeypatch.setattr(StaleExport, "check", staticmethod(crash))
    report = judged(tree)
    assert report.verdict is Verdict.INCOMPLETE
    results = [one for asset in report.assets for one in asset.results]
    assert {one.outcome for one in results} == {Outcome.CRASHED}
    assert {one.kind for one in report.all_troubles()} == {"crashed-rule"}
    assert "made so" in json.dumps(valid_log(report))


@pytest.mark.parametrize(
    ("source", "export", "fault"),
    [
        ("work/{name}.txt", "clips/all.glb", "only one"),
        ("a/{name}/{name}.txt", "clips/{name}.glb", "more than once"),
        ("../{name}.txt", "clips/{name}.glb", "no path"),
        ("a.glb", "a.glb", "one file"),
    ],
)
def test_wrong_patterns_are_refused_with_their_line(source, export, fault, tmp_path):
    path = tmp_path / "kinelint.toml"
    path.write_text(f'[[export]]\nsource = "{source}"\nexport = "{export}"\n', encoding="utf-8")
    with pytest.raises(PolicyError, match=fault) as raised:
        load_policy(path, load())
    assert "line 1" in str(raised.value)


def test_a_spoilt_record_is_refused_with_its_line(tree):
    record(tree)
    path = tree / "exports.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("_sha256", "_md5"), encoding="utf-8")
    with pytest.raises(PolicyError, match="line 3"):
        judged(tree)


def test_digests_are_those_of_another_program_and_the_record_is_sorted(tree):
    record(tree)
    said = tomllib.loads((tree / "exports.toml").read_text(encoding="utf-8"))
    assert list(said) == sorted(said) == ["clips/deck/idle.bvh", "clips/haul.bvh"]
    tool = shutil.which("sha256sum")
    if tool is None:
        pytest.skip("sha256sum is not installed")
    for export, row in said.items():
        for path, digest in ((export, "export_sha256"), (row["source"], "source_sha256")):
            out = subprocess.run([tool, tree / path], capture_output=True, text=True, check=True)
            assert out.stdout.split()[0] == row[digest]


def test_one_pair_without_a_name_and_names_across_folders(tree):
    patterns = [Pattern("work/haul.txt", "game/pull.glb"), Pattern("{name}.bvh", "{name}.glb")]
    found = [one.bond for one in pairs(patterns, tree, tree / "none.toml")]
    assert [(one.name, one.source, one.export) for one in found] == [
        ("clips/deck/idle", "clips/deck/idle.bvh", "clips/deck/idle.glb"),
        ("clips/haul", "clips/haul.bvh", "clips/haul.glb"),
        ("haul", "work/haul.txt", "game/pull.glb"),
    ]


def test_without_pairs_the_command_says_what_to_add(tree, capsys):
    (tree / "kinelint.toml").write_text("", encoding="utf-8")
    assert main(["exports", str(tree)]) == 2
    assert "[[export]]" in capsys.readouterr().err
