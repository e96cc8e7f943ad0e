"""Seeded clips written as files and put through the whole gate, from reading to the report."""

import json
import zlib
from dataclasses import dataclass

import numpy as np
import pytest

from accuracy.bvh_out import write_bvh
from accuracy.clips import Subject, subjects
from accuracy.gate_accuracy import limits, makers
from accuracy.rig import Rig
from accuracy.seed import Seed
from kinelint.cli import main
from kinelint.finding import Level
from kinelint.readers import read
from kinelint.synthetic_walk import walk
from real_data import folder

KINDS = ("arm", "slid", "sunk", "shin", "forearm", "knee", "knee-stays", "loop-deg", "loop-mm")
CAPTURES = ("accad_male2_b3_walk", "cmu_12_01_walk_tpose0", "fair1_zombie_zup")


@dataclass
class Said:
    """A finding as the report has it."""

    rule: str
    level: str
    first: int
    last: int
    parts: tuple[str, ...]


def seeds(subject: Subject):
    for kind in KINDS:
        limit = limits()[kind][Level.ERROR]
        chance = np.random.default_rng(zlib.crc32(f"{subject.file} {kind}".encode()))
        seed = makers()[kind](subject, "left", 1.25 * limit, limit, chance)
        if seed is not None:
            yield kind, seed


def gate(tree, tmp_path):
    """Asset path to its findings, out of the report of `kinelint gate`."""
    (tree / "kinelint.toml").write_text('cues = "cues.toml"\n', encoding="utf-8")
    cue = '[[cue]]\nclips = ["loop-*/*"]\nloop = true\n'
    (tree / "cues.toml").write_text(cue, encoding="utf-8")
    out = tmp_path / "report.json"
    assert main(["gate", str(tree), "--json", str(out), "--workers", "0"]) == 1
    assets = json.loads(out.read_text(encoding="utf-8"))["report"]["assets"]
    return {
        asset["path"]: [
            Said(result["rule_id"], f["level"], f["first"], f["last"], tuple(f["parts"]))
            for clip in asset["clips"]
            for result in clip["results"]
            for f in result["findings"]
        ]
        for asset in assets
    }


def found(seed: Seed, every, rate: float) -> bool:
    """Whether error findings on the seeded part cover half of the seeded frames."""
    first, last = round(seed.first_s * rate), round(seed.last_s * rate)
    wanted = [set(pair) for pair in seed.pairs] or None
    covered = set()
    for one in every:
        right = set(one.parts) in wanted if wanted else bool(set(one.parts) & set(seed.parts))
        if one.rule == seed.rule and one.level == "error" and right:
            covered |= set(range(max(first, one.first), min(last, one.last) + 1))
    return len(covered) >= 0.5 * (last - first + 1)


def missed(made, tmp_path):
    tree, truth = tmp_path / "tree", {}
    for subject in made:
        for kind, seed in seeds(subject):
            path = f"{kind}/{subject.file}.bvh"
            write_bvh(tree / path, seed.clip)
            truth[path] = seed, subject.motion.sample_rate_hz
    said = gate(tree, tmp_path)
    assert set(truth) <= set(said)
    wrong = [path for path, (seed, rate) in truth.items() if not found(seed, said[path], rate)]
    return wrong, len(truth)


def test_a_clip_comes_back_from_its_file(tmp_path):
    motion = walk(seconds=1.0).motion()
    write_bvh(tmp_path / "walk.bvh", motion.clip)
    (back,) = read(tmp_path / "walk.bvh").clips
    rig, again = Rig.of(motion.clip, motion.figure), Rig.of(back, motion.figure)
    for joint, name in enumerate(motion.clip.skeleton.names):
        if not motion.clip.skeleton.tips[joint]:
            there = again.places[back.skeleton.names.index(name)]
            assert np.abs(there - rig.places[joint]).max() < 1e-6, name


def test_every_defect_of_a_made_walk_is_found_in_its_file(tmp_path):
    motion = walk(seconds=4.0).motion()
    wrong, count = missed([Subject("made walk", "made", motion, (motion.clip,))], tmp_path)
    assert count == len(KINDS)
    assert not wrong


@pytest.mark.slow
def test_every_defect_of_a_capture_is_found_in_its_file(tmp_path):
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    made = [one for one in subjects(folder(), (".bvh",)) if one.file in CAPTURES]
    wrong, count = missed(made, tmp_path)
    assert count >= 20
    assert len(wrong) <= 0.05 * count, wrong
