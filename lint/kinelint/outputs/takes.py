"""Takes of one action, the cheapest to clean first."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from kinelint.finding import Level
from kinelint.outputs.cells import cut, padded, wrapped
from kinelint.outputs.ink import Ink
from kinelint.outputs.wording import counted, part_label, prose
from kinelint.report import ClipReport, Located, Report

# An error must be mended, a warning mostly; notes are left alone. Common practice, no source.
_WEIGHTS = {Level.ERROR: 1.0, Level.WARNING: 0.5, Level.NOTE: 0.0}


@dataclass(frozen=True)
class Take:
    """What cleaning one take would touch.

    Attributes:
        path, clip: which.
        frames: of the take.
        touched: frames in which any part must be touched.
        part_frames: for each part, the frames to touch, the most first.
        cost: frames times parts, warnings counted half.
        errors, warnings: how many findings.
        judged: whether every rule that applies could judge; a trouble makes a take incomparable.
    """

    path: str
    clip: str
    frames: int
    touched: int
    part_frames: tuple[tuple[str, int], ...]
    cost: float
    errors: int
    warnings: int
    judged: bool


def takes(report: Report) -> tuple[Take, ...]:
    """Every clip of a report, the cheapest first; those that could not be judged last."""
    found = []
    for asset in report.assets:
        troubled = {one.clip for one in asset.troubles}
        for clip in asset.clips:
            judged = clip.name not in troubled and "" not in troubled and bool(clip.results)
            found.append(_take(asset.path, clip, judged))
    return tuple(sorted(found, key=lambda one: (not one.judged, one.cost, one.path, one.clip)))


def _take(path: str, clip: ClipReport, judged: bool) -> Take:
    standing = [
        one
        for result in clip.results
        for one in result.findings
        if not one.waived and _WEIGHTS[one.level]
    ]
    whole: set[int] = set()
    parts: dict[str, dict[int, float]] = {}
    for one in standing:
        frames = range(one.first, one.last + 1)
        whole.update(frames)
        marks = parts.setdefault(_touched_part(one), {})
        for frame in frames:
            marks[frame] = max(marks.get(frame, 0.0), _WEIGHTS[one.level])
    by_part = sorted(((part, len(marks)) for part, marks in parts.items()), key=_most_first)
    return Take(
        path,
        clip.name,
        clip.frames,
        len(whole),
        tuple(by_part),
        sum(sum(marks.values()) for marks in parts.values()),
        sum(one.level is Level.ERROR for one in standing),
        sum(one.level is Level.WARNING for one in standing),
        judged,
    )


def _touched_part(finding: Located) -> str:
    """The part to touch: the offending one."""
    return finding.parts[0] if finding.parts else "clip"


def _most_first(row: tuple[str, int]) -> tuple[int, str]:
    return -row[1], row[0]


def render_takes(found: Sequence[Take], *, width: int = 80, colour: bool = False) -> Iterator[str]:
    """The ranking as lines for the terminal."""
    ink = Ink(colour)
    yield ink.strong("Takes, the cheapest to clean first")
    yield from wrapped(
        "Frames to touch are those of errors and warnings; cost counts each part in each of "
        "them, warnings half.",
        width,
    )
    yield ""
    room = max(width - 43, 12)
    yield ink.faint(
        f"{padded('take', room)} {'cost':>8}{'frames':>9}{'of':>8}{'errors':>8}{'warn':>8}"
    )
    for one in found:
        name = one.clip if one.path.rpartition("/")[2].startswith(f"{one.clip}.") else ""
        label = prose(one.path if name else f"{one.path}#{one.clip}")
        if not one.judged:
            yield cut(f"{padded(label, room)} could not be judged", width)
            continue
        share = f"{100.0 * one.touched / max(one.frames, 1):.0f} %"
        yield (
            f"{padded(label, room)} {one.cost:8.0f}{one.touched:9}{share:>8}"
            f"{one.errors:8}{one.warnings:8}"
        )
        if one.part_frames:
            listed = ", ".join(f"{part_label(p)} {n}" for p, n in one.part_frames[:6])
            more = f" and {len(one.part_frames) - 6} more" if len(one.part_frames) > 6 else ""
            yield from wrapped(f"{listed}{more}", width, first="    ", rest="    ")
    best = next((one for one in found if one.judged), None)
    if best is not None and len(found) > 1:
        yield ""
        touched = counted(best.touched, "frame")
        yield from wrapped(f"Begin with {prose(best.clip)}: {touched} to touch.", width)
