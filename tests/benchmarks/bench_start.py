"""How soon the command line answers: help, and a gate over one short clip, in a warm cache.

python tests/benchmarks/bench_start.py [repeats]
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from clip_files import write
from side_by_side import Figure, in_turns, told
from walker import walking

HELP_S, GATE_S = 0.3, 1.0
REPEATS = 7


def command(*arguments: str) -> None:
    """Runs kinelint in a process of its own, as a terminal does."""
    asked = [sys.executable, "-m", "kinelint", *arguments]
    said = subprocess.run(asked, capture_output=True, text=True, check=False)
    if said.returncode not in (0, 1):
        raise SystemExit(said.stdout + said.stderr)


def main(repeats: int = REPEATS) -> list[Figure]:
    """Prints seconds for a bare interpreter, help, and the gate."""
    with tempfile.TemporaryDirectory() as name:
        clip = str(Path(name) / "walk.bvh")
        write(Path(clip), walking(120))
        works = (
            lambda: subprocess.run([sys.executable, "-c", ""], check=True),
            lambda: command("--help"),
            lambda: command("gate", clip),
        )
        in_turns(1, *works)  # warms the system's cache of files, and compiles modules once
        bare_s, help_s, gate_s = in_turns(repeats, *works)
    print(f"start-up, a bare interpreter takes {bare_s:.3f} s")
    figures: list[Figure] = [
        ("kinelint --help, seconds", help_s, HELP_S, False),
        ("kinelint gate, one clip of 2 s, seconds", gate_s, GATE_S, False),
    ]
    print(*map(told, figures), sep="\n")
    return figures


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:]))
