"""The sizes that a tree's clips measure: what the reports of the probes say of each quantity."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from kinelint.calibrate.probe import Limits, Probe, settings_of
from kinelint.policy import Policy
from kinelint.report import ClipReport, Located, Outcome, Report, RuleResult
from kinelint.rule import RuleSettings, unit_of

_JUDGED = (Outcome.PASSED, Outcome.FAILED)

# An asset's path and a clip's name.
Clip = tuple[str, str]


@dataclass(frozen=True)
class Quantity:
    """What one group of limits measures over all clips.

    Attributes:
        rule_id: the rule.
        settings: names of the limits, in rising order of level.
        limits: what they are today.
        unit: of all sizes.
        worst: the largest size in each clip that the rule judged, 0 where there was none.
        by_part: the same for each part that has sizes, without clips in which it has none.
        least: smaller sizes than this are not seen.
    """

    rule_id: str
    settings: Limits
    limits: tuple[float, ...]
    unit: str
    worst: tuple[float, ...]
    by_part: dict[str, tuple[float, ...]]
    least: float

    @property
    def measured(self) -> bool:
        """Whether there is any size."""
        return bool(self.by_part)


@dataclass(frozen=True)
class Study:
    """All quantities of a tree, and how much there is of it.

    `left_out` names the clips and files that no rule could judge, each with the reason.
    """

    quantities: tuple[Quantity, ...]
    clips: int
    seconds: float
    left_out: tuple[tuple[str, str], ...] = ()


def study(policy: Policy, runs: Sequence[tuple[Probe, Report]]) -> Study:
    """What the clips measure.

    Args:
        policy: the one that the probes were made from.
        runs: each probe with what it found, all over the same files.
    """
    judged: dict[tuple[str, str], dict[Clip, float]] = defaultdict(dict)
    sizes: dict[tuple[str, str], dict[tuple[Clip, str], float]] = defaultdict(dict)
    for probe, report in runs:
        for clip, one, result in _results(report):
            lowered = probe.lowered.get(result.rule_id, {})
            if lowered and result.outcome in _JUDGED:
                for setting in lowered:
                    judged[result.rule_id, setting][clip] = one.duration_s
                times = multipliers(settings_of(policy, result.rule_id))
                for found in result.findings:
                    _add(sizes[result.rule_id, found.setting], clip, found, lowered, times)
    made = tuple(_quantities(policy, runs[0][0], judged, sizes))
    seconds = {clip: time for some in judged.values() for clip, time in some.items()}
    left_out = tuple(_left_out(runs[0][1], seconds))
    return Study(made, len(seconds), sum(seconds.values()), left_out)


def size_of(found: Located, low: float, times: Sequence[float] = ()) -> float | None:
    """What the setting would have to be to let a finding through; None if it cannot be told.

    That is what was measured, but for two kinds of limits: a margin is added to a range, and some
    parts have limits so many times as high.

    Args:
        found: with its limit, which comes from a setting.
        low: what the setting was.
        times: by how much the rule may have multiplied it.
    """
    if found.measured is None or found.limit is None or found.unit != unit_of(found.setting):
        return None
    measured, limit = abs(found.measured), abs(found.limit)
    if "margin" in found.setting.split("_"):
        return max(measured - limit + low, 0.0)
    return measured / next((one for one in times if math.isclose(limit, low * one)), 1.0)


def multipliers(settings: RuleSettings) -> tuple[float, ...]:
    """The settings of a rule that multiply limits: their names end in "times"."""
    values = settings.model_dump()
    return tuple(float(values[name]) for name in values if name.endswith("_times"))


def _results(report: Report) -> Iterator[tuple[Clip, ClipReport, RuleResult]]:
    for asset in report.assets:
        for clip in asset.clips:
            for result in clip.results:
                yield (asset.path, clip.name), clip, result


def _add(
    sizes: dict[tuple[Clip, str], float],
    clip: Clip,
    found: Located,
    lowered: Mapping[str, float],
    times: Sequence[float],
) -> None:
    low = lowered.get(found.setting)
    size = None if low is None else size_of(found, low, times)
    if size is not None:
        key = clip, found.parts[0]
        sizes[key] = max(sizes.get(key, 0.0), size)


def _quantities(
    policy: Policy,
    first: Probe,
    judged: dict[tuple[str, str], dict[Clip, float]],
    sizes: dict[tuple[str, str], dict[tuple[Clip, str], float]],
) -> Iterator[Quantity]:
    for name, lowered in first.lowered.items():
        settings = settings_of(policy, name)
        for group in policy.rules[name].rule.limits:
            if group[0] not in lowered:
                continue
            worst = dict.fromkeys(judged[name, group[0]], 0.0)
            parts: dict[str, dict[Clip, float]] = defaultdict(dict)
            for setting in group:
                for (clip, part), size in sizes[name, setting].items():
                    worst[clip] = max(worst[clip], size)
                    parts[part][clip] = max(parts[part].get(clip, 0.0), size)
            yield Quantity(
                rule_id=name,
                settings=group,
                limits=tuple(float(getattr(settings, one)) for one in group),
                unit=unit_of(group[0]),
                worst=tuple(worst.values()),
                by_part={part: tuple(parts[part].values()) for part in sorted(parts)},
                least=lowered[group[0]],
            )


def _left_out(report: Report, judged: Iterable[Clip]) -> Iterator[tuple[str, str]]:
    known = set(judged)
    for asset in report.assets:
        for trouble in asset.troubles:
            if trouble.kind in ("unreadable-asset", "lost-worker") and not trouble.clip:
                yield asset.path, trouble.text
        for clip in asset.clips:
            if (asset.path, clip.name) not in known:
                reasons = [one.reason for one in clip.results if one.reason]
                why = max(set(reasons), key=reasons.count) if reasons else "no rule judged it"
                yield f"{asset.path}#{clip.name}", why
    for trouble in report.troubles:
        yield trouble.path, trouble.text
