"""What clips have in common: what was assumed of them, what could not be judged. Said once."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from kinelint.outputs.cells import cell_width, cut, padded, wrapped
from kinelint.outputs.ink import Ink
from kinelint.outputs.wording import counted, part_label, prose
from kinelint.report import ClipReport, Outcome, Report

# Lines of a section before the rest is only counted, and names in one line before they are.
_MOST_ROWS = 12
_MOST_NAMES = 3
_NAME_CELLS = 24
# Stands in for a clip's number where a remark is about the whole run.
_RUN = -1
# What remarks of one kind may differ in: numbers and sides.
_VARIES = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?!\w)|\bleft\b|\bright\b")
# "left hip: why not (left thigh)": what several of one reason are said of, in one line.
_OF_WHAT = re.compile(r"(?P<what>[^:()]{1,40}): (?P<why>.+?)(?: \([^()]*\))?")


@dataclass(frozen=True, slots=True)
class Remark:
    """A heading (a topic or a rule) and what is said under it."""

    heading: str
    text: str

    @property
    def kind(self) -> tuple[str, str]:
        """Equal for remarks that differ in their numbers and sides only."""
        return self.heading, _VARIES.sub("#", self.text)


@dataclass
class Table:
    """Remarks by kind: the texts, and the clips they are about, by number, with their names."""

    texts: dict[tuple[str, str], list[str]] = field(default_factory=dict)
    clips: dict[tuple[str, str], dict[int, str]] = field(default_factory=dict)

    def add(self, remark: Remark, number: int, name: str) -> None:
        """One more remark."""
        self.texts.setdefault(remark.kind, []).append(remark.text)
        self.clips.setdefault(remark.kind, {})[number] = name


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
        # What is about no clip has a negative number: the run has _RUN, assets what follows.
        for note in report.notes:
            noted.add(Remark(prose(note.topic), prose(note.text)), _RUN, "")
        for number, asset in enumerate(report.assets, start=2):
            for note in asset.notes:
                noted.add(Remark(prose(note.topic), prose(note.text)), -number, prose(asset.path))
        clips = [clip for asset in report.assets for clip in asset.clips]
        for number, clip in enumerate(clips):
            for table, remarks in ((noted, notes_of(clip)), (unjudged, unjudged_of(clip))):
                for remark in remarks:
                    table.add(remark, number, prose(clip.name))
        with_findings = {
            number for number, clip in enumerate(clips) if any(one.findings for one in clip.results)
        }
        alone = frozenset(
            kind
            for table in (noted, unjudged)
            for kind, numbers in table.clips.items()
            if len(numbers) == 1 and with_findings.issuperset(numbers)
        )
        total = sum(map(len, unjudged.texts.values()))
        return cls(noted, unjudged, alone, len(clips), total)

    def of_clip(self, clip: ClipReport, ink: Ink, width: int) -> Iterator[str]:
        """What holds for this clip and no other."""
        noted = [text for _, text in self._own(notes_of(clip))]
        unjudged = [f"{rule}: {reason}" for rule, reason in self._own(unjudged_of(clip))]
        for word, said in (("noted", noted), ("not judged", unjudged)):
            start = f"  {padded(word, 12)}"
            for text in said:
                yield from map(ink.faint, wrapped(text, width, first=start, rest=" " * 14))
                start = " " * 14

    def _own(self, remarks: list[Remark]) -> list[tuple[str, str]]:
        by_kind: dict[tuple[str, str], list[str]] = {}
        for one in remarks:
            if one.kind in self.in_blocks:
                by_kind.setdefault(one.kind, []).append(one.text)
        rows = [_Row(heading, _merged(texts)) for (heading, _), texts in by_kind.items()]
        return [(row.heading, row.text) for row in _gathered(rows)]

    def lines(self, ink: Ink, width: int, *, every: bool = False) -> Iterator[str]:
        """The sections at the end, on what several clips have in common; all of it if `every`."""
        most = None if every else _MOST_ROWS
        yield from self._section("Noted", self.noted, ink, width, most)
        yield from self._section("Not judged", self.unjudged, ink, width, most)

    def _section(
        self, title: str, table: Table, ink: Ink, width: int, most: int | None
    ) -> Iterator[str]:
        kinds = [kind for kind in table.texts if kind not in self.in_blocks]
        if not kinds:
            return
        kinds.sort(key=lambda kind: (-len(table.clips[kind]), kind))
        rows = _gathered(
            _Row(kind[0], _merged(table.texts[kind]), table.clips[kind], len(table.texts[kind]))
            for kind in kinds
        )
        shown, hidden = rows[:most], rows[len(rows[:most]) :]
        yield ""
        yield ink.strong(title)
        cells = min(max(cell_width(row.heading) for row in shown), width // 4)
        for row in shown:
            text = row.text if _RUN in row.clips else f"{row.text} ({self._names(row.clips)})"
            first = f"  {padded(row.heading, cells)}  "
            yield from wrapped(text, width, first=first, rest=" " * (cells + 4))
        if hidden:
            times = sum(row.times for row in hidden)
            more = f"  and {counted(len(hidden), 'other reason')}, in {times:,} places"
            yield cut(more, width)

    def _names(self, clips: Mapping[int, str]) -> str:
        if len(clips) <= _MOST_NAMES:
            return ", ".join(cut(name or "no name", _NAME_CELLS) for name in clips.values())
        return f"all {len(clips):,} clips" if len(clips) == self.clips else f"{len(clips):,} clips"


@dataclass(frozen=True, slots=True)
class _Row:
    """What is printed of one kind: under a heading, about some clips, so many times."""

    heading: str
    text: str
    clips: Mapping[int, str] = field(default_factory=dict)
    times: int = 1


def _gathered(rows: Iterable[_Row]) -> list[_Row]:
    """The same rows; those that say one thing of several joints of the same clips are one."""
    alike: dict[tuple[str, str, tuple[int, ...]], list[tuple[str, _Row]]] = {}
    for row in rows:
        found = _OF_WHAT.fullmatch(row.text)
        what, why = found.group("what", "why") if found else ("", row.text)
        alike.setdefault((row.heading, why, tuple(row.clips)), []).append((what, row))
    return [
        of[0][1]
        if len(of) == 1
        else _Row(
            heading,
            f"{', '.join(what for what, _ in of)}: {why}",
            of[0][1].clips,
            sum(row.times for _, row in of),
        )
        for (heading, why, _), of in alike.items()
    ]


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
    """One text for several of a kind: "the left and right hip", "0.2 to 0.4 m"."""
    columns = list(zip(*(_VARIES.findall(text) for text in texts), strict=True))
    said = iter([_range(column) for column in columns])
    return _VARIES.sub(lambda _: next(said), texts[0])


def _range(values: Sequence[str]) -> str:
    sides = sorted({one for one in values if one in ("left", "right")})
    numbers = [one for one in values if one not in sides]
    if not numbers:
        return " and ".join(sides)
    low, high = min(numbers, key=float), max(numbers, key=float)
    return " and ".join([*sides, low if low == high else f"{low} to {high}"])
