"""The command line: what it prints, writes and returns."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import time

import jsonschema_rs
import pytest

import kinelint.registry
from ferry_tree import bvh, write
from kinelint.cli import main
from kinelint.outputs import json_report
from kinelint.policy.schema import policy_schema, sheet_schema
from policy_rules import Crashing, Graded, HeadHeight, Inapplicable, registered

HIGH = [0.98] * 10 + [1.5, 1.6, 1.55] + [0.98] * 7
POLICY = '[rules.head-height]\nmax_height_mm = 1800\n[rules.graded]\nlevel = "off"\n'


@pytest.fixture(autouse=True)
def made_rules(monkeypatch):
    monkeypatch.setattr(
        kinelint.registry, "load", lambda: registered(HeadHeight, Graded, Inapplicable)
    )


@pytest.fixture
def tree(tmp_path, monkeypatch):
    (tmp_path / "game").mkdir()
    monkeypatch.chdir(tmp_path / "game")
    (tmp_path / "game" / "kinelint.toml").write_text(POLICY, encoding="utf-8")
    return write(tmp_path / "game", walk=bvh(), climb=bvh(HIGH))


def gate(*arguments):
    return main(["gate", *map(str, arguments)])


def test_exit_0_without_failing_findings(tree, capsys):
    assert gate("walk.bvh") == 0
    out, err = capsys.readouterr()
    assert "PASS" in out
    assert not err


def test_exit_1_with_findings(tree, capsys):
    assert gate() == 1
    out = capsys.readouterr().out
    assert "head is too high" in out
    assert "FAIL" in out
    assert max(map(len, out.splitlines())) <= 80


def test_exit_2_outranks_1(tree, capsys):
    write(tree, broken="HIERARCHY\n")
    assert gate() == 2
    assert "head is too high" in capsys.readouterr().out


def test_exit_2_with_a_crashed_rule(tree, monkeypatch):
    monkeypatch.setattr(kinelint.registry, "load", lambda: registered(Crashing))
    (tree / "kinelint.toml").unlink()
    assert gate("walk.bvh") == 2


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["none.bvh"], "none.bvh: there is no such file or folder"),
        (["--policy", "none.toml"], "none.toml: cannot be read"),
        (["--sarif", "walk.bvh"], "walk.bvh: will not be written"),
        (["--json", "kinelint.toml"], "kinelint.toml: will not be written"),
        (["--json", "no/where.json"], "its folder does not exist"),
        (["--json", "a.out", "--sarif", "a.out"], "both outputs"),
    ],
)
def test_exit_2_with_one_line_that_says_why(tree, capsys, arguments, words):
    before = (tree / "walk.bvh").read_bytes()
    assert gate(*arguments) == 2
    out, err = capsys.readouterr()
    assert words in err
    assert err.startswith("kinelint: ")
    assert err.count("\n") == 1
    assert not out
    assert (tree / "walk.bvh").read_bytes() == before


@pytest.mark.parametrize("number", ["-1", "two", "1.5", ""])
def test_workers_are_counted(tree, capsys, number):
    with pytest.raises(SystemExit) as end:
        gate("--workers", number)
    assert end.value.code == 2
    said = capsys.readouterr().err.splitlines()[-1]
    assert said.endswith(f"--workers: must be a whole number, 0 or more, not {number!r}")


def test_every_fault_of_a_policy_on_a_line_of_its_own(tree, capsys):
    (tree / "kinelint.toml").write_text("[rules.hed-height]\nx = 1\n[fugure]\nsex = 'male'\n")
    assert gate() == 2
    lines = capsys.readouterr().err.splitlines()
    assert [line.partition(": unknown")[0] for line in lines] == [
        "kinelint: kinelint.toml: line 1",
        "kinelint: kinelint.toml: line 3",
    ]
    assert "Did you mean 'head-height'?" in lines[0]
    assert "Did you mean 'figure'?" in lines[1]


def test_without_a_policy_it_runs_and_says_so(tree, capsys):
    (tree / "kinelint.toml").unlink()
    assert gate("walk.bvh") == 1
    assert "no kinelint.toml was found" in " ".join(capsys.readouterr().out.split())


def test_outputs_are_written_whole(tree, capsys):
    assert gate("--sarif", "run.sarif", "--json", "run.json") == 1
    log = json.loads((tree / "run.sarif").read_bytes())
    assert log["version"] == "2.1.0"
    report = json_report.load((tree / "run.json").read_bytes())
    assert [asset.path for asset in report.assets] == ["climb.bvh", "walk.bvh"]
    names = {path.name for path in tree.iterdir()}
    assert names == {"kinelint.toml", "walk.bvh", "climb.bvh", "run.sarif", "run.json"}


def test_a_log_for_a_host_counts_from_the_repository(tree):
    (tree.parent / ".git").mkdir()
    assert gate("--sarif", "run.sarif", "--sarif-profile", "upload") == 1
    [result] = json.loads((tree / "run.sarif").read_bytes())["runs"][0]["results"]
    place = result["locations"][0]["physicalLocation"]
    assert place["artifactLocation"]["uri"] == "game/climb.bvh"


def test_an_output_that_breaks_off_leaves_the_old_one(tree, monkeypatch, capsys):
    (tree / "run.json").write_text("old")

    def full(report):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(json_report, "dump", full)
    assert gate("--json", "run.json") == 2
    assert "No space left" in capsys.readouterr().err
    assert (tree / "run.json").read_text() == "old"
    assert {path.suffix for path in tree.iterdir()} == {".toml", ".bvh", ".json"}


def test_quiet_and_colour(tree, capsys):
    gate("--quiet", "--colour", "always")
    out = capsys.readouterr().out
    assert "\x1b[" in out
    gate("--colour", "never")
    assert "\x1b[" not in capsys.readouterr().out


def test_rules(capsys):
    assert main(["rules"]) == 0
    out = capsys.readouterr().out
    assert "head-height" in out
    assert "graded" in out
    assert main(["rules", "head-height"]) == 0
    assert "max_height_mm" in capsys.readouterr().out
    assert main(["rules", "head-hight"]) == 2
    assert "Did you mean 'head-height'?" in capsys.readouterr().err


def test_measure(tree, capsys):
    assert main(["measure", "walk.bvh"]) == 0
    out = capsys.readouterr().out
    for words in ("frames              20", "thigh to left shank", "Joint angles", "Contacts"):
        assert words in out
    # de Leva 1996: the thigh is 0.2425 of stature between joint centres.
    [thigh] = [line for line in out.splitlines() if "left thigh to left shank" in line]
    assert float(thigh.split()[-1]) == pytest.approx(0.2425 * 1750, rel=0.005)
    assert max(map(len, out.splitlines())) <= 80


def test_measure_skeleton(tree, capsys):
    assert main(["measure", "--skeleton", "walk.bvh#walk"]) == 0
    out = capsys.readouterr().out
    assert "left_shank" in out
    assert "left shank" in out
    assert max(map(len, out.splitlines())) <= 80
    assert main(["measure", "walk.bvh#wlak"]) == 2
    assert "Did you mean 'walk'?" in capsys.readouterr().err


def test_start(tree, capsys):
    assert main(["start", "."]) == 2
    assert "stays as it is" in capsys.readouterr().err
    (tree / "kinelint.toml").unlink()
    assert main(["start", "."]) == 0
    assert "2 files with 2 clips on 1 skeleton" in capsys.readouterr().out
    assert gate("walk.bvh", "--policy", "kinelint.toml") == 1


def test_schemas_hold_policies_and_cue_sheets(capsys):
    rules = registered(HeadHeight, Graded)
    policy = jsonschema_rs.validator_for(policy_schema(rules))
    good = {
        "fail_on": "warning",
        "scope": [{"class": "a", "rules": {"graded": {"level": "off"}}}, {"class": ["a", "b"]}],
        "rules": {"head-height": {"max_height_mm": 3, "level": "note"}},
    }
    assert policy.is_valid(good)
    for bad in (
        {"fail_no": 1},
        {"rules": {"head-hight": {}}},
        {"rules": {"head-height": {"max_height_mm": "3"}}},
        {"rules": {"head-height": {"max_height_mm": -3}}},
        {"scope": [{"required": ["nothing"]}]},
    ):
        assert not policy.is_valid(bad)
    from kinelint.cue_tables import CueSheetTable

    cues = jsonschema_rs.validator_for(sheet_schema(CueSheetTable))
    assert cues.is_valid({"cue": [{"clips": ["a"], "loop": True}]})
    assert not cues.is_valid({"cue": [{"loop": True}]})
    assert main(["schema", "policy"]) == 0
    assert (
        "head-height" in json.loads(capsys.readouterr().out)["$defs"]["rule:head-height"]["title"]
    )


def kinelint_process(*arguments, **more):
    return subprocess.run(
        [sys.executable, "-m", "kinelint", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
        **more,
    )


@pytest.mark.parametrize("command", [[], ["gate"], ["measure"], ["rules"], ["start"], ["schema"]])
def test_help_is_light_and_fits(command):
    code = (
        "import sys; from kinelint.cli import main\n"
        "try: main(sys.argv[1:])\n"
        "except SystemExit as end: code = end.code\n"
        "heavy = {'numpy', 'pydantic', 'orjson', 'tqdm', 'fastnumbers'} & set(sys.modules)\n"
        "sys.exit(f'imported {heavy}' if heavy else code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, *command, "--help"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_a_reader_that_has_seen_enough(tree):
    (tree / "kinelint.toml").unlink()
    command = f'"{sys.executable}" -m kinelint measure walk.bvh | head -1'
    done = subprocess.run(command, shell=True, capture_output=True, text=True, check=False)
    assert "Traceback" not in done.stderr
    assert "BrokenPipe" not in done.stderr


def test_a_terminal_that_knows_ascii_only(tree):
    (tree / "kinelint.toml").unlink()
    env = {**os.environ, "PYTHONIOENCODING": "ascii"}
    done = kinelint_process("measure", "walk.bvh", env=env)
    assert done.returncode == 0, done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGINT between processes there")
@pytest.mark.skipif(shutil.which("ps") is None, reason="there is no ps to see the workers with")
def test_an_interrupt_ends_in_one_line(tree):
    # Far more than can be judged in the time below, on any machine.
    write(tree, **{f"clip{number:03}": bvh(frames=3000) for number in range(60)})
    running = subprocess.Popen(
        [sys.executable, "-m", "kinelint", "gate", ".", "--policy", "/dev/null", "--workers", "2"],
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    _wait_for_workers(running.pid)
    running.send_signal(signal.SIGINT)
    _, err = running.communicate(timeout=30)
    assert running.returncode == 2
    assert err == "kinelint: stopped\n"


def _wait_for_workers(pid):
    """Until a process has children: it is at work then, however slow the machine is."""
    for _ in range(300):
        listed = subprocess.run(["ps", "-A", "-o", "ppid="], capture_output=True, text=True)
        if str(pid) in listed.stdout.split():
            time.sleep(0.5)
            return
        time.sleep(0.1)
    raise AssertionError("no worker was started within 30 s")
