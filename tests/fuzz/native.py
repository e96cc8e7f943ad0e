"""Fuzzing of formats that are read in a child process: mutations alone, without coverage.

A native library cannot be instrumented from here, and a crash of it is nothing new: what is tried
is that whatever the file does to the child comes out as one typed error, and that the next file is
read. So this needs no atheris.
"""

from __future__ import annotations

import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

from fuzz.found import Found
from hostile import oracle
from hostile.mutations import mutated
from hostile.seeds import ENDINGS, SEEDS

MOST = 16_384


def fuzz(kind: str, seconds: int, seed: int, found: Path) -> tuple[int, Counter[str]]:
    """Tries mutations for some seconds; how many, and how often each outcome came.

    Afterwards the sound seeds must still be read.
    """
    random, keep = Random(seed), Found(kind, found)
    seeds = list(SEEDS[kind]().values())
    came: Counter[str] = Counter()
    ends, tried = time.monotonic() + seconds, 0
    with tempfile.TemporaryDirectory() as folder:
        while time.monotonic() < ends or tried < len(seeds):
            data = random.choice(seeds)
            data = seeds[tried] if tried < len(seeds) else mutated(kind, data, random)[:MOST]
            path = written(kind, data, folder)
            with keep.fault(data):
                came[outcome(path)] += 1
            tried += 1
        for data in seeds:
            path = written(kind, data, folder)
            with keep.fault(data):
                oracle.hold(outcome(path) == "read", "a sound file is not read any more")
    return tried, came


def written(kind: str, data: bytes, folder: str) -> Path:
    """The file; USD itself reads packages by their own ending only."""
    path = Path(folder, "input.usdz" if data[:2] == b"PK" else f"input{ENDINGS[kind]}")
    path.write_bytes(data)
    return path


def outcome(path: Path) -> str:
    """What came of a file, in a word or two."""
    result = oracle.read_and_check(path, oracle.TIGHT_NATIVE)
    if not isinstance(result, oracle.AssetError):
        return "read"
    for word in ("crashed", "more than the", "memory", "ended"):
        if word in result.what:
            return f"refused: {word}"
    return "refused"
