"""What the six rules say of real clips as they are.

    python tests/accuracy/originals.py [FOLDER]

prints a table (findings of each rule as errors/warnings/notes) and every finding of level error.
"""

from __future__ import annotations

import sys
from collections import Counter
from collections.abc import Iterable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from accuracy.clips import RULES, Subject, data_folder, errors, said, subjects
from kinelint.finding import Finding, Level

_LEVELS = (Level.ERROR, Level.WARNING, Level.NOTE)


def cell(findings: Iterable[Finding] | None) -> str:
    """Errors/warnings/notes; "-" where the rule does not apply, "." where it finds nothing."""
    if findings is None:
        return "-"
    count = Counter(one.level for one in findings)
    return "/".join(str(count[level]) for level in _LEVELS) if count else "."


def table(rows: Iterable[tuple[Subject, dict[str, list[Finding]]]]) -> list[tuple[Subject, str]]:
    """Prints a line a clip; gives back the error findings as text."""
    heads = "".join(f"{rule:>15}" for rule in RULES)
    print(f"{'clip':42}{'minutes':>8}{heads}{'errors/min':>12}")
    listed = []
    totals: dict[str, tuple[float, int]] = {}
    for subject, found in rows:
        worst = errors(found)
        cells = "".join(f"{cell(found.get(rule)):>15}" for rule in RULES)
        rate = len(worst) / max(subject.minutes, 1e-9)
        print(f"{subject.name[:41]:42}{subject.minutes:8.3f}{cells}{rate:12.1f}", flush=True)
        listed += [(subject, line(rule, one)) for rule, one in worst]
        minutes, errors_so_far = totals.get(subject.media, (0.0, 0))
        totals[subject.media] = (minutes + subject.minutes, errors_so_far + len(worst))
    for media, (minutes, count) in totals.items():
        print(f"{media}: {minutes:.2f} minutes, {count} errors, {count / minutes:.2f} a minute")
    return listed


def line(rule: str, one: Finding) -> str:
    span = f"{one.span.first}-{one.span.last}"
    return f"{rule} {span} {', '.join(one.parts)}: {one.message}"


def main() -> None:
    folder = data_folder(sys.argv[1:])
    listed = table((one, said(one.motion)) for one in subjects(folder))
    print()
    for subject, text in listed:
        print(f"{subject.name}: {text}")


if __name__ == "__main__":
    main()
