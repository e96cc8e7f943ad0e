"""A report for people at a terminal: a worksheet, one block a clip, the worst first.

    Haul_Line                                              0:03.967, 120 frames, 30 Hz
    clips/haul_line.bvh

      ERROR    0:01.233–0:01.400  f37–42  left foot                  64 mm, limit 50
               foot-slide: left foot slides 64 mm while planted; worst at f39
               Do: pin the left heel on its mark of frame 37 until frame 42

Levels are words, colour only repeats them. Names are data: nothing in them reaches the terminal as
a control character.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from kinelint.finding import Level
from kinelint.outputs.causes import likely_causes
from kinelint.outputs.cells import apart, cut, wrapped
from kinelint.outputs.console_clips import blocks
from kinelint.outputs.console_common import Common
from kinelint.outputs.console_files import file_lines
from kinelint.outputs.console_rules import render_rule, render_rules
from kinelint.outputs.incidents import Incidents, incidents
from kinelint.outputs.ink import Ink
from kinelint.outputs.wording import (
    amount,
    counted,
    exit_meaning,
    levels_counted,
    part_label,
    prose,
)
from kinelint.report import Report, Trouble, Verdict

__all__ = ["lines", "render", "render_rule", "render_rules"]

# What the text of a trouble does not say by itself.
_KINDS = {
    "unreadable-asset": "cannot be read",
    "misread-body": "body not understood",
    "lost-worker": "worker process lost",
}


def render(
    report: Report,
    *,
    width: int = 80,
    colour: bool = False,
    quiet: bool = False,
    most: int | None = 12,
) -> str:
    """The whole text, with a line break at its end; see `lines`."""
    return "\n".join([*lines(report, width=width, colour=colour, quiet=quiet, most=most), ""])


def lines(
    report: Report,
    *,
    width: int = 80,
    colour: bool = False,
    quiet: bool = False,
    most: int | None = 12,
) -> Iterator[str]:
    """The text line by line.

    Args:
        report: the run.
        width: cells of the terminal; no line is wider (at least 40 are taken).
        colour: whether to use ANSI colours; it is for the caller to know NO_COLOR and terminals.
        quiet: leaves out what was waived, assumed and not judged; the last lines count it.
        most: findings shown of one clip, the worst; the others are counted. None shows all, and
            every note and reason at the end.
    """
    width, ink = max(width, 40), Ink(colour)
    troubles = incidents(report)
    common = Common.of(report)
    yield from _title(report, width, ink)
    for block in blocks(report):
        yield ""
        yield from block.lines(common, ink, width=width, quiet=quiet, most=most)
    yield from file_lines(report, width, ink)
    if not quiet:
        yield from common.lines(ink, width, every=most is None)
    yield from _causes(report, width, ink)
    yield from _troubles(troubles, width, ink)
    yield ""
    yield from _verdict(report, troubles, common, width, ink)


def _title(report: Report, width: int, ink: Ink) -> Iterator[str]:
    clips = sum(len(asset.clips) for asset in report.assets)
    size = f"{counted(len(report.assets), 'asset')}, {counted(clips, 'clip')}"
    root = prose(report.root) or "."
    yield ink.strong(apart(f"kinelint {prose(report.version)}: {root}", size, width))
    if clips:
        yield ink.faint(
            cut("Frames (f) and times count from the first frame of a clip, f0.", width)
        )


def _causes(report: Report, width: int, ink: Ink) -> Iterator[str]:
    """Findings that repeat over many clips, once more as what they probably are."""
    found = likely_causes(report)
    if not found:
        return
    yield ""
    yield ink.strong("Likely one cause")
    for one in found:
        parts = ", ".join(part_label(part) for part in one.parts)
        about = amount(one.measured, one.unit)
        said = (
            f"{prose(one.rule_id)}: {parts}, about {about}, in {one.clips} of {one.judged} clips "
            f"of one skeleton ({one.skeleton[:8]}). Look at {one.likely} before you mend clips."
        )
        yield from wrapped(said, width, first="  ", rest="      ")


def _troubles(troubles: Incidents, width: int, ink: Ink) -> Iterator[str]:
    if not len(troubles):
        return
    yield ""
    yield ink.level("error", "Could not be completed")
    for one in troubles:
        yield from _trouble(one, width)


def _trouble(one: Trouble, width: int) -> Iterator[str]:
    where = ", ".join(prose(part) for part in (one.path, one.clip, one.place) if part)
    heading = ": ".join(part for part in (where or "the run", _KINDS.get(one.kind)) if part)
    yield from wrapped(heading, width, first="  ", rest="    ")
    yield from wrapped(prose(one.text), width, first="      ", rest="      ")


def _verdict(
    report: Report, troubles: Incidents, common: Common, width: int, ink: Ink
) -> Iterator[str]:
    verdict = report.verdict
    word = verdict.value.upper()
    said = "; ".join(_counts(report, troubles, common))
    meaning = f"{exit_meaning(verdict, report.fail_on)} Exit status {verdict.exit_status}."
    first, *rest = wrapped(f"{said}.", width, first=f"{word}  ", rest="  ")
    yield ink.level("good" if verdict is Verdict.PASS else "error", first)
    yield from rest
    yield from wrapped(meaning, width, first="  ", rest="  ")


def _counts(report: Report, troubles: Incidents, common: Common) -> Iterator[str]:
    levels: Counter[Level] = Counter()
    waived = failing = files = 0
    for asset in report.assets:
        for results, of_clip in [(asset.results, False), *((c.results, True) for c in asset.clips)]:
            found = [one for result in results for one in result.findings]
            stand = [one.level for one in found if not one.waived]
            levels.update(stand)
            waived += len(found) - len(stand)
            failing += bool(stand) and of_clip
            files += bool(stand) and not of_clip
    clips = counted(common.clips, "clip")
    where = f"{failing:,} of {clips}" if failing else clips
    where += f" and {counted(files, 'working file')}" if files else ""
    yield f"{levels_counted(levels)} in {where}"
    if waived:
        yield f"{waived:,} waived"
    if common.not_judged:
        yield f"{common.not_judged:,} not judged"
    if len(troubles):
        yield counted(len(troubles), "trouble")
