"""Time and memory that an input may take."""

from __future__ import annotations

import signal
import tracemalloc
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from hostile.oracle import TIGHT, Broken, hold
from kinelint.readers import ReadOptions

LONGEST_S = 20.0
# What parsing takes for each byte of a file, in the worst files known, and for any file.
TIMES_SIZE = 50
ALWAYS_BYTES = 8 << 20


@contextmanager
def in_time(seconds: float = LONGEST_S) -> Iterator[None]:
    """Raises Broken where the inside takes longer; does nothing where there is no alarm."""
    if not hasattr(signal, "setitimer"):
        yield
        return

    def ring(*_: object) -> None:
        raise Broken(f"took more than {seconds:g} s")

    before = signal.signal(signal.SIGALRM, ring)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


@contextmanager
def in_memory(path: Path, options: ReadOptions = TIGHT) -> Iterator[None]:
    """Raises Broken where the peak is beyond what DEVELOPERS.md promises for the file."""
    size = path.stat().st_size
    allowed = ALWAYS_BYTES + TIMES_SIZE * size + 2 * options.memory_for(size)
    with below(allowed):
        yield


@contextmanager
def below(most: int) -> Iterator[None]:
    """Raises Broken where the inside allocates more at a time; numpy's arrays count."""
    tracemalloc.start()
    try:
        yield
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    hold(peak <= most, f"took {peak >> 20} MB, more than {most >> 20}")
