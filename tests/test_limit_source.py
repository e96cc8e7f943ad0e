"""Logs and reports of a real run say where each limit comes from, and how sure the finding is."""

from __future__ import annotations

import json

import pytest

import kinelint.registry
from calibrate_rules import STANDS_M, Rise
from ferry_tree import bvh, write
from kinelint.cli import main
from kinelint.outputs import json_report
from policy_rules import registered


@pytest.fixture
def tree(tmp_path, monkeypatch):
    monkeypatch.setattr(kinelint.registry, "load", lambda: registered(Rise))
    (tmp_path / "game").mkdir()
    monkeypatch.chdir(tmp_path / "game")
    rises = [STANDS_M] * 10 + [STANDS_M + 0.08] + [STANDS_M] * 10
    return write(tmp_path / "game", lowered__haul=bvh(rises), haul=bvh(rises))


def test_sarif_and_json_name_the_source_of_each_limit(tree, capsys):
    policy = '[[scope]]\nclips = ["lowered/**"]\nrules.rise.error_mm = 70\n'
    (tree / "kinelint.toml").write_text(policy, encoding="utf-8")
    asked = ["gate", ".", "--sarif", "../out.sarif", "--json", "../out.json", "--workers", "0"]
    assert main(asked) == 1
    log = json.loads((tree.parent / "out.sarif").read_text(encoding="utf-8"))
    bags = [one["properties"]["animation"] for one in log["runs"][0]["results"]]
    said = {(bag["setting"], bag["limit"]["value"], bag["limitSource"]) for bag in bags}
    assert said == {
        ("error_mm", 60.0, "made up"),
        ("error_mm", 70.0, "the policy: error_mm = 70.0"),
    }
    assert {bag["confidence"] for bag in bags} == {1.0}
    report = json_report.load((tree.parent / "out.json").read_bytes())
    found = [
        one
        for asset in report.assets
        for clip in asset.clips
        for result in clip.results
        for one in result.findings
    ]
    assert {one.limit_source for one in found} == {source for *_, source in said}
    assert "made up" not in capsys.readouterr().out  # the console stays short
