"""How fast each format is read, against the fastest general-purpose way to the same numbers.

python tests/benchmarks/bench_readers.py [--frames 1200]

Both sides read one file, turn by turn, in one process (FBX and USD in a child, since the binding
may not be unloaded). What kinelint does beyond the yardstick (checks, rest pose, names, sampling on
one grid, notes) is in its time. Imports and the child's start are not.
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

import reader_files
import reader_yardsticks
from side_by_side import Figure, in_turns, one_core, told
from walker import walking

from kinelint.readers import ReadOptions, read

FRAMES, CLIPS, REPEATS = 1200, 40, 7
# Times as fast as the yardstick, at least: what users of the file wait for is the read.
TARGETS = {"bvh": 1.0, "glb": 5.0, "fbx": 0.3, "usd": 0.5}
_NEEDS = {"fbx": "ufbx", "usd": "pxr"}
_SAID = {
    "bvh": "numpy.fromstring and SciPy's Rotation",
    "glb": "pygltflib and NumPy",
    "fbx": "ufbx alone, baked",
    "usd": "usd-core's queries alone",
}


def main(frames: int = FRAMES, clips: int = CLIPS, repeats: int = REPEATS) -> Iterator[Figure]:
    """Prints the times of each format, and yields its ratio."""
    with tempfile.TemporaryDirectory() as name, one_core():
        folder = Path(name)
        walk, short = walking(frames), walking(max(frames // clips, 3))
        reader_files.bvh(folder / "walk.bvh", walk)
        reader_files.glb(folder / "walk.glb", short, clips)
        bvh, glb = folder / "walk.bvh", folder / "walk.glb"
        yield _figure("bvh", bvh, in_turns_of(bvh, reader_yardsticks.bvh, repeats))
        yield _figure("glb", glb, in_turns_of(glb, reader_yardsticks.glb, repeats))
        ours_s, bare_s = in_turns_of(glb, reader_yardsticks.bare_glb, repeats)
        print(f"glb: json and NumPy without any check {bare_s * 1e3:.1f} ms, {bare_s / ours_s:.2f}")
        for kind, package in _NEEDS.items():
            if importlib.util.find_spec(package) is None:
                print(f"{kind}: {package} is not installed")
                continue
            path = folder / ("walk.fbx" if kind == "fbx" else "walk.usdc")
            yield _figure(kind, path, _in_child(kind, path, frames, repeats))


def in_turns_of(
    path: Path, yardstick: Callable[[Path], object], repeats: int
) -> tuple[float, float]:
    """Median seconds of kinelint and of the yardstick."""
    in_turns(1, lambda: read(path), lambda: yardstick(path))  # imports happen here
    ours_s, theirs_s = in_turns(repeats, lambda: read(path), lambda: yardstick(path))
    return ours_s, theirs_s


def _in_child(kind: str, path: Path, frames: int, repeats: int) -> tuple[float, float]:
    command = [sys.executable, __file__, "--child", kind, str(path), str(frames), str(repeats)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=600)
    if done.returncode:
        raise SystemExit(done.stdout + done.stderr)
    ours_s, theirs_s = json.loads(done.stdout.splitlines()[-1])
    return ours_s, theirs_s


def _child(kind: str, path: Path, frames: int, repeats: int) -> None:
    """Makes the file, times both sides, prints the seconds, and ends without clearing up."""
    walk = walking(frames)
    if kind == "fbx":
        from kinelint.readers.fbx import read_fbx as ours

        reader_files.fbx(path, walk)
    else:
        from kinelint.readers.usd import read_usd as ours

        reader_files.usd(path, walk)
    theirs = getattr(reader_yardsticks, kind)
    works = (lambda: ours(path, ReadOptions()), lambda: theirs(path))
    in_turns(1, *works)
    print(json.dumps(in_turns(repeats, *works)), flush=True)
    os._exit(0)


def _figure(kind: str, path: Path, seconds: tuple[float, float]) -> Figure:
    ours_s, theirs_s = seconds
    print(f"{kind}: kinelint {ours_s * 1e3:.1f} ms, {_SAID[kind]} {theirs_s * 1e3:.1f} ms")
    what = f"{kind}, times as fast as {_SAID[kind]}"
    return what, theirs_s / ours_s, TARGETS[kind], True


if __name__ == "__main__":
    if sys.argv[1:2] == ["--child"]:
        _child(sys.argv[2], Path(sys.argv[3]), int(sys.argv[4]), int(sys.argv[5]))
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--frames", type=int, default=FRAMES)
    parser.add_argument("--repeats", type=int, default=REPEATS)
    asked = parser.parse_args()
    print(*map(told, main(asked.frames, repeats=asked.repeats)), sep="\n")
