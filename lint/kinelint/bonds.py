"""Which clips belong together: the cue sheet's chains, partners and mirrors, found in a tree."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from kinelint.cue import Bond, Chain, Mirrored, Partners
from kinelint.cues import CueSheet, CueSheets
from kinelint.finding import Note
from kinelint.globs import matches_clip

# (path of the asset, name of the clip), as the run knows them.
ClipId = tuple[str, str]


@dataclass(frozen=True)
class Bound:
    """A bond, and the clips it binds, in the order that the bond speaks of them."""

    bond: Bond
    clips: tuple[ClipId, ...]


def bound(sheets: CueSheets, clips: Sequence[ClipId]) -> tuple[list[Bound], list[Note]]:
    """Every bond of the sheets with its clips, and a note for each that binds nothing.

    Args:
        sheets: of the run.
        clips: all that were read, in the order of the run.
    """
    found: list[Bound] = []
    notes: list[Note] = []
    for sheet in sheets.sheets:
        for bond, kind, number in _bonds(sheet):
            pairs, fault = _pairs(bond, sheet, clips)
            found += [Bound(bond, pair) for pair in pairs]
            if fault:
                line = sheet.file.line((kind, number))
                notes.append(Note("cue-sheet", f"{sheet.file.path}, line {line}: {fault}"))
    return found, notes


def _bonds(sheet: CueSheet) -> Iterator[tuple[Bond, str, int]]:
    for number, one in enumerate(sheet.table.chain):
        steps = list(zip(one.steps, one.steps[1:], strict=False))
        for before, after in [*steps, *((one.before, other) for other in one.after)]:
            name = one.name or f"{before} to {after}"
            yield Chain(name, before, after, one.blend_s), "chain", number
    for number, two in enumerate(sheet.table.partners):
        first, second = two.clips
        reach_m = None if two.reach_mm is None else two.reach_mm / 1000.0
        name = two.name or f"{first} with {second}"
        rest = (two.moments, two.touch, two.offset_s, two.place_m, two.turn_deg, reach_m)
        yield Partners(name, first, second, *rest), "partners", number
    for number, pair in enumerate(sheet.table.mirrored):
        first, second = pair.clips
        yield Mirrored(pair.name or f"{first} with {second}", first, second), "mirrored", number


def _pairs(
    bond: Bond, sheet: CueSheet, clips: Sequence[ClipId]
) -> tuple[list[tuple[ClipId, ClipId]], str]:
    """The pairs of clips, and what is wrong if there are none."""
    words = (bond.before, bond.after) if isinstance(bond, Chain) else _two(bond)
    firsts, seconds = (_fitting(word, sheet, clips) for word in words)
    for word, some in zip(words, (firsts, seconds), strict=True):
        if not some:
            return [], f"no clip matches {word}"
    if isinstance(bond, Chain) or 1 in (len(firsts), len(seconds)):
        # A clip that follows itself is a loop, which has a rule of its own.
        return [(a, b) for a in firsts for b in seconds if a != b], ""
    if len(firsts) != len(seconds):
        counts = f"{len(firsts)} and {len(seconds)} clips"
        return [], f"{words[0]} and {words[1]} match {counts}, which makes no pairs"
    return list(zip(firsts, seconds, strict=True)), ""


def _two(bond: Bond) -> tuple[str, str]:
    assert isinstance(bond, Partners | Mirrored)
    return bond.first, bond.second


def _fitting(pattern: str, sheet: CueSheet, clips: Sequence[ClipId]) -> list[ClipId]:
    start = len(sheet.prefix)
    return [
        (path, name)
        for path, name in clips
        if path.startswith(sheet.prefix) and matches_clip(pattern, path[start:], name)
    ]
