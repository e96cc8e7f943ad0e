"""Patterns over asset paths and clip names, the same on every system.

``**`` stands for any folders, ``*`` and ``?`` for characters of one name, ``[ab]`` for one of
several. A pattern without "/" is matched with the file's name in any folder. Behind a "#" stands
a pattern for the clip's name: ``crew/*.glb#Walk*``. Letter case counts.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache


def matches_asset(pattern: str, path: str) -> bool:
    """Whether an asset's path (relative, "/" between parts) fits the pattern's asset half."""
    return _path_regex(split(pattern)[0]).fullmatch(_plain(path)) is not None


def matches_clip(pattern: str, path: str, clip: str) -> bool:
    """Whether a clip of an asset fits the pattern."""
    of_clip = split(pattern)[1]
    if of_clip and _name_regex(of_clip).fullmatch(_plain(clip)) is None:
        return False
    return matches_asset(pattern, path)


def any_asset(patterns: Iterable[str], path: str) -> bool:
    """Whether any pattern fits the asset."""
    return any(matches_asset(one, path) for one in patterns)


def any_clip(patterns: Iterable[str], path: str, clip: str) -> bool:
    """Whether any pattern fits the clip."""
    return any(matches_clip(one, path, clip) for one in patterns)


def split(pattern: str) -> tuple[str, str]:
    """The asset half and the clip half; a "#" in brackets belongs to a name."""
    match = re.match(r"((?:\[[^\]]*\]|[^#])*+)#(.*)", pattern, re.DOTALL)
    return (match[1], match[2]) if match else (pattern, "")


def _plain(text: str) -> str:
    # One system stores "é" as one character, another as two.
    return unicodedata.normalize("NFC", text)


@lru_cache(maxsize=1024)
def _path_regex(pattern: str) -> re.Pattern[str]:
    pattern = _plain(pattern).removeprefix("./")
    if not pattern:
        return re.compile(".*", re.DOTALL)
    if pattern.endswith("/"):
        pattern += "**"
    steps = pattern.removeprefix("/").split("/")
    if "/" not in pattern and pattern != "**":
        steps = ["**", *steps]
    text = ""
    for number, step in enumerate(steps):
        last = number + 1 == len(steps)
        if step == "**":
            text += ".*" if last else "(?:[^/]+/)*"
        else:
            text += _step_regex(step, "[^/]") + ("" if last else "/")
    return re.compile(text, re.DOTALL)


@lru_cache(maxsize=1024)
def _name_regex(pattern: str) -> re.Pattern[str]:
    return re.compile(_step_regex(_plain(pattern), "."), re.DOTALL)


def _step_regex(step: str, one: str) -> str:
    text, at = "", 0
    while at < len(step):
        closing = step.find("]", at + 2) if step[at] == "[" else -1
        if step[at] == "*":
            text += f"{one}*"
        elif step[at] == "?":
            text += one
        elif closing > 0:
            inside = step[at + 1 : closing].replace("\\", r"\\").replace("[", r"\[")
            text += f"[{'^' + inside[1:] if inside[0] == '!' else inside}]"
            at = closing
        else:
            text += re.escape(step[at])
        at += 1
    return text
