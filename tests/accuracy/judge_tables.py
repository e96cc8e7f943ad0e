"""The figures of many trials as tables in Markdown."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from accuracy.kinds import UNSEEDED
from accuracy.trial import RULE, Trial
from accuracy.untouched import LEAST_REAL, MOST_A_MINUTE, Told, a_minute, reviewed, verdict
from kinelint.finding import Level

# Of the issue, for seeds of 1.25 times the limit and above.
LEAST = {"recall": 0.98, "precision": 0.95, "IoU": 0.8}
FROM = 1.25


def within(one: Trial) -> bool:
    """The size is right to 10 %, 2 mm or 1 deg, whichever is most."""
    least = {"mm": 2.0, "deg": 1.0}.get(one.unit, 0.0)
    return abs(one.off) <= max(0.1 * abs(one.size), least)


@dataclass(frozen=True)
class Figures:
    """Of some trials: those of `FROM` times the limit and above count for all but precision."""

    seeds: int
    recall: float
    halves: tuple[float, float]
    precision: float
    off: float
    sized: float
    iou: float

    @classmethod
    def of(cls, trials: Sequence[Trial]) -> Figures:
        big = [one for one in trials if one.factor >= FROM]
        told = sum(one.told for one in trials)
        sizes = [one for one in big if np.isfinite(one.off)]
        part = np.array([abs(one.off) / abs(one.size) for one in sizes])
        ious = [one.iou for one in big if np.isfinite(one.iou)]
        return cls(
            len(big),
            _mean(one.found for one in big),
            tuple(_mean(one.found for one in big if one.even is half) for half in (True, False)),
            1.0 - sum(one.false for one in trials) / told if told else np.nan,
            float(np.quantile(part, 0.95)) if part.size else np.nan,
            _mean(within(one) for one in sizes),
            _mean(ious),
        )  # type: ignore[arg-type]

    @property
    def misses(self) -> list[str]:
        """Targets that are not met."""
        found = {"recall": self.recall, "precision": self.precision, "IoU": self.iou}
        out = [name for name, value in found.items() if value < LEAST[name]]
        # Of the sizes one in twenty may be further off.
        return out + (["size"] if self.sized < 0.95 else [])


def _mean(values: Iterable[float | bool]) -> float:
    every = list(values)
    return float(np.mean(every)) if every else float("nan")


def _cell(value: float, digits: int = 3) -> str:
    return f"{value:.{digits}f}" if np.isfinite(value) else "–"


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [f"| {' | '.join(head)} |", f"| {' | '.join('---' for _ in head)} |"]
    return "\n".join([*lines, *(f"| {' | '.join(row)} |" for row in rows)])


def by_rule(trials: Sequence[Trial]) -> str:
    """One line a rule, every built-in one."""
    head = (
        "rule", "seeds", "recall", "recall, even / odd", "precision", "size error, 95 %",
        "sizes within", "IoU", "targets missed",
    )  # fmt: skip
    mine = {rule: [one for one in trials if one.rule == rule] for rule in sorted(RULE)}
    return _table(head, [_row(rule, many) for rule, many in mine.items()])


def by_kind(trials: Sequence[Trial]) -> str:
    """One line a kind."""
    head = (
        "kind", "seeds", "recall", "recall, even / odd", "precision", "size error, 95 %",
        "sizes within", "IoU", "targets missed",
    )  # fmt: skip
    kinds = dict.fromkeys((one.rule, one.kind) for one in trials)
    return _table(
        head,
        [_row(f"{rule}: {kind}", [t for t in trials if t.kind == kind]) for rule, kind in kinds],
    )


def _row(name: str, mine: Sequence[Trial]) -> list[str]:
    if not mine:
        return [name, "0", *["–"] * 6, UNSEEDED.get(name, "not tried")]
    one = Figures.of(mine)
    halves = " / ".join(_cell(value) for value in one.halves)
    return [
        name, str(one.seeds), _cell(one.recall), halves, _cell(one.precision),
        f"{100.0 * one.off:.1f} %" if np.isfinite(one.off) else "–", _cell(one.sized),
        _cell(one.iou), ", ".join(one.misses) or "none",
    ]  # fmt: skip


def recall_over(trials: Sequence[Trial], value: Callable[[Trial], float], name: str) -> str:
    """Recall of every kind by size in limits, or by rate."""
    values = sorted({value(one) for one in trials})
    kinds = dict.fromkeys((one.rule, one.kind, one.level) for one in trials)
    rows = []
    for rule, kind, level in kinds:
        mine = [one for one in trials if (one.kind, one.level) == (kind, level)]
        shares = [_mean(t.found for t in mine if value(t) == at) for at in values]
        rows.append([f"{rule}: {kind}", level.value, *(_cell(share, 2) for share in shares)])
    return _table(("kind", "level", *(f"{at:g}{name}" for at in values)), rows)


def untouched(told: Sequence[Told], minutes: dict[str, float]) -> str:
    """Findings a minute of each level by rule, and what is known of the errors."""
    known = reviewed()
    rows = []
    for rule in sorted(RULE):
        cells = []
        for media, time in minutes.items():
            rate = a_minute([one for one in told if one.media == media], time)[rule]
            cells.append(" / ".join(f"{rate[level]:.1f}" for level in Level))
        rows.append([rule, *cells])
    heads = [f"{media}, {time:.1f} min" for media, time in minutes.items()]
    errors = [one for one in told if one.finding.level is Level.ERROR]
    seen = [verdict(one, known) for one in errors]
    lines = [_table(("errors / warnings / notes a minute", *heads), rows), ""]
    for media, time in minutes.items():
        count = sum(one.media == media for one in errors)
        lines.append(
            f"- {media}: {count} of level error in {time:.2f} minutes, "
            f"{count / max(time, 1e-9):.2f} a minute (at most {MOST_A_MINUTE:g})."
        )
    real, unseen = sum(one is True for one in seen), sum(one is None for one in seen)
    looked = len(seen) - unseen
    lines.append(
        f"- Of {len(seen)} errors {looked} were looked at (`tests/accuracy/reviewed.toml`); "
        f"{real} are real ({_cell(real / max(looked, 1))}, at least {LEAST_REAL:g} wanted)."
    )
    return "\n".join(lines)


def lines_of(told: Sequence[Told]) -> list[str]:
    """Errors that nobody has looked at, as entries of the list to be filled in."""
    known = reviewed()
    out = []
    for one in told:
        if one.finding.level is Level.ERROR and verdict(one, known) is None:
            span = one.finding.span
            out.append(
                f'# {one.finding.message}\n[[finding]]\nclip = "{one.clip}"\nrule = "{one.rule}"\n'
                f'part = "{one.finding.parts[0]}"\nfirst = {span.first}\nlast = {span.last}\n'
                "# real = …\n# why = …\n"
            )
    return out
