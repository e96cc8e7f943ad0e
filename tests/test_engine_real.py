"""Real clips through the whole gate, where the data are present."""

from __future__ import annotations

import dataclasses

import pytest

from kinelint import registry
from kinelint.engine import run
from kinelint.pair_rule import PairRule
from kinelint.policy import load_policy
from kinelint.report import Outcome
from real_data import folder, real


def judged(paths, workers):
    report = run(paths, load_policy(None, registry.load()), workers=workers)
    return dataclasses.replace(report, seconds=0.0)


@pytest.mark.parametrize("media", ["bvh", "gltf"])
def test_every_real_file_is_read_and_judged_by_every_rule(media):
    if not (folder() / media).is_dir():
        pytest.skip("the real motion files are not here (KINELINT_TEST_DATA)")
    report = judged([folder() / media], workers=2)
    assert not report.all_troubles()
    clips = [clip for asset in report.assets for clip in asset.clips]
    assert len(clips) >= len(report.assets) > 5
    on_clips = sorted(
        name for name, one in registry.load().items() if not issubclass(one.rule, PairRule)
    )
    assert all(
        [one.rule_id for one in clip.results] == on_clips
        and all(one.outcome is not Outcome.CRASHED for one in clip.results)
        for clip in clips
    )


def test_two_workers_say_what_one_process_says():
    paths = [real("bvh/cmu_02_01_walk.bvh"), real("bvh/accad_male2_c3_run.bvh")]
    assert judged(paths, workers=2) == judged(paths, workers=0)
