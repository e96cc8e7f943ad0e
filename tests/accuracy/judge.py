"""Judges the rules: how often each is right, on defects that are seeded and on clips as they are.

    python tests/accuracy/judge.py [--quick] [--markdown rules/ACCURACY.md] [--kinds pop,slid]

Clips: those of KINELINT_TEST_DATA (or ../shared/data) and those of example_project.
"""

from __future__ import annotations

import argparse
import datetime
import subprocess
import sys
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from accuracy import judge_tables as tables
from accuracy.clips import Subject, data_folder, subjects
from accuracy.gate_accuracy import CLIPS
from accuracy.kinds import Kind, every
from accuracy.trial import LADDER, RATES_HZ, Trial, trials
from accuracy.untouched import Told, said_of

ROOT = Path(__file__).resolve().parents[2]
# Of the example: people who stand, walk, haul and carry; short ones have no room for seeds.
FERRY = ROOT / "example_project" / "clips"
LEAST_S = 1.5


@lru_cache(maxsize=4)
def clips(folder: str, quick: bool) -> tuple[Subject, ...]:
    """What is seeded: recordings of people, and the example's clips."""
    real = [one for one in _read(Path(folder), (".bvh",)) if one.file in CLIPS]
    made = [one for one in _read(FERRY, (".bvh", ".glb")) if one.motion.clip.duration_s > LEAST_S]
    return tuple(real[::4] + made[::4] if quick else real + made)


def _read(folder: Path, endings: Sequence[str]) -> Iterator[Subject]:
    if folder.is_dir():
        yield from subjects(folder, endings)


Job = tuple[str, str, bool, int, tuple[float, ...], tuple[float, ...], str]


def _of_kind(job: Job) -> list[Trial]:
    name, folder, quick, per, ladder, rates, levels = job
    kind = next(one for one in every() if one.name == name)
    wanted = [level for level in kind.limits if levels == "all"] or [kind.worst]
    return list(trials(kind, clips(folder, quick), per, rates, ladder, wanted))


def seeded(told: argparse.Namespace, kinds: Sequence[Kind]) -> list[Trial]:
    """Every kind, on as many processes as were asked for."""
    ladder = (0.5, 1.25, 2.0) if told.quick else LADDER
    rates = (30.0, 120.0) if told.quick else RATES_HZ
    jobs = [
        (one.name, str(told.folder), told.quick, told.per, ladder, rates, told.levels)
        for one in kinds
    ]
    if told.workers < 2:
        return [one for job in jobs for one in _of_kind(job)]
    with ProcessPoolExecutor(told.workers) as pool:
        return [one for many in pool.map(_of_kind, jobs) for one in many]


def _media_of(folder: Path, media: str) -> tuple[float, list[Told]]:
    minutes, told = 0.0, []
    for one in _read(folder, (f".{media}",)):
        minutes += one.minutes
        told += list(said_of(one))
    return minutes, told


def page(every_trial: Sequence[Trial], told: Sequence[Told], minutes: dict[str, float]) -> str:
    """All tables."""
    parts = [
        "## By rule",
        f"Seeds of {tables.FROM:g} times the limit and above; precision over all sizes. Targets: "
        "recall 0.98, precision 0.95, 95 % of sizes within 10 %, 2 mm or 1 deg (whichever is "
        "most), mean IoU 0.8. Even and odd: halves of the clips by the CRC-32 of the file's name.",
        tables.by_rule(every_trial),
        "## By kind of defect",
        tables.by_kind(every_trial),
        "## Recall by size",
        "Size in multiples of the limit of the level. Below 1 the level is not to be said.",
        tables.recall_over(every_trial, lambda one: one.factor, " x"),
        "## Recall by rate",
        f"Sizes of {tables.FROM:g} times the limit and above.",
        tables.recall_over(
            [one for one in every_trial if one.factor >= tables.FROM],
            lambda one: one.rate_hz, " Hz",
        ),
    ]  # fmt: skip
    if minutes:
        parts += ["## Real clips as they are", tables.untouched(told, minutes)]
    return "\n\n".join(parts) + "\n"


def _commit() -> str:
    asked = ("git", "-C", str(ROOT), "describe", "--always", "--dirty", "--exclude", "*")
    done = subprocess.run(asked, capture_output=True, text=True, check=False)
    return done.stdout.strip() or "unknown"


def _head(told: argparse.Namespace, commit: str) -> str:
    command = "python tests/accuracy/judge.py" + (" --quick" if told.quick else "")
    return (
        "# How often each rule is right\n\n"
        f"<!-- Made by `{command} --per {told.per} --markdown rules/ACCURACY.md`. -->\n\n"
        f"Made on {datetime.date.today()} by `{command} --per {told.per}` at commit "
        f"{commit}. Defects of known kind, place and size are put into open recordings and "
        "into the clips of the example, and each rule is asked about them with its defaults. A "
        "seed is found if findings of the level name its part and cover half of its frames. "
        "Findings that are neither about the seed nor said of the untouched clip count against "
        "precision; IoU is their frames against the seeded ones.\n\n"
    )


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer clips, sizes and rates")
    parser.add_argument("--folder", type=Path, default=data_folder())
    parser.add_argument("--kinds", default="", help="names, divided by commas; all by default")
    parser.add_argument("--rules", default="", help="ids of rules, divided by commas")
    parser.add_argument("--per", type=int, default=3, help="seeds of each kind, size and rate")
    parser.add_argument("--levels", choices=("worst", "all"), default="worst")
    parser.add_argument("--workers", type=int, default=1)
    parser.add_argument("--no-untouched", action="store_true")
    parser.add_argument("--markdown", type=Path, help="write the page here")
    parser.add_argument("--misses", type=Path, help="write seeds that were missed here")
    told = parser.parse_args(arguments)
    names, rules = (set(filter(None, one.split(","))) for one in (told.kinds, told.rules))
    kinds = [
        one
        for one in every()
        if (not names or one.name in names) and (not rules or one.rule in rules)
    ]
    # Others may commit while it runs.
    commit = _commit()
    tried = seeded(told, kinds)
    as_they_are: list[Told] = []
    minutes: dict[str, float] = {}
    if not told.no_untouched and told.folder.is_dir():
        for media in ("bvh", "glb"):
            minutes[media], more = _media_of(told.folder, media)
            as_they_are += more
    text = page(tried, as_they_are, minutes)
    print(text)
    print("\n".join(tables.lines_of(as_they_are)))
    if told.markdown:
        told.markdown.write_text(_head(told, commit) + text, encoding="utf-8")
    if told.misses:
        missed = [one for one in tried if one.factor >= tables.FROM and not one.found]
        wrong = [one for one in tried if one.false]
        told.misses.write_text("\n".join(map(str, [*missed, "false:", *wrong])), encoding="utf-8")


if __name__ == "__main__":
    main()
