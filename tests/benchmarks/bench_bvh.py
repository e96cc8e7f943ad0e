"""How fast BVH text is read, beside NumPy on the same text in the same run, and in how much memory.

Run it as a script. Targets: the block at least 2.5 times as fast as `numpy.fromstring(sep=" ")`
(a reader in C, general-purpose, of text to floats), and a peak under 4 times the arrays that
come out.
"""

from __future__ import annotations

import argparse
import tempfile
import time
import tracemalloc
from collections.abc import Callable
from pathlib import Path

import numpy as np

from kinelint.kinematics.arrays import Floats
from kinelint.readers import read
from kinelint.readers.numbers import read_block


def figure(joints: int) -> str:
    """A hierarchy of one chain in one root, three rotations a joint."""
    opened = "HIERARCHY\nROOT j0\n{\nOFFSET 0 90 0\nCHANNELS 6 Xposition Yposition Zposition "
    opened += "Zrotation Xrotation Yrotation\n"
    for i in range(1, joints):
        opened += f"JOINT j{i}\n{{\nOFFSET 0 10 0\nCHANNELS 3 Zrotation Xrotation Yrotation\n"
    return opened + "End Site\n{\nOFFSET 0 5 0\n}\n" + "}\n" * joints


def made(joints: int, frames: int) -> tuple[bytes, Floats]:
    """A whole file of smooth motion with six decimals, and its values ``(frames, columns)``."""
    columns = 3 + 3 * joints
    phase = np.random.default_rng(5).uniform(0, 2 * np.pi, columns)
    values = 70.0 * np.sin(np.arange(frames)[:, None] * 0.05 + phase)
    head = f"{figure(joints)}MOTION\nFrames: {frames}\nFrame Time: 0.008333\n"
    row = " ".join(["%.6f"] * columns)
    body = "\n".join(row % tuple(one) for one in values.tolist())
    return (head + body + "\n").encode(), values


def best_s(work: Callable[[], object], repeats: int) -> float:
    """The least time of several runs: the one that others disturbed least."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def yardstick(text: bytes, columns: int) -> Floats:
    """What NumPy makes of the same text."""
    return np.fromstring(text, sep=" ").reshape(-1, columns)


def parse_ratio(joints: int, frames: int, repeats: int) -> float:
    """Prints both times for one block; returns how many times as fast ours is."""
    text, values = made(joints, frames)
    start = text.index(b"\n", text.index(b"Frame Time")) + 1
    body, columns = text[start:], values.shape[1]
    ours = read_block(text, start, 1, columns, frames).values
    if not np.array_equal(ours, yardstick(body, columns)):
        raise SystemExit("the two readings differ")
    ours_s = best_s(lambda: read_block(text, start, 1, columns, frames), repeats)
    numpy_s = best_s(lambda: yardstick(body, columns), repeats)
    each = 1e9 / values.size
    print(f"block of {frames} frames x {columns} numbers, {len(body) / 1e6:.1f} MB of text")
    print(f"  kinelint          {ours_s * each:6.1f} ns a number")
    print(f"  numpy.fromstring  {numpy_s * each:6.1f} ns a number")
    print(f"  times as fast     {numpy_s / ours_s:6.2f}   (target 2.5)")
    return numpy_s / ours_s


def memory_multiple(joints: int, frames: int) -> float:
    """Prints the peak of reading a whole file; returns it over the size of what comes out."""
    text, _ = made(joints, frames)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "made.bvh"
        path.write_bytes(text)
        del text
        read(path)  # imports happen here, and not in the figures
        start = time.perf_counter()
        read(path)
        whole_s = time.perf_counter() - start
        tracemalloc.start()
        clip = read(path).clips[0]
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
    lines = clip.source.frame_lines
    out = clip.rotations.nbytes + clip.translations.nbytes + (0 if lines is None else lines.nbytes)
    print(f"whole file, {joints} joints, {frames} frames: {whole_s * 1e3:.0f} ms")
    print(f"  arrays that come out {out / 1e6:7.1f} MB")
    print(f"  peak while reading   {peak / 1e6:7.1f} MB")
    print(f"  multiple             {peak / out:7.2f}   (target under 4)")
    return peak / out


def main() -> None:
    """Both figures, for a figure of 60 joints."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--frames", type=int, default=5_000)
    parser.add_argument("--joints", type=int, default=60)
    parser.add_argument("--repeats", type=int, default=5)
    asked = parser.parse_args()
    parse_ratio(asked.joints, asked.frames, asked.repeats)
    memory_multiple(asked.joints, asked.frames)


if __name__ == "__main__":
    main()
