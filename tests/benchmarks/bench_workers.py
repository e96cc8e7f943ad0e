"""What a second worker brings on a tree of many clips.

    python tests/benchmarks/bench_workers.py [clips] [repeats]

Both runs are whole commands, start-up and reports included. A machine with two cores that are
busy otherwise cannot show it: look at the load beside the figure.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from clip_files import write_walks
from side_by_side import Figure, in_turns, load, told

CLIPS = 200
REPEATS = 3
TARGET = 1.6


def gate(folder: Path, workers: int) -> None:
    """The whole command."""
    asked = [sys.executable, "-m", "kinelint", "gate", str(folder), "--quiet"]
    said = subprocess.run(
        [*asked, "--workers", str(workers)], capture_output=True, text=True, check=False
    )
    if said.returncode not in (0, 1):
        raise SystemExit(said.stdout + said.stderr)


def main(
    clips: int = CLIPS, repeats: int = REPEATS, frames: tuple[int, int] = (300, 600)
) -> list[Figure]:
    """Prints seconds for one and for two workers."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_walks(folder, clips, frames, fingers=True)
        one_s, two_s = in_turns(repeats, lambda: gate(folder, 1), lambda: gate(folder, 2))
    print(f"{clips} clips of {frames[0]} to {frames[1]} frames; {load()}")
    print(f"  one worker {one_s:7.2f} s   two workers {two_s:7.2f} s")
    figures: list[Figure] = [("two workers, times as fast as one", one_s / two_s, TARGET, True)]
    print(*map(told, figures), sep="\n")
    return figures


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:]))
