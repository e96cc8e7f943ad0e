"""Which entries go into a log of code hosts, and which findings get a flow: the worst."""

from __future__ import annotations

import heapq
from collections.abc import Iterable
from dataclasses import dataclass

from kinelint.outputs.sarif.entries import Entry
from kinelint.outputs.sarif.flow import MOST, worth_a_flow
from kinelint.report import Located


@dataclass(frozen=True)
class Choice:
    """By number in log order. `written` is None where everything is."""

    written: frozenset[int] | None
    flows: frozenset[int]
    any_waived: bool
    left_out: int


def choose(every: Iterable[Entry], cap: int | None) -> Choice:
    """One pass over all entries; a cap keeps the worst failures that no waiver lets pass."""
    ranks: list[tuple[float, int]] = []
    flows: list[tuple[float, int]] = []
    any_waived = False
    for number, entry in enumerate(every):
        any_waived = any_waived or entry.waived
        if not entry.fails or (cap is not None and entry.waived):
            continue
        key = (-entry.rank, number)
        if cap is not None:
            ranks.append(key)
        if isinstance(entry.what, Located) and worth_a_flow(entry.what):
            heapq.heappush(flows, (entry.rank, -number))
            if len(flows) > MOST:
                heapq.heappop(flows)
    kept = None if cap is None else frozenset(n for _, n in heapq.nsmallest(cap, ranks))
    left_out = 0 if kept is None else len(ranks) - len(kept)
    return Choice(kept, frozenset(-n for _, n in flows), any_waived, left_out)
