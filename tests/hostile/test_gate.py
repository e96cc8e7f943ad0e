"""The gate over a tree with hostile files: each is named once, the others are judged."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import bvh_text
import ferry_tree
from hostile.bounds import in_time
from hostile.gate_oracle import SCHEMA, judge_and_check
from hostile.seeds import gltf_seeds
from kinelint.cli import main
from kinelint.outputs.cells import cell_width
from kinelint.report import Report
from outputs.sarif_rules import breaches
from readers.gltf_maker import GltfMaker

QUIET = settings(
    deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True
)
ESCAPE = "\x1b[31m\x1b]0;owned\x07\u202e\r\n\x00\x9b2J[bold]\u200b&<b>"
BROKEN = {
    "cut.bvh": bvh_text.PLAIN[:200].encode(),
    "junk.glb": b"glTF" + bytes(100),
    "words.bvh": b"HIERARCHY\nROOT " + b"x" * 2000 + b"\n{",
    "deep.gltf": b'{"asset":' + b"[" * 5000,
    "none.gltf": b"{}",
    "empty.bvh": b"",
    "nan.bvh": bvh_text.PLAIN.replace("20 30 4", "nan 30 4").encode(),
    "large.bvh": bvh_text.PLAIN.replace("20 30 4", "1e300 30 4").encode(),
    "utf16.bvh": bvh_text.PLAIN.encode("utf-16"),
}


def gate(folder: Path, capsys: pytest.CaptureFixture[str], *more: str) -> tuple[int, str, str]:
    with in_time(120.0):
        status = main(["gate", str(folder), "--colour", "never", *more])
    out, err = capsys.readouterr()
    assert "Traceback" not in out + err
    for line in (out + err).split("\n"):
        assert not re.search(r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", line), line
    assert all(cell_width(line) <= 80 for line in out.split("\n"))
    return status, out, err


def test_every_broken_file_is_one_trouble_and_the_sound_ones_are_judged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    tree, log = tmp_path / "tree", tmp_path / "log.sarif"
    tree.mkdir()
    monkeypatch.chdir(tmp_path)
    for name, data in BROKEN.items():
        (tree / name).write_bytes(data)
    (tree / "turn.glb").write_bytes(gltf_seeds()["turn.glb"])
    ferry_tree.write(tree, good=ferry_tree.bvh(), crew__good=ferry_tree.bvh())
    status, out, err = gate(tree, capsys, "--sarif", str(log), "--workers", "2")
    assert status == 2
    assert not err
    run = json.loads(log.read_bytes())["runs"][0]
    assert not breaches(json.loads(log.read_bytes()), SCHEMA)
    told = [
        one["locations"][0]["physicalLocation"]["artifactLocation"]["uri"].rpartition("/")[2]
        for one in run["invocations"][0]["toolExecutionNotifications"]
        if one.get("level") == "error"
    ]
    assert sorted(told) == sorted(BROKEN)
    for name in BROKEN:
        assert out.count(f"{name}") == 1, name
    assert "3 clips" in out


def test_names_reach_no_terminal_as_commands(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    name = ESCAPE.replace("\n", "").replace("\r", "").replace("\0", "")
    text = ferry_tree.bvh(pelvis_m=[0.98] * 10 + [0.7] * 20)
    text = text.replace("left_thigh", f"left_thigh{name}").replace("head", f"head{name}")
    (tmp_path / "joints.bvh").write_text(text, encoding="utf-8")
    maker = GltfMaker()
    maker.chain(ESCAPE, "spine", ESCAPE * 3)
    maker.animation(ESCAPE, (1, "rotation", [0.0, 0.03, 0.07], [[0, 0, 0, 1]] * 3))
    maker.animation(ESCAPE, (2, "scale", [0.0, 0.1], [[1, 1, 1], [2, 1, 1]]))
    maker.glb(tmp_path / "clips.glb")
    for number, odd in enumerate(("\x1b[31m.bvh", "\u202e.bvh", "a\tb.bvh", "[red]x[.bvh")):
        try:
            (tmp_path / f"{number}{odd}").write_text(bvh_text.PLAIN.replace("ROOT hips", "ROOT"))
        except OSError:
            continue  # no such names on this system
    (tmp_path / "broken.bvh").write_text(bvh_text.PLAIN.replace("JOINT chest", f"J{name} chest"))
    status, out, _ = gate(tmp_path, capsys, "--sarif", str(tmp_path / "log.sarif"))
    assert status == 2
    assert "owned" in out
    assert not breaches(json.loads((tmp_path / "log.sarif").read_bytes()), SCHEMA)


@pytest.mark.parametrize(
    "text", ["fail_on = '\\u001b[31m'", f"'{'x' * 9000}' = 1", "a = " + "[" * 9000, "\x00"]
)
def test_a_hostile_policy_ends_the_gate_in_plain_lines(
    text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    ferry_tree.write(tmp_path, good=ferry_tree.bvh())
    (tmp_path / "kinelint.toml").write_text(text)
    status, out, err = gate(tmp_path, capsys)
    assert status == 2
    assert not out
    assert err.startswith("kinelint: ")
    assert len(err) < 1000


VALUES = st.sampled_from([0.0, 1e-30, 0.98, -0.98, 5.0, 90.0, 180.0, 1e4, -1e6, 1e12, 7e11])


@given(st.data())
@settings(QUIET, max_examples=60)
def test_a_person_moved_out_of_all_measure_is_judged(tmp_path: Path, data: st.DataObject) -> None:
    """Every rule runs here: the figure is a body, what it does is none of a body's doing."""
    head, rows = ferry_tree.bvh(frames=6).split("Frame Time: ")
    time, *lines = rows.strip().split("\n")
    frames = [line.split() for line in lines]
    for _ in range(data.draw(st.integers(1, 30))):
        frame = data.draw(st.sampled_from(frames))
        frame[data.draw(st.integers(0, len(frame) - 1))] = str(data.draw(VALUES))
    if data.draw(st.booleans()):
        head = head.replace("0.000000 0.", f"{data.draw(VALUES)} 0.", data.draw(st.integers(1, 9)))
    path = tmp_path / "person.bvh"
    text = "\n".join(" ".join(frame) for frame in frames)
    path.write_text(f"{head}Frame Time: {time}\n{text}\n")
    with in_time(60.0):
        assert isinstance(judge_and_check(path), Report)


@pytest.mark.parametrize("name", [*BROKEN, "pipe.glb", "gone.glb"])
def test_a_hostile_body_file_leaves_the_run_incomplete(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    ferry_tree.write(tmp_path, clips__good=ferry_tree.bvh())
    if name in BROKEN:
        (tmp_path / name).write_bytes(BROKEN[name])
    elif name == "pipe.glb" and hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / name)
    policy = f'assets = ["clips/**"]\n[[skeleton]]\nassets = ["clips/**"]\nbody = "{name}"\n'
    (tmp_path / "kinelint.toml").write_text(policy)
    status, out, err = gate(tmp_path, capsys)
    assert status == 2
    assert name in out + err
