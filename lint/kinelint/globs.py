"""Patterns over asset paths and clip names, the same on every system.

``**`` stands for any folders, ``*`` and ``?`` for characters of one name, ``[ab]`` for one of
several. A pattern without "/" is matched with the file's name in any folder. Behind a "#" stands
a pattern for the clip's name: ``crew/*.glb#Walk*``. Letter case counts.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import TypeAlias

# One pattern a folder or file name; None stands for any folders.
_Steps: TypeAlias = "tuple[re.Pattern[str] | None, ...]"


def matches_asset(pattern: str, path: str) -> bool:
    """Whether an asset's path (relative, "/" between parts) fits the pattern's asset half."""
    return _fits(_path_steps(split(pattern)[0]), _plain(path).split("/"))


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
def _path_steps(pattern: str) -> _Steps:
    pattern = _plain(pattern).removeprefix("./")
    if not pattern or pattern.endswith("/"):
        pattern += "**"
    names = pattern.removeprefix("/").split("/")
    if "/" not in pattern and pattern != "**":
        names = ["**", *names]
    return tuple(
        None if name == "**" else re.compile(_name_text(name), re.DOTALL)
        for number, name in enumerate(names)
        # Any folders, twice, are any folders.
        if name != "**" or names[number + 1 : number + 2] != ["**"]
    )


def _fits(steps: _Steps, names: list[str]) -> bool:
    """Keeps all places that the steps so far may have come to, so that nothing is tried twice."""
    places = [0]
    for number, step in enumerate(steps):
        if step is not None:
            places = [i + 1 for i in places if i < len(names) and step.fullmatch(names[i])]
        elif number + 1 < len(steps):
            places = list(range(places[0], len(names) + 1))
        else:
            return places[0] < len(names)
        if not places:
            return False
    return places[-1] == len(names)


@lru_cache(maxsize=1024)
def _name_regex(pattern: str) -> re.Pattern[str]:
    return re.compile(_name_text(_plain(pattern)), re.DOTALL)


def _name_text(pattern: str) -> str:
    """A pattern for one name as a regular expression whose time grows with the name, no faster.

    What stands between two stars is looked for once, from the left: if it is found there, no later
    place could do better.
    """
    first, *inner = ("".join(one) for one in _between_stars(pattern))
    if not inner:
        return first
    *inner, last = inner
    return first + "".join(f"(?>.*?{one})" for one in inner if one) + f".*{last}"


def _between_stars(pattern: str) -> Iterator[list[str]]:
    """The pattern cut at its stars, each piece as expressions for one character."""
    piece: list[str] = []
    at = 0
    while at < len(pattern):
        closing = pattern.find("]", at + 2) if pattern[at] == "[" else -1
        if pattern[at] == "*":
            yield piece
            piece = []
        elif pattern[at] == "?":
            piece.append(".")
        elif closing > 0:
            piece.append(_one_of(pattern[at + 1 : closing]))
            at = closing
        else:
            piece.append(re.escape(pattern[at]))
        at += 1
    yield piece


def _one_of(inside: str) -> str:
    """An expression for one of the characters and ranges in brackets, or for none of them."""
    negated = len(inside) > 1 and inside[0] == "!"
    found, rest = "", inside[1:] if negated else inside
    while rest:
        if len(rest) > 2 and rest[1] == "-":
            # A range that runs backwards holds nothing.
            if rest[0] <= rest[2]:
                found += f"{re.escape(rest[0])}-{re.escape(rest[2])}"
            rest = rest[3:]
        else:
            found += re.escape(rest[0])
            rest = rest[1:]
    if not found:
        return "." if negated else "(?!)"
    return f"[{'^' if negated else ''}{found}]"
