"""How much memory a gate takes as the tree grows: the peak must not follow the number of clips.

    python tests/benchmarks/bench_memory.py [clips clips ...]

The same clip is gated many times over, each time as a file of its own, in a process of its own;
the peak is what the system says of that process.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

from clip_files import write
from side_by_side import Figure, told
from walker import walking

COUNTS = (5, 20, 80)
FRAMES = 1_500
# Reports and what each clip tells of its body stay: some tens of kilobytes a clip. Of the clips
# themselves the engine keeps the last few only.
TARGET = 1.1
_GATED = """
import sys
from kinelint.cli import main

def peak():
    try:  # of this program alone: what getrusage says begins with the parent's
        with open("/proc/self/status") as status:
            return next(int(line.split()[1]) * 1024 for line in status if line[:6] == "VmHWM:")
    except OSError:
        import resource
        unit = 1 if sys.platform == "darwin" else 1024
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit

status = main(["gate", sys.argv[1], "--workers", "0", "--quiet"])
print("peak", peak())
sys.exit(0 if status in (0, 1) else status)
"""


def peak_bytes(folder: Path) -> int:
    """The largest resident size of a gate over a folder, all in one process."""
    asked = [sys.executable, "-c", _GATED, str(folder)]
    said = subprocess.run(asked, capture_output=True, text=True, check=False)
    if said.returncode:
        raise SystemExit(said.stdout + said.stderr)
    return int(said.stdout.rpartition("peak ")[2])


def main(counts: tuple[int, ...] = COUNTS, frames: int = FRAMES) -> list[Figure]:
    """Prints the peak for each number of clips, and the last against the first."""
    peaks = []
    print(f"memory of a gate over clips of {frames} frames, in one process")
    with tempfile.TemporaryDirectory() as name:
        write(Path(name) / "one.bvh", walking(frames))
        text = (Path(name) / "one.bvh").read_bytes()
        for count in counts:
            folder = Path(name) / str(count)
            folder.mkdir()
            for number in range(count):
                (folder / f"walk_{number:03}.bvh").write_bytes(text)
            peaks.append(peak_bytes(folder))
            print(f"  {count:4} clips   peak {peaks[-1] / 1e6:7.1f} MB")
    what = f"peak memory of a gate, {counts[-1]} clips / {counts[0]} clips"
    figures: list[Figure] = [(what, peaks[-1] / peaks[0], TARGET, False)]
    print(*map(told, figures), sep="\n")
    return figures


if __name__ == "__main__":
    main(tuple(int(one) for one in sys.argv[1:]) or COUNTS)
