"""The distributions and what is proposed, as text in columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from kinelint.calibrate.propose import Change, Proposal
from kinelint.calibrate.sizes import Quantity, Study
from kinelint.outputs.cells import padded, wrapped
from kinelint.outputs.ink import Ink
from kinelint.outputs.wording import amount, counted, number, part_label, prose

_BARS = " ▁▂▃▄▅▆▇█"
_NUMBER, _COLUMNS = 8, ("clips", "median", "90 %", "99 %", "most")
_MOST_LEFT_OUT = 10


def distribution(found: Study, width: int, ink: Ink) -> Iterator[str]:
    """Every quantity by part, with a small histogram; then what was not measured."""
    for one in found.quantities:
        if one.measured:
            yield ""
            yield from _quantity(one, width, ink)
    still: dict[str, list[str]] = {}
    for one in found.quantities:
        if not one.measured:
            still.setdefault(one.rule_id, []).append(one.settings[-1] if one.worst else "no clip")
    if still:
        said = "; ".join(f"{name} ({', '.join(some)})" for name, some in still.items())
        yield ""
        yield from wrapped(f"Nothing of a size was measured for: {said}.", width)
    if found.left_out:
        yield ""
        yield f"Left out, since no rule could judge them: {len(found.left_out)}"
        for place, why in found.left_out[:_MOST_LEFT_OUT]:
            yield from wrapped(f"{prose(place)}: {prose(why)}", width, first="  ", rest="    ")
        if len(found.left_out) > _MOST_LEFT_OUT:
            yield f"  and {len(found.left_out) - _MOST_LEFT_OUT} more"


def _quantity(one: Quantity, width: int, ink: Ink) -> Iterator[str]:
    limits = ", ".join(
        f"{name} {number(value)}" for name, value in zip(one.settings, one.limits, strict=True)
    )
    yield ink.strong(one.rule_id) + f", {one.unit}"
    yield from wrapped(f"today: {limits}", width, first="  ", rest="    ")
    first = min(22, width - _NUMBER * len(_COLUMNS) - 12)
    bars = max(width - first - _NUMBER * len(_COLUMNS) - 4, 5)
    heads = "".join(padded(head, _NUMBER, right=True) for head in _COLUMNS)
    most = max(one.worst)
    yield f"  {padded('part', first)}{heads}  0 to {amount(most, one.unit)}"
    rows = [("worst of each clip", one.worst)]
    rows += [(part_label(part), sizes) for part, sizes in one.by_part.items()]
    for label, sizes in rows:
        cells = [str(len(sizes)), *(number(value) for value in figures(sizes))]
        shown = "".join(padded(cell, _NUMBER, right=True) for cell in cells)
        yield f"  {padded(label, first)}{shown}  {histogram(sizes, most, bars)}".rstrip()


def figures(sizes: Sequence[float]) -> tuple[float, float, float, float]:
    """Median, 90 %, 99 % and the most."""
    at = np.quantile(np.array(sizes), (0.5, 0.9, 0.99, 1.0))
    return float(at[0]), float(at[1]), float(at[2]), float(at[3])


def histogram(sizes: Sequence[float], most: float, bins: int) -> str:
    """Counts from 0 to `most` as bars of eight heights; whatever is there has one."""
    counts, _ = np.histogram(np.array(sizes), bins=bins, range=(0.0, most if most > 0.0 else 1.0))
    top = max(int(counts.max()), 1)
    return "".join(_BARS[-(-int(count) * 8 // top)] for count in counts)


def proposals(
    made: Sequence[Proposal], percentile: float, margin_percent: float, width: int
) -> Iterator[str]:
    """What is proposed, in words: what is loosened first, then what is tightened, what stays."""
    changes = [(one, change) for one in made for change in one.changes]
    looser = [pair for pair in changes if pair[1].looser]
    tighter = [pair for pair in changes if not pair[1].looser]
    share = number(percentile)
    yield from wrapped(
        f"Proposed: the limit that the gate fails on at percentile {share} of the clips' worst "
        f"sizes and {number(margin_percent)} % more, the others in proportion.",
        width,
    )
    if looser:
        yield f"LOOSENED: {counted(len(looser), 'limit')}, which lets through what is found today"
        for one, change in looser:
            yield from _change(one, change, share, width)
    if tighter:
        yield f"Tightened: {counted(len(tighter), 'limit')}"
        for one, change in tighter:
            yield from _change(one, change, share, width)
    if not changes:
        yield "No limit would change."
    staying = [one for one in made if one.stays and one.quantity.measured]
    if staying:
        yield "As they are:"
    for one in staying:
        text = f"{one.quantity.rule_id}, {one.keeps}: {one.stays}"
        yield from wrapped(text, width, first="  ", rest="    ")


def _change(one: Proposal, change: Change, share: str, width: int) -> Iterator[str]:
    unit = change.unit
    how = "in proportion"
    if change.setting == one.keeps:
        clips = counted(len(one.quantity.worst), "clip")
        how = f"percentile {share} of {clips}: {amount(one.at or 0.0, unit)}"
    text = (
        f"{change.rule_id}, {change.setting}: from {number(change.old)} to "
        f"{amount(change.new, unit)} ({how})"
    )
    yield from wrapped(text, width, first="  ", rest="    ")
