"""The block of one clip: its heading, its findings as rows, what holds for it alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from kinelint.finding import Level
from kinelint.outputs.cells import apart, cell_width, cut, padded, wrapped
from kinelint.outputs.console_common import Common
from kinelint.outputs.ink import Ink
from kinelint.outputs.ranking import rank_of
from kinelint.outputs.wording import (
    against,
    all_in,
    clock,
    clock_span,
    counted,
    frame_span,
    number,
    part_label,
    prose,
)
from kinelint.report import AssetReport, ClipReport, Located, Report

_LEVEL_CELLS = 9
# With fewer cells for body parts, these and the amount go below.
_LEAST_PARTS = 12
_TEXT = " " * (2 + _LEVEL_CELLS)


@dataclass(frozen=True)
class ClipBlock:
    """A clip that has findings, and the asset it is in."""

    asset: AssetReport
    clip: ClipReport
    findings: tuple[Located, ...]

    def lines(
        self, common: Common, ink: Ink, *, width: int, quiet: bool, most: int | None
    ) -> Iterator[str]:
        """The block."""
        yield from self._heading(ink, width)
        shown = [one for one in self.findings if not (quiet and one.waived)]
        if not quiet:
            yield from common.of_clip(self.clip, ink, width)
        cut_off = shown[most:] if most is not None else []
        rows = shown[: len(shown) - len(cut_off)]
        columns = _Columns.fitting(rows, width)
        for finding in rows:
            yield ""
            yield from _row(finding, columns, ink, width, remedies=most is None)
        if cut_off:
            yield ""
            yield from wrapped(_counted_by_rule(cut_off), width, first="  and ", rest="    ")

    def _heading(self, ink: Ink, width: int) -> Iterator[str]:
        clip = self.clip
        rate = f"{number(clip.sample_rate_hz)} Hz"
        extent = f"{clock(clip.duration_s)}, {counted(clip.frames, 'frame')}, {rate}"
        yield ink.strong(apart(prose(clip.name) or "(no name)", extent, width))
        yield from map(ink.faint, wrapped(prose(self.asset.path), width))

    @property
    def badness(self) -> tuple[float, ...]:
        """To sort by: the worst clip has the least."""
        open_ones = [one for one in self.findings if not one.waived]
        levels = Counter(one.level.rank for one in open_ones)
        worst = max(map(rank_of, open_ones), default=0.0)
        return -levels[3], -levels[2], -levels[1], -worst


def blocks(report: Report) -> list[ClipBlock]:
    """The clips with findings, the worst first."""
    found = []
    for asset in report.assets:
        for clip in asset.clips:
            findings = [one for result in clip.results for one in result.findings]
            if findings:
                found.append(ClipBlock(asset, clip, tuple(sorted(findings, key=_worst_first))))
    return sorted(found, key=lambda one: (one.badness, one.asset.path, one.clip.name))


def _worst_first(one: Located) -> tuple[float | str | bool, ...]:
    return bool(one.waived), -one.level.rank, -rank_of(one), one.first, one.rule_id, one.message


@dataclass(frozen=True)
class _Columns:
    """Cells of the columns of one clip, so that they stand below each other."""

    time: int
    frames: int
    parts: int
    amount: int

    @classmethod
    def fitting(cls, findings: list[Located], width: int) -> _Columns:
        time = _widest(map(clock_span, findings))
        frames = _widest(map(frame_span, findings))
        amount = min(_widest(map(against, findings)), 26)
        room = width - 2 - _LEVEL_CELLS - time - 2 - frames - 2 - 2 - amount
        return cls(time, frames, max(room, 0), amount)


def _widest(texts: Iterator[str] | map[str]) -> int:
    return max(map(cell_width, texts), default=0)


def _row(
    finding: Located, columns: _Columns, ink: Ink, width: int, remedies: bool
) -> Iterator[str]:
    word = "waived" if finding.waived else finding.level.value
    word = word.upper() if word == "error" else word
    labels = [part_label(part) for part in finding.parts]
    shown, whole = _parts(labels, columns.parts)
    cells = [
        padded(clock_span(finding), columns.time),
        padded(frame_span(finding), columns.frames),
        padded(shown, columns.parts),
        padded(against(finding), columns.amount, right=True),
    ]
    narrow = columns.parts < _LEAST_PARTS
    rest = cut("  ".join(cells[:2] if narrow else cells).rstrip(), width - 2 - _LEVEL_CELLS)
    yield f"  {ink.level(word.lower(), padded(word, _LEVEL_CELLS))}{rest}"
    if narrow and against(finding):
        yield from wrapped(against(finding), width, first=_TEXT, rest=_TEXT)
    named = (whole and not narrow) or all_in(labels, finding.message)
    said = _sentence(finding, [] if named else labels)
    yield from wrapped(said, width, first=_TEXT, rest=_TEXT)
    if finding.waived:
        yield from wrapped(prose(finding.waived), width, first=f"{_TEXT}Waived: ", rest=_TEXT)
    elif finding.remedy and (remedies or finding.level is not Level.NOTE):
        yield from wrapped(prose(finding.remedy), width, first=f"{_TEXT}Do: ", rest=f"{_TEXT}    ")


def _sentence(finding: Located, labels: list[str]) -> str:
    said = f"{prose(finding.rule_id)}: {prose(finding.message).rstrip('.')}"
    said += f" ({', '.join(labels)})" if labels else ""
    if finding.first < finding.last:
        said += f"; worst at f{finding.worst}"
    return said


def _parts(labels: list[str], width: int) -> tuple[str, bool]:
    """As many labels as fit, then "+2"; and whether these were all."""
    for count in range(len(labels), 0, -1):
        left = len(labels) - count
        text = ", ".join(labels[:count]) + (f" +{left}" if left else "")
        if cell_width(text) <= width:
            return text, not left
    return (cut(labels[0], width), False) if labels else ("", True)


def _counted_by_rule(findings: list[Located]) -> str:
    counts = Counter((-one.level.rank, one.level.value, one.rule_id) for one in findings)
    said = [f"{rule}: {counted(n, level)}" for (_, level, rule), n in sorted(counts.items())]
    return f"{len(findings):,} more, not shown ({'; '.join(said)})"
