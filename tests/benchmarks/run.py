"""Every benchmark, one after the other, and a table of figures against their targets.

    python tests/benchmarks/run.py [--quick]

Pairs are timed turn by turn in one run, in one thread; ratios hold on other machines, seconds do
not. `--quick` runs small sizes, to see that everything works: its figures mean nothing.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from side_by_side import Figure, load, one_core, told


def kinematics(quick: bool) -> Iterator[Figure]:
    """Forward kinematics and capsule depths against MuJoCo's loop."""
    import bench_kinematics

    with one_core():
        ratios = bench_kinematics.main(200 if quick else bench_kinematics.FRAMES)
    yield "kinematics and capsules / MuJoCo's loop", ratios["together"], 1.0, False


def rules(quick: bool) -> Iterator[Figure]:
    """All rules against those kernels."""
    import bench_rules

    yield from bench_rules.main(600, 1) if quick else bench_rules.main()


def mesh(quick: bool) -> Iterator[Figure]:
    """Depths on a skin against a signed-distance query in each frame."""
    import bench_mesh

    yield from bench_mesh.main(8, 1) if quick else bench_mesh.main()


def memory(quick: bool) -> Iterator[Figure]:
    """A gate's peak as the tree grows."""
    import bench_memory

    yield from bench_memory.main((1, 2), 60) if quick else bench_memory.main()


def bvh(quick: bool) -> Iterator[Figure]:
    """Reading BVH against NumPy's reading of the same text."""
    import bench_bvh

    joints, frames, repeats = (3, 2_000, 1) if quick else (60, 5_000, 5)
    with one_core():
        yield (
            "BVH block, times as fast as numpy.fromstring",
            bench_bvh.parse_ratio(joints, frames, repeats),
            2.5,
            True,
        )
        multiple = bench_bvh.memory_multiple(joints, frames)
        yield "BVH file, peak memory / arrays that come out", multiple, 4.0, False


def readers(quick: bool) -> Iterator[Figure]:
    """Each format's file against general-purpose readers of the same numbers."""
    import bench_readers

    yield from bench_readers.main(60, 3, 1) if quick else bench_readers.main()


def start(quick: bool) -> Iterator[Figure]:
    """How soon the command line answers."""
    import bench_start

    yield from bench_start.main(1) if quick else bench_start.main()


def workers(quick: bool) -> Iterator[Figure]:
    """Two workers against one."""
    import bench_workers

    yield from bench_workers.main(3, 1, (60, 90)) if quick else bench_workers.main()


EACH = (kinematics, rules, mesh, memory, bvh, readers, start, workers)


def main(quick: bool = False) -> list[Figure]:
    """Runs all, prints the table, and returns it."""
    print(load())
    figures: list[Figure] = []
    for one in EACH:
        print(f"\n{(one.__doc__ or '').strip()}")
        figures += one(quick)
    print(f"\n{load()}")
    print(*map(told, figures), sep="\n")
    return figures


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--quick", action="store_true", help="small sizes; figures mean nothing")
    main(parser.parse_args().quick)
