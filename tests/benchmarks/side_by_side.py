"""What the benchmarks share: one thread, one core, and pairs that are timed turn by turn."""

from __future__ import annotations

import os
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

# Read when numpy is imported: import this module first.
for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

# (what is measured, value, target, whether the target is a least value)
Figure = tuple[str, float, float, bool]


@contextmanager
def one_core() -> Iterator[None]:
    """Keeps this process on one core, where the system can."""
    if not hasattr(os, "sched_setaffinity"):
        yield
        return
    before = os.sched_getaffinity(0)
    os.sched_setaffinity(0, {max(before)})
    try:
        yield
    finally:
        os.sched_setaffinity(0, before)


def seconds(work: Callable[[], object]) -> float:
    """Of one run."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def in_turns(repeats: int, *works: Callable[[], object]) -> list[float]:
    """Median seconds of each work, timed A, B, A, B, …: what else the machine does hits all."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(repeats):
        for one, work in zip(times, works, strict=True):
            one.append(seconds(work))
    return [statistics.median(one) for one in times]


def load() -> str:
    """How busy the machine is, for the reader of a figure."""
    busy = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    return f"{os.cpu_count()} cores, load {busy:.1f}, Python {sys.version.split()[0]}"


def told(figure: Figure) -> str:
    """One line: what, value, target, whether it was reached."""
    what, value, target, at_least = figure
    reached = value >= target if at_least else value <= target
    way = "at least" if at_least else "at most"
    return f"{what:52}{value:9.2f}   {way} {target:g}   {'reached' if reached else 'MISSED'}"
