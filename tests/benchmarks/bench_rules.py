"""The six rules of the first gate on one long motion, against kinematics and capsules alone.

    python tests/benchmarks/bench_rules.py [frames]

The motion is a walk of a figure of 66 joints whose hands and feet have translation keys and that
is called a loop, so that every rule has something to judge. Each run starts from the clip: what
the rules share is derived once a run, as in the gate.
"""

from __future__ import annotations

import sys
import time
from statistics import median

from bench_kinematics import ours, pairs_of
from side_by_side import Figure, one_core, seconds, told
from walker import figure, motion, walking

from kinelint import registry
from kinelint.clip import Clip
from kinelint.engine.judge import judge
from kinelint.policy import SettledRule
from kinelint.report import Outcome

FRAMES = 100_000
REPEATS = 5
FIRST = (
    "foot-slide",
    "ground-contact",
    "joint-limit",
    "limb-stretch",
    "loop-seam",
    "penetration",
)
TARGET = 4.0


def demands() -> list[SettledRule]:
    """These rules with their defaults."""
    known = registry.load()
    return [SettledRule(known[name].rule, known[name].rule.settings_type()) for name in FIRST]


def each_rule(clip: Clip) -> dict[str, float]:
    """Seconds of each part of one run: what all rules need first, then rule by rule."""
    made = motion(clip, figure())
    spent = {"forward kinematics": seconds(lambda: made.positions_m)}
    for one in demands():
        start = time.perf_counter()
        said = judge(made, one)
        spent[one.rule.id] = time.perf_counter() - start
        if said.outcome not in (Outcome.PASSED, Outcome.FAILED):
            raise SystemExit(f"{one.rule.id}: {said.outcome.value}, {said.reason}")
    return spent


def main(frames: int = FRAMES, repeats: int = REPEATS) -> list[Figure]:
    """Prints what each rule takes, and all of them against the kernels alone."""
    clip, body = walking(frames), figure().body
    assert body is not None
    pairs = pairs_of(body)
    kernels: list[float] = []
    runs: list[dict[str, float]] = []
    with one_core():
        each_rule(clip)  # imports and first use happen here
        for _ in range(repeats):
            kernels.append(sum(ours(clip, body, pairs)[:2]))
            runs.append(each_rule(clip))
    kernels_s = median(kernels)
    rules_s = median(sum(run.values()) for run in runs)
    fastest = min(runs, key=lambda run: sum(run.values()))
    print(f"six rules, {len(clip.skeleton)} joints, {frames} frames, {len(body.pairs)} pairs")
    for name, spent_s in fastest.items():
        print(f"  {name:24}{spent_s:8.3f} s")
    print(f"  {'all, median':24}{rules_s:8.3f} s")
    print(f"  kinematics and {len(pairs)} pairs {kernels_s:7.3f} s")
    figures: list[Figure] = [
        ("six rules / kinematics and capsules", rules_s / kernels_s, TARGET, False)
    ]
    print(*map(told, figures), sep="\n")
    return figures


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:]))
