"""What kept a run from being complete, each once, wherever the report says it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from kinelint.report import AssetReport, ClipReport, Outcome, Report, RuleResult, Trouble

CRASHED = "crashed-rule"
REQUIRED = "required-rule"
UNREADABLE = "unreadable-asset"


@dataclass(frozen=True)
class Incidents:
    """The troubles of a report: by the path of their asset, and those of the run itself."""

    by_path: dict[str, tuple[Trouble, ...]]
    of_run: tuple[Trouble, ...]

    def __iter__(self) -> Iterator[Trouble]:
        yield from self.of_run
        for path in sorted(self.by_path):
            yield from self.by_path[path]

    def __len__(self) -> int:
        return sum(1 for _ in self)


def incidents(report: Report) -> Incidents:
    """All troubles of the report, and those that only a rule's outcome tells."""
    found = dict.fromkeys(report.troubles)
    told = {_key(one) for one in report.troubles}
    for asset in report.assets:
        for one in asset.troubles:
            here = one if one.path else replace(one, path=asset.path)
            found[here] = None
            told.add(_key(here))
        for made in _of_outcomes(asset):
            if _key(made) not in told:
                found[made] = None
    by_path: dict[str, list[Trouble]] = {}
    for one in sorted(found, key=_order):
        by_path.setdefault(one.path, []).append(one)
    of_run = tuple(by_path.pop("", ()))
    return Incidents({path: tuple(ones) for path, ones in by_path.items()}, of_run)


def _of_outcomes(asset: AssetReport) -> Iterator[Trouble]:
    for clip in asset.clips:
        for result in clip.results:
            if result.outcome is Outcome.CRASHED:
                yield _made(CRASHED, f"rule {result.rule_id} crashed", asset, clip, result)
            elif result.outcome is Outcome.NOT_APPLICABLE and result.required:
                text = f"rule {result.rule_id} is required here and could not judge"
                yield _made(REQUIRED, text, asset, clip, result)


def _made(
    kind: str, text: str, asset: AssetReport, clip: ClipReport, result: RuleResult
) -> Trouble:
    text = f"{text}: {result.reason}" if result.reason else text
    return Trouble(
        kind, text, asset.path, clip=clip.name, rule_id=result.rule_id, details=result.details
    )


def _key(one: Trouble) -> tuple[str, str, str, str]:
    return one.kind, one.path, one.clip, one.rule_id


def _order(one: Trouble) -> tuple[str, ...]:
    return one.path, one.clip, one.rule_id, one.kind, one.place, one.text
