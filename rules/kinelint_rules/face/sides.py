"""Which morph channels are the two sides of one expression, and which close the eyes."""

from __future__ import annotations

import re
from collections.abc import Sequence

_SIDE = re.compile(r"(?i:left|right)|(?<![A-Za-z])[lrLR](?![A-Za-z])|(?<=[a-z])[LR](?![A-Za-z])")
_BLINK = re.compile(r"(?i)blink|eyes?[ _.-]?clos|clos\w*[ _.-]?eye|lids?[ _.-]?clos")


def side_of(name: str) -> tuple[str, str]:
    """("left", "right" or "", the name without the word for the side in lower case)."""
    found = _SIDE.search(name)
    if found is None:
        return "", name.casefold()
    side = "left" if found[0][0].casefold() == "l" else "right"
    return side, (name[: found.start()] + "|" + name[found.end() :]).casefold()


def pairs(names: Sequence[str]) -> list[tuple[int, int]]:
    """(left, right) channels of one expression, in the order of the left ones."""
    sides = [side_of(name) for name in names]
    right = {rest: i for i, (side, rest) in enumerate(sides) if side == "right"}
    return [
        (i, right[rest]) for i, (side, rest) in enumerate(sides) if side == "left" and rest in right
    ]


def blinks(names: Sequence[str]) -> list[int]:
    """The channels that close an eye or both."""
    return [i for i, name in enumerate(names) if _BLINK.search(name)]
