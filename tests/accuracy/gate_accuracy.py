"""How much of what is seeded into real clips the gate finds, and what else it says.

    python tests/accuracy/gate_accuracy.py [--kinds slid,sunk] [--rates 30,60,120] [--misses FILE]

Recall is the share of seeds for which a finding of the right rule names the right part, covers
half of the seeded frames or more, and has at least the level whose limit the seed passes.
"""

from __future__ import annotations

import argparse
import sys
import zlib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from accuracy.clips import Subject, data_folder, subjects
from accuracy.kinds import Maker, first_six
from accuracy.score import Outcome, judged, taken
from accuracy.seed_loops import clean_loop
from kinelint.finding import Level

# Clips of people who stand or walk, run, step or gesture, with feet that bear as people's do.
CLIPS = (
    "accad_male1_a2_sway",
    "accad_male1_a5_pickupbox",
    "accad_male1_b17_walk2hop2walk",
    "accad_male1_b22_sidestepleft",
    "accad_male1_b3_walk",
    "accad_male2_b3_walk",
    "accad_male2_e1_jableft",
    "accad_male2_e8_bounce",
    "accad_male2_g2_frontkick",
    "cmu_02_01_walk",
    "cmu_12_01_walk_tpose0",
    "cmu_131_01_start_walk_stop",
    "cmu_135_04_frontkick_zup",
    "cmu_13_26_gestures_trim1000",
    "cmu_14_14_jumping_jacks_30fps",
    "fair1_dab_zup",
    "fair1_zombie_zup",
)
FACTORS = (1.25, 1.5, 2.0, 3.0)
ERROR, WARNING, NOTE = Level.ERROR, Level.WARNING, Level.NOTE


def limits() -> dict[str, dict[Level, float]]:
    """The limits of every kind that the first six rules find, from the rules' defaults."""
    return {kind.name: dict(kind.limits) for kind in first_six()}


def makers() -> dict[str, Maker]:
    """Kind to what seeds it: of a subject, a side, a size, the limit, and chance."""
    return {kind.name: kind.make for kind in first_six()}


def outcomes(
    subject: Subject,
    kinds: Sequence[str],
    rates: Sequence[float],
    factors: Sequence[float] = FACTORS,
    levels: Sequence[Level] = (NOTE, WARNING, ERROR),
    per: int = 1,
) -> Iterator[Outcome]:
    """Seeds of every kind, size and side in one clip, each judged at every rate."""
    own = subject.motion.sample_rate_hz
    every_rate = [own, *(rate for rate in rates if abs(rate - own) > 2.0)]
    made, known = makers(), limits()
    for kind in kinds:
        for level, limit in known[kind].items():
            if level not in levels:
                continue
            for factor in factors:
                for number in range(per):
                    for side in ("left", "right"):
                        word = f"{subject.name} {kind} {level} {factor} {number} {side}"
                        chance = np.random.default_rng(zlib.crc32(word.encode()))
                        seed = made[kind](subject, side, limit * factor, limit, chance)
                        if seed is None or (seed.rule != "loop-seam" and taken(subject, seed)):
                            continue
                        for rate in every_rate:
                            yield judged(subject, seed, rate, level, factor)


def clean_loops(subject: Subject, per: int = 3) -> Iterator[Outcome]:
    """Loops that close: nothing is to be found."""
    for short in (False, True):
        for number in range(per):
            chance = np.random.default_rng(zlib.crc32(f"{subject.name} {number}".encode()))
            seed = clean_loop(subject.motion.clip, subject.figure, chance, short)
            if seed is not None:
                yield judged(subject, seed, subject.motion.sample_rate_hz, NOTE, 0.0)


def report(every: Sequence[Outcome]) -> None:
    """Recall by kind, level and factor, size errors, and recall by rate."""
    groups: dict[tuple[str, Level, float], list[Outcome]] = defaultdict(list)
    for one in every:
        groups[one.seed.kind, one.level, one.factor].append(one)
    print(f"{'kind':38}{'limit':>9}{'times':>7}{'seeds':>7}{'recall':>8}  size error: median, 90 %")
    for (kind, level, factor), mine in sorted(groups.items(), key=lambda row: str(row[0])):
        off = np.array([one.off for one in mine if np.isfinite(one.off)])
        share = np.mean([one.found for one in mine])
        sizes = f"{np.median(off):8.2f}{np.quantile(np.abs(off), 0.9):8.2f}" if off.size else ""
        unit = mine[0].seed.unit
        print(f"{kind:38}{level:>9}{factor:7.2f}{len(mine):7}{share:8.3f}  {sizes} {unit}")
    print()
    kinds = sorted({one.seed.kind for one in every})
    for kind in kinds:
        cells = []
        for rate in sorted({round(one.rate_hz / 10) * 10 for one in every}):
            mine = [o for o in every if o.seed.kind == kind and abs(o.rate_hz - rate) < 5]
            if mine:
                cells.append(f"{rate} Hz {np.mean([o.found for o in mine]):.3f} of {len(mine)}")
        print(f"{kind:38}{'; '.join(cells)}")
    seeds = [one for one in every if one.collateral]
    print(f"\nseeds with other new error findings: {len(seeds)}")


def explained(one: Outcome) -> str:
    """One miss, for a reader who wants to see it."""
    seed, rate = one.seed, one.rate_hz
    span = f"frames {seed.first_s * rate:.0f}-{seed.last_s * rate:.0f} at {rate:.0f} Hz"
    told = one.rest if one.finding is None else (one.finding,)
    near = [
        f"    {o.level} {o.span.first}-{o.span.last} {','.join(o.parts)}: {o.message}" for o in told
    ]
    head = (
        f"{one.subject.name}: {seed.kind} {seed.size:.1f} {seed.unit} "
        f"({one.factor} x {one.level}), {span}; {seed.detail}"
    )
    return "\n".join([head, *near[:6]])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--folder", default="")
    parser.add_argument("--kinds", default=",".join(limits()))
    parser.add_argument("--rates", default="30,60,120")
    parser.add_argument("--factors", default="1.25,1.5,2,3")
    parser.add_argument("--levels", default="note,warning,error")
    parser.add_argument("--clips", default=",".join(CLIPS))
    parser.add_argument("--per", type=int, default=1)
    parser.add_argument("--misses", default="")
    told = parser.parse_args()
    every: list[Outcome] = []
    clean: list[Outcome] = []
    for subject in subjects(data_folder([told.folder] if told.folder else ()), (".bvh",)):
        if subject.file not in told.clips.split(","):
            continue
        every += outcomes(
            subject,
            told.kinds.split(","),
            [float(rate) for rate in told.rates.split(",") if rate],
            [float(factor) for factor in told.factors.split(",")],
            [Level(level) for level in told.levels.split(",")],
            told.per,
        )
        if any(kind.startswith("loop") for kind in told.kinds.split(",")):
            clean += clean_loops(subject)
    report(every)
    if clean:
        said = [one for one in clean if one.rest]
        print(f"clean loops: {len(clean)}, of which something is said of {len(said)}")
    if told.misses:
        text = [explained(one) for one in every if not one.found]
        text += [explained(one) for one in clean if one.rest]
        text += [
            f"collateral: {one.subject.name} {one.seed.kind} {one.seed.detail}: "
            + "; ".join(f"{rule} {o.span} {o.message}" for rule, o in one.collateral)
            for one in every
            if one.collateral
        ]
        Path(told.misses).write_text("\n".join(text) + "\n")


if __name__ == "__main__":
    main()
