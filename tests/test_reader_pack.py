"""A team's own reader comes in by its entry point, and its files are judged like all others."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from ferry_tree import bvh, write
from installed_pack import install
from kinelint.readers import read
from kinelint.readers.registry import GROUP

PACK = Path(__file__).resolve().parent.parent / "example_project" / "ferry_reader"


def decklog(bvh_path: Path) -> str:
    """A deck log of the same motion."""
    clip = read(bvh_path).clips[0]
    lines = ["DECKLOG 1", f"rate {clip.sample_rate_hz:g}"]
    names = [name.replace(" ", "_") for name in clip.skeleton.names]
    for joint, parent in enumerate(clip.skeleton.parents):
        offset = " ".join(f"{one:.9g}" for one in clip.skeleton.rest_translations[joint])
        lines.append(f"joint {names[joint]} {names[parent] if parent >= 0 else 'none'} {offset}")
    for frame in range(clip.frames):
        turned = Rotation.from_quat(np.roll(clip.rotations[:, :, frame], -1, axis=1))
        numbers = [*clip.translations[0, :, frame], *np.degrees(turned.as_rotvec()).ravel()]
        lines.append("pose " + " ".join(f"{one:.9g}" for one in numbers))
    return "\n".join(lines) + "\n"


@pytest.fixture
def installed(tmp_path):
    """An environment in which the pack is installed."""
    pack = install(tmp_path / "site", "ferry-reader", GROUP, decklog="ferry_reader:DeckLogReader")
    return {**os.environ, "PYTHONPATH": os.pathsep.join((str(pack), str(PACK)))}


def kinelint(env, *words):
    code = "import sys; from kinelint.cli import main; sys.exit(main())"
    return subprocess.run(
        [sys.executable, "-c", code, *map(str, words)],
        env=env,
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
    )


def test_the_gate_finds_in_a_log_what_it_finds_in_the_same_bvh(tmp_path, installed):
    tree = write(tmp_path / "tree", sunk=bvh([0.98] * 10 + [0.8] * 10), calm=bvh())
    for name in ("sunk", "calm"):
        (tree / f"{name}.decklog").write_text(decklog(tree / f"{name}.bvh"), encoding="utf-8")
    (tree / "spoilt.decklog").write_text("DECKLOG 1\nrate 30\nstarboard watch\n")
    out = tmp_path / "out.json"
    done = kinelint(installed, "gate", tree, "--json", out, "--workers", "2")
    assert done.returncode == 2, done.stdout + done.stderr
    assets = {one["path"]: one for one in json.loads(out.read_bytes())["report"]["assets"]}
    trouble = assets["spoilt.decklog"]["troubles"][0]
    assert (trouble["kind"], trouble["place"]) == ("unreadable-asset", "line 3")
    found = {path: list(_findings(one)) for path, one in assets.items()}
    assert found["sunk.bvh"]
    assert found["sunk.decklog"] == found["sunk.bvh"]
    assert found["calm.decklog"] == found["calm.bvh"]


def _findings(asset):
    for clip in asset["clips"]:
        for result in clip["results"]:
            for one in result["findings"]:
                yield result["rule_id"], one["level"], one["first"], one["last"], one["parts"]


def test_the_format_is_listed_with_what_it_carries(installed):
    assert ".decklog (pack ferry-reader)" in kinelint(installed, "formats").stdout
    page = kinelint(installed, "formats", "decklog").stdout
    assert "From the pack ferry-reader." in page
    assert "Lengths are metres and Y is up." in page


def test_the_packs_own_tests_pass():
    env = {**os.environ, "PYTHONPATH": str(PACK)}
    words = ["-m", "pytest", "-q", "-p", "no:cacheprovider", "--import-mode=importlib", "tests"]
    done = subprocess.run(
        [sys.executable, *words], cwd=PACK, env=env, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout
