"""Findings on files as a whole: no frames, no parts."""

from __future__ import annotations

from collections.abc import Iterator

from kinelint.outputs.cells import padded, wrapped
from kinelint.outputs.ink import Ink
from kinelint.outputs.wording import prose
from kinelint.report import Located, Report

_LEVEL_CELLS = 9
_TEXT = " " * (2 + _LEVEL_CELLS)


def file_lines(report: Report, width: int, ink: Ink) -> Iterator[str]:
    """A block of all such findings, the worst first; nothing without any."""
    found = [
        (asset.path, one)
        for asset in report.assets
        for result in asset.results
        for one in result.findings
    ]
    if not found:
        return
    yield ""
    yield ink.strong("Files")
    for path, one in sorted(found, key=lambda row: (-row[1].level.rank, row[0])):
        yield from _row(path, one, width, ink)


def _row(path: str, one: Located, width: int, ink: Ink) -> Iterator[str]:
    word = "waived" if one.waived else one.level.value
    word = word.upper() if word == "error" else word
    first, *rest = wrapped(prose(path), width, first=_TEXT, rest=_TEXT)
    yield f"  {ink.level(word.lower(), padded(word, _LEVEL_CELLS))}{first[len(_TEXT) :]}"
    yield from rest
    said = f"{prose(one.rule_id)}: {prose(one.message)}"
    yield from wrapped(said, width, first=_TEXT, rest=_TEXT)
    if one.waived:
        yield from wrapped(prose(one.waived), width, first=f"{_TEXT}Waived: ", rest=_TEXT)
    elif one.remedy:
        yield from wrapped(prose(one.remedy), width, first=f"{_TEXT}Do: ", rest=f"{_TEXT}    ")
