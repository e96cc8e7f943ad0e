"""The gate over a tree with files that crash, hang or fill the memory of who reads them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path
from uuid import uuid4

import pytest

from ferry_tree import bvh, write
from installed_pack import install
from kinelint.readers.registry import GROUP

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="there are no signals there")

DEEDS = {
    "abort": "the HULL library crashed on it (signal 6, SIGABRT)",
    "bomb": "reading it takes more than the 256 MB that a file of its size may take",
    "garbage": "what the HULL library made of it is no motion",
    "loop": "reading it took more than the 3 s allowed",
    "os-exit": "the HULL library ended its process on it (status 3)",
    "refuse": "the mast is missing",
    "segv": "the HULL library crashed on it (signal 11, SIGSEGV)",
}
if sys.platform != "linux":
    del DEEDS["bomb"]
# A name of its own, by which its processes are found.
MODULE = f"hulls_{uuid4().hex}"
POLICY = "[limits]\nread_seconds = 3\nread_megabytes = 256\n"


def gate(tree: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """`kinelint gate` in a process of its own, with the made format installed."""
    pack = tree.parent / "pack"
    install(pack, "night-ferry-hulls", GROUP, hull=f"{MODULE}:READER")
    (pack / f"{MODULE}.py").write_text(
        f"from hull_format import read_hull, reader\nREADER = reader('{MODULE}:read_hull')\n"
    )
    path = os.pathsep.join((str(pack), str(Path(__file__).parent)))
    code = "import sys; from kinelint.cli import main; sys.exit(main())"
    return subprocess.run(
        [sys.executable, "-c", code, "gate", str(tree), "--colour", "never", *words],
        env={**os.environ, "PYTHONPATH": path},
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        timeout=120,
    )


@pytest.fixture
def tree(tmp_path):
    folder = write(tmp_path / "tree", walk=bvh())
    (folder / "kinelint.toml").write_text(POLICY)
    for deed in DEEDS:
        (folder / f"{deed}.hull").write_text(f"HULL {deed}")
    (folder / "calm.hull").write_text("HULL still 4")
    return folder


@pytest.mark.parametrize("workers", ["0", "2"])
def test_each_bad_file_is_one_trouble_the_others_are_judged_and_nothing_stays(tree, workers):
    out = tree.parent / "report.json"
    sarif = tree.parent / "log.sarif"
    words = ("--workers", workers, "--json", str(out), "--sarif", str(sarif))
    done = gate(tree, *words)
    assert done.returncode == 2, done.stdout + done.stderr
    assert "Traceback" not in done.stdout + done.stderr
    report = json.loads(out.read_bytes())["report"]
    troubles = {one["path"]: one for asset in report["assets"] for one in asset["troubles"]}
    assert sorted(troubles) == [f"{deed}.hull" for deed in sorted(DEEDS)]
    for deed, text in DEEDS.items():
        one = troubles[f"{deed}.hull"]
        assert one["kind"] == "unreadable-asset"
        assert one["text"].startswith(text), one
        assert str(tree) not in one["details"]
    judged = {one["path"]: len(one["clips"]) for one in report["assets"] if one["clips"]}
    assert judged == {"calm.hull": 1, "walk.bvh": 1}
    _notifications(json.loads(sarif.read_bytes()))
    _wait_until_none_is_left(MODULE)


def _notifications(log: dict) -> None:
    """As SARIF 2.1.0 has it (3.20.21, 3.58): what went wrong with each file, at its place."""
    invocation = log["runs"][0]["invocations"][0]
    assert invocation["executionSuccessful"] is False
    told = {}
    for one in invocation["toolExecutionNotifications"]:
        if one["level"] == "error":
            place = one["locations"][0]["physicalLocation"]["artifactLocation"]["uri"]
            told[place] = one
    assert sorted(told) == [f"{deed}.hull" for deed in sorted(DEEDS)]
    for deed, text in DEEDS.items():
        assert text[1:] in told[f"{deed}.hull"]["message"]["text"]
    fault = told["segv.hull"]["exception"]["message"]
    assert fault == "Fatal Python error: Segmentation fault"


def _wait_until_none_is_left(module: str) -> None:
    until = time.monotonic() + 5
    while (left := _children_reading(module)) and time.monotonic() < until:
        time.sleep(0.1)
    assert left == []


def _children_reading(module: str) -> list[str]:
    listed = subprocess.run(["ps", "-eo", "args="], capture_output=True, text=True, check=False)
    return [one for one in listed.stdout.splitlines() if "native_child" in one and module in one]
