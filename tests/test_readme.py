"""What the README tells people to type works, and what it shows is what they get."""

import re
import shlex
from pathlib import Path

import pytest

from kinelint.cli import main

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def _blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```", README, flags=re.MULTILINE | re.DOTALL)


def test_the_two_set_up_commands_come_first():
    first, second = (block.strip() for block in _blocks("sh")[:2])
    assert first == "python -m pip install . && kinelint gate example_project"
    assert second == 'python -m pip install -e ".[dev]" && python -m pytest'
    assert second in (ROOT / ".ci" / "run").read_text(encoding="utf-8").replace(" --quiet", "")
    assert second in (ROOT / ".github" / "workflows" / "ci.yml").read_text(encoding="utf-8")


def test_the_checks_of_the_contributors_page_are_those_of_ci():
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    block = developers.partition("## Set up and check")[2].split("```")[1].strip().splitlines()
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8").replace(" --quiet", "")
    assert [line for line in block if line not in script.splitlines()] == []


def test_the_first_finding_is_what_the_gate_prints(capsys):
    shown = _blocks("text")[0].strip("\n")
    main(["gate", str(ROOT / "example_project"), "--quiet", "--colour", "never"])
    assert shown in capsys.readouterr().out


def test_every_command_shown_is_understood(capsys):
    lines = [line for block in _blocks("sh")[2:] for line in block.splitlines() if line.strip()]
    assert lines
    for line in lines:
        words = shlex.split(line, comments=True)
        if words[:1] == ["kinelint"] and len(words) > 1:
            with pytest.raises(SystemExit) as stop:
                main([words[1], "--help"])
            assert stop.value.code == 0, line
            known = capsys.readouterr().out
            options = [word for word in words[2:] if word.startswith("--")]
            assert [option for option in options if option not in known] == [], line
