"""Text in columns: how wide it is on a terminal, cut and wrapped by that width.

Widths by Unicode Standard Annex 11 (East Asian Width): wide and full-width characters take two
cells, combining and format characters none.
"""

from __future__ import annotations

import unicodedata

ELLIPSIS = "…"


def cell_width(text: str) -> int:
    """How many cells the text takes."""
    return len(text) if text.isascii() else sum(map(_cells, text))


def _cells(character: str) -> int:
    if unicodedata.category(character) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def cut(text: str, width: int) -> str:
    """The text in at most `width` cells; "…" where something was cut."""
    if cell_width(text) <= width:
        return text
    return _head(text, max(width - 1, 0)) + ELLIPSIS[: max(width, 0)]


def padded(text: str, width: int, *, right: bool = False) -> str:
    """The text cut or filled up to exactly `width` cells; `right` puts it to the right."""
    text = cut(text, width)
    blanks = " " * (width - cell_width(text))
    return blanks + text if right else text + blanks


def apart(left: str, right: str, width: int) -> str:
    """One line with text at both margins; the left one is cut if both do not fit."""
    right = cut(right, width)
    room = width - cell_width(right) - (2 if right else 0)
    return f"{padded(left, max(room, 0))}{'  ' if right and room > 0 else ''}{right}".rstrip()


def wrapped(text: str, width: int, *, first: str = "", rest: str = "") -> list[str]:
    """Lines of at most `width` cells, broken at blanks, and inside words that are too long.

    `first` begins the first line, `rest` the others.
    """
    lines: list[str] = []
    line, empty = first, True
    for word in text.split():
        gap = "" if empty else " "
        if not empty and cell_width(line) + 1 + cell_width(word) > width:
            lines.append(line)
            line, gap = rest, ""
        while cell_width(line) + len(gap) + cell_width(word) > width:
            head = _head(word, max(width - cell_width(line) - len(gap), 2))
            lines.append(line + gap + head)
            line, gap, word = rest, "", word[len(head) :]
        line += gap + word
        empty = False
    return [*lines, line] if line.strip() else lines


def _head(text: str, width: int) -> str:
    """As many characters from the start as `width` cells hold."""
    used = 0
    for index, character in enumerate(text):
        used += _cells(character)
        if used > width:
            return text[:index]
    return text
