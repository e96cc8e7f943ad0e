"""What clips have in common: what was assumed of them, what could not be judged. Said once."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from kinelint.outputs.cells import cell_width, cut, padded, wrapped
from kinelint.outputs.ink import Ink
from kinelint.outputs.wording import counted, part_label, prose
from kinelint.report import ClipReport, Outcome, Report

# Lines of a section before the rest is only counted, and names in one line before they are.
_MOST_ROWS = 12
_MOST_NAMES = 3
_NAME_CELLS = 24
_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?!\w)")


@dataclass(frozen=True, slots=True)
class Remark:
    """A heading (a topic or a rule) and what is said under it, for example of one clip."""

    heading: str
    text: str

    @property
    def kind(self) -> tuple[str, str]:
        """Equal for remarks that differ in their numbers only."""
        return self.heading, _NUMBER.sub("#", self.text)


@dataclass
class Table:
    """Remarks of one kind, with the names of the clips that they are about."""

    rows: dict[tuple[str, str], list[tuple[str, str]]] = field(default_factory=dict)

    def add(self, remark: Remark, name: str) -> None:
        """One more remark."""
        self.rows.setdefault(remark.kind, []).append((name, remark.text))

    def alone(self, remark: Remark) -> bool:
        """Whether no other clip has a remark of this kind."""
        return len(self.rows.get(remark.kind, ())) == 1


@dataclass(frozen=True)
class Common:
    """Remarks over all clips; those of one clip with findings alone stand in its block."""

    noted: Table
    unjudged: Table
    in_blocks: frozenset[tuple[str, str]]
    clips: int
    not_judged: int

    @classmethod
    def of(cls, report: Report) -> Common:
        """Gathered from a report."""
        noted, unjudged = Table(), Table()
        in_blocks: set[tuple[str, str]] = set()
        for note in report.notes:
            noted.add(Remark(prose(note.topic), prose(note.text)), "the run")
        for asset in report.assets:
            for note in asset.notes:
                noted.add(Remark(prose(note.topic), prose(note.text)), prose(asset.path))
        clips = [clip for asset in report.assets for clip in asset.clips]
        for clip in clips:
            for table, remarks in ((noted, notes_of(clip)), (unjudged, unjudged_of(clip))):
                for remark in remarks:
                    table.add(remark, prose(clip.name))
        for clip in clips:
            if any(result.findings for result in clip.results):
                in_blocks |= {one.kind for one in notes_of(clip) if noted.alone(one)}
                in_blocks |= {one.kind for one in unjudged_of(clip) if unjudged.alone(one)}
        total = sum(map(len, unjudged.rows.values()))
        return cls(noted, unjudged, frozenset(in_blocks), len(clips), total)

    def of_clip(self, clip: ClipReport, ink: Ink, width: int) -> Iterator[str]:
        """What holds for this clip and no other."""
        noted = [one.text for one in notes_of(clip) if one.kind in self.in_blocks]
        unjudged = [
            f"{one.heading}: {one.text}" for one in unjudged_of(clip) if one.kind in self.in_blocks
        ]
        for word, said in (("noted", noted), ("not judged", unjudged)):
            start = f"  {padded(word, 12)}"
            for text in said:
                yield from map(ink.faint, wrapped(text, width, first=start, rest=" " * 14))
                start = " " * 14

    def lines(self, ink: Ink, width: int) -> Iterator[str]:
        """The sections at the end, on what several clips have in common."""
        yield from self._section("Noted", self.noted, ink, width)
        yield from self._section("Not judged", self.unjudged, ink, width)

    def _section(self, title: str, table: Table, ink: Ink, width: int) -> Iterator[str]:
        rows = [row for row in table.rows.items() if row[0] not in self.in_blocks]
        if not rows:
            return
        rows.sort(key=lambda row: (-len(row[1]), row[0]))
        shown, hidden = rows[:_MOST_ROWS], rows[_MOST_ROWS:]
        yield ""
        yield ink.strong(title)
        cells = min(max(cell_width(heading) for (heading, _), _ in shown), width // 4)
        for (heading, _), said in shown:
            text = f"{_merged([one for _, one in said])} ({self._names([n for n, _ in said])})"
            first = f"  {padded(heading, cells)}  "
            yield from wrapped(text, width, first=first, rest=" " * (cells + 4))
        if hidden:
            times = sum(len(said) for _, said in hidden)
            more = f"  and {counted(len(hidden), 'other reason')}, in {times:,} places"
            yield cut(more, width)

    def _names(self, names: Sequence[str]) -> str:
        if len(names) <= _MOST_NAMES:
            return ", ".join(cut(name or "no name", _NAME_CELLS) for name in names)
        return f"all {len(names):,} clips" if len(names) == self.clips else f"{len(names):,} clips"


def notes_of(clip: ClipReport) -> list[Remark]:
    """What was assumed of a clip, inferred or set aside."""
    return list(dict.fromkeys(Remark(prose(one.topic), prose(one.text)) for one in clip.notes))


def unjudged_of(clip: ClipReport) -> list[Remark]:
    """What no rule could judge on a clip, and why."""
    found: dict[Remark, None] = {}
    for result in clip.results:
        if result.outcome is Outcome.NOT_APPLICABLE:
            found[Remark(result.rule_id, prose(result.reason))] = None
        for one in result.not_judged:
            parts = ", ".join(map(part_label, one.parts))
            reason = prose(one.reason)
            found[Remark(result.rule_id, f"{reason} ({parts})" if parts else reason)] = None
    return list(found)


def _merged(texts: Sequence[str]) -> str:
    """One text for several that differ in their numbers: "0.2 to 0.4 m"."""
    columns = list(zip(*(_NUMBER.findall(text) for text in texts), strict=True))
    said = iter([_range(column) for column in columns])
    return _NUMBER.sub(lambda _: next(said), texts[0])


def _range(numbers: Sequence[str]) -> str:
    low, high = min(numbers, key=float), max(numbers, key=float)
    return low if low == high else f"{low} to {high}"
