"""Raw, edited and final clips have limits of their own."""

from __future__ import annotations

import pytest

from ferry_tree import bvh, write
from kinelint.engine import run
from kinelint.errors import PolicyError
from kinelint.policy import load_policy
from policy_rules import HeadHeight, registered

POLICY = """
[rules.head-height]
max_height_mm = 1700
[[scope]]
stage = "raw"
[scope.rules.head-height]
max_height_mm = 2500
[[scope]]
stage = ["edited", "final"]
clips = ["**"]
[scope.rules.head-height]
max_height_mm = 1650
"""
CUES = """
[[cue]]
clips = ["takes/**"]
stage = "raw"
[[cue]]
clips = ["done/**"]
stage = "final"
"""


def limits(tree):
    report = run([tree], load_policy(tree / "kinelint.toml", registered(HeadHeight)), workers=0)
    return {
        asset.path: [one.limit for result in clip.results for one in result.findings]
        for asset in report.assets
        for clip in asset.clips
    }


def test_the_cue_sheets_stage_chooses_the_scope(tmp_path):
    write(tmp_path, takes__a=bvh([1.5] * 20), done__a=bvh([1.5] * 20), else__a=bvh([1.5] * 20))
    (tmp_path / "kinelint.toml").write_text(POLICY, encoding="utf-8")
    (tmp_path / "cues.toml").write_text(CUES, encoding="utf-8")
    assert limits(tmp_path) == {"takes/a.bvh": [], "done/a.bvh": [1650.0], "else/a.bvh": [1700.0]}


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[scope]]\nstage = "row"\n', "stage"),
        ("[[scope]]\nground_m = 0\n", 'or stage = "raw"'),
    ],
)
def test_stages_that_there_are_not_are_errors(tmp_path, text, said):
    path = tmp_path / "kinelint.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PolicyError) as error:
        load_policy(path, registered(HeadHeight))
    assert said in str(error.value)
