"""The gate on the example, held to the truth table of the script that planted the defects.

The script knows nothing of kinelint: sizes come from its own geometry.
"""

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest

from kinelint.cli import main
from kinelint.outputs import json_report
from kinelint.readers import read

EXAMPLE = Path(__file__).resolve().parent.parent / "example_project"
TRUTH = tomllib.loads((EXAMPLE / "truth.toml").read_text(encoding="utf-8"))["defect"]
NAMES = [f"{one['clip'].partition('#')[2] or one['clip']}-{one['rule']}" for one in TRUTH]


@pytest.fixture(scope="module")
def gate(tmp_path_factory):
    out = tmp_path_factory.mktemp("gate") / "report.json"
    status = main(["gate", str(EXAMPLE), "--json", str(out), "--quiet"])
    return status, json_report.load(out.read_bytes())


def _findings(report):
    for asset in report.assets:
        for result in asset.results:
            for finding in result.findings:
                yield asset.path, finding
        for clip in asset.clips:
            for result in clip.results:
                for finding in result.findings:
                    yield f"{asset.path}#{clip.name}", finding


def _fits(truth, clip, finding):
    """Same rule and parts, and most of the shorter of the two spans is shared."""
    same = (clip, finding.rule_id, finding.parts) == (
        truth["clip"],
        truth["rule"],
        tuple(truth["parts"]),
    )
    shared = min(finding.last, truth["last"]) - max(finding.first, truth["first"]) + 1
    shorter = min(finding.last - finding.first, truth["last"] - truth["first"]) + 1
    return same and shared > 0.5 * shorter


def test_the_build_fails_and_the_run_is_complete(gate):
    status, report = gate
    assert status == 1
    assert report.all_troubles() == ()
    assert sum(len(asset.clips) for asset in report.assets) >= 14
    assert {asset.media for asset in report.assets if asset.clips} == {"bvh", "glb"}


@pytest.mark.parametrize("truth", TRUTH, ids=NAMES)
def test_every_planted_defect_is_found_at_its_place_with_its_size(gate, truth):
    found = [one for clip, one in _findings(gate[1]) if _fits(truth, clip, one)]
    assert found, f"{truth['clip']}: {truth['rule']} was not found"
    least = {"mm": 2.0, "deg": 1.0}.get(truth["unit"], 0.0)
    allowed = max(0.10 * abs(truth["measured"]), least)
    worst = max(found, key=lambda one: abs(one.measured or 0.0))
    assert worst.unit == truth["unit"]
    assert (worst.measured or 0.0) == pytest.approx(truth["measured"], abs=allowed)
    assert worst.remedy


def test_nothing_else_stands_at_error_level(gate):
    others = [
        f"{clip} {one.rule_id} {one.parts} f{one.first}-{one.last}: {one.message}"
        for clip, one in _findings(gate[1])
        if one.level == "error" and not any(_fits(truth, clip, one) for truth in TRUTH)
    ]
    assert others == []


def test_every_rule_has_a_planted_defect(gate):
    assert {one["rule"] for one in TRUTH} == {info.id for info in gate[1].rules}


def test_the_script_makes_these_clips(tmp_path):
    subprocess.run([sys.executable, str(EXAMPLE / "make_clips.py"), str(tmp_path)], check=True)
    made = sorted(p.relative_to(tmp_path) for p in tmp_path.rglob("*.*") if p.is_file())
    kept = [
        *EXAMPLE.glob("clips/**/*.*"),
        *EXAMPLE.glob("work/**/*.*"),
        EXAMPLE / "crew_body.glb",
        EXAMPLE / "truth.toml",
    ]
    assert made == sorted(p.relative_to(EXAMPLE) for p in kept if p.is_file())
    assert (tmp_path / "truth.toml").read_text() == (EXAMPLE / "truth.toml").read_text()
    for name in made:
        if name.suffix in (".bvh", ".glb"):
            # Compared as motion: the last bit of a float may differ from machine to machine.
            for new, old in zip(
                read(tmp_path / name).clips, read(EXAMPLE / name).clips, strict=True
            ):
                np.testing.assert_allclose(new.rotations, old.rotations, atol=1e-4)
                np.testing.assert_allclose(new.translations, old.translations, atol=1e-2)


@pytest.mark.parametrize("body", ["with the body file", "without"])
def test_a_clip_of_lines_of_text_that_floats_is_an_error(tmp_path, body):
    """The deck declared 70 mm lower than the crew stands: no format's own floor helps here."""
    shutil.copytree(EXAMPLE / "clips" / "deck", tmp_path / "clips" / "deck")
    shutil.copy(EXAMPLE / "crew_body.glb", tmp_path)
    text = (EXAMPLE / "kinelint.toml").read_text(encoding="utf-8")
    text = text.replace("ground_m = 0.0 ", "ground_m = -0.07 ").replace('cues = "cues.toml"', "")
    text = text.partition("[[scope]]")[0]
    if body == "without":
        text = text.replace('body = "crew_body.glb"', "")
    (tmp_path / "kinelint.toml").write_text(text, encoding="utf-8")
    out = tmp_path / "report.json"
    assert main(["gate", str(tmp_path), "--json", str(out), "--quiet"]) == 1
    said = {
        clip: (one.level, one.measured)
        for clip, one in _findings(json_report.load(out.read_bytes()))
        if one.rule_id == "ground-contact" and "whole clip" in one.message
    }
    for clip in ("walk", "idle", "turn_left"):
        level, measured = said[f"clips/deck/{clip}.bvh#{clip}"]
        assert level == "error"
        assert measured == pytest.approx(70.0, abs=1.0 if body == "with the body file" else 3.0)
