"""A policy's text with other limits in it: its comments and its layout stay as they are."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator, Sequence
from typing import Any

import tomli_w

from kinelint.calibrate.propose import Change
from kinelint.errors import PolicyError
from kinelint.toml_places import key_lines

_HEAD = "# Limits from clips that the team holds good, proposed by `kinelint calibrate`.\n"


def new_text(changes: Sequence[Change]) -> str:
    """A policy that says nothing else."""
    rules: dict[str, dict[str, float]] = {}
    for one in changes:
        rules.setdefault(one.rule_id, {})[one.setting] = one.new
    return _HEAD + tomli_w.dumps({"rules": rules})


def edited(text: str, changes: Sequence[Change], shown: str) -> str:
    """The text of a policy with the limits changed, and nothing else.

    Args:
        text: valid TOML.
        changes: limits to set in its [rules].
        shown: what messages call the file.

    Raises:
        PolicyError: it is laid out in a way that cannot be edited line by line.
    """
    wanted = tomllib.loads(_without_mark(text))
    lines = text.split("\n")
    # From the last on: each is put on top of those of its table.
    for one in reversed(changes):
        lines = _with_limit(lines, one)
        wanted.setdefault("rules", {}).setdefault(one.rule_id, {})[one.setting] = one.new
    made = "\n".join(lines)
    if _parsed(made) != wanted:
        raise PolicyError(
            "its [rules] are laid out in a way that cannot be edited",
            path=shown,
            mend="Give each rule a table of its own, as [rules.foot-slide].",
        )
    return made


def unified(old: str | None, new: str, path: str) -> str:
    """A unified diff from one text of a file to another; `old` is None where there is no file.

    Args:
        old: as the file is, its line ends kept.
        new: as it is to be.
        path: from where the diff is to be applied, with "/".
    """
    # A name with blanks ends at a tab, for `patch` and `git apply` alike.
    end = "\t" if " " in path else ""
    lines = difflib.unified_diff(
        _lines(old or ""),
        _lines(new),
        "/dev/null" if old is None else f"a/{path}{end}",
        f"b/{path}{end}",
    )
    return "".join(_whole(lines))


def _lines(text: str) -> list[str]:
    # Only newlines end a line of TOML; what else Python splits at stays inside.
    return re.findall(r"[^\n]*\n|[^\n]+", text)


def _whole(lines: Iterator[str]) -> Iterator[str]:
    for line in lines:
        yield line if line.endswith("\n") else f"{line}\n\\ No newline at end of file\n"


def _without_mark(text: str) -> str:
    return text.removeprefix("\ufeff").replace("\r\n", "\n")


def _parsed(text: str) -> dict[str, Any] | None:
    try:
        return tomllib.loads(_without_mark(text))
    except tomllib.TOMLDecodeError:
        return None


def _with_limit(lines: list[str], one: Change) -> list[str]:
    places = key_lines(_without_mark("\n".join(lines)))
    table = ("rules", one.rule_id)
    value = tomli_w.dumps({"k": one.new}).partition(" = ")[2].strip()
    if (*table, one.setting) in places:
        return _replaced(lines, places[*table, one.setting] - 1, one.setting, value)
    if table in places:
        return _added(lines, places[table] - 1, one, value)
    return _appended(lines, one, value)


def _replaced(lines: list[str], at: int, setting: str, value: str) -> list[str]:
    pattern = rf"(?<![\w-])({re.escape(setting)}[\"']?\s*=\s*)[^,}}#\s]+"
    line = re.sub(pattern, lambda found: found[1] + value, lines[at], count=1)
    return [*lines[:at], line, *lines[at + 1 :]]


def _added(lines: list[str], at: int, one: Change, value: str) -> list[str]:
    line, pair = lines[at], f"{one.setting} = {value}"
    if re.match(r"[\s\ufeff]*\[", line):
        return _into_table(lines, at, one.setting, pair)
    inline = re.match(rf"(.*{re.escape(one.rule_id)}[\"']?\s*=\s*\{{)(\s*)(\}})?", line)
    if inline:
        rest = line[inline.end() - len(inline[3] or "") :]
        line = f"{inline[1]} {pair} {rest}" if inline[3] else f"{inline[1]} {pair}, {rest}"
        return [*lines[:at], line, *lines[at + 1 :]]
    dotted = re.match(rf"(.*?{re.escape(one.rule_id)}[\"']?\s*\.)", line)
    more = [f"{dotted[1]}{pair}{_ending(line)}"] if dotted else []
    return [*lines[: at + 1], *more, *lines[at + 1 :]]


def _into_table(lines: list[str], at: int, setting: str, pair: str) -> list[str]:
    """Below the table's head, or below the comment that shows the default of this setting."""
    end = next((n for n in range(at + 1, len(lines)) if re.match(r"\s*\[", lines[n])), len(lines))
    shown = rf"\s*#\s*{re.escape(setting)}\s*="
    after = next((n for n in range(at + 1, end) if re.match(shown, lines[n])), at)
    return [*lines[: after + 1], pair + _ending(lines[at]), *lines[after + 1 :]]


def _appended(lines: list[str], one: Change, value: str) -> list[str]:
    cr = _ending(lines[0])
    key = tomli_w.dumps({one.rule_id: 0}).partition(" = ")[0]
    *before, last = lines
    before += [last + cr] if last else []
    gap = [cr] if before else []
    return [*before, *gap, f"[rules.{key}]{cr}", f"{one.setting} = {value}{cr}", ""]


def _ending(line: str) -> str:
    return "\r" if line.endswith("\r") else ""
