"""Which results a log will hold, asset by asset, in the order of the log."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeAlias

from kinelint.outputs.incidents import Incidents
from kinelint.outputs.ranking import rank_of
from kinelint.report import AssetReport, ClipReport, Located, Outcome, Report, RuleResult, Trouble


@dataclass(frozen=True, slots=True)
class Unfit:
    """A rule that could not judge a clip, or some parts of it."""

    rule_id: str
    reason: str
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Passed:
    """A rule that judged a clip and found nothing."""

    rule_id: str


Subject: TypeAlias = Located | Trouble | Unfit | Passed


@dataclass(frozen=True, slots=True)
class Entry:
    """One result to come: what, and on which clip of which asset."""

    what: Subject
    asset: AssetReport | None = None
    clip: ClipReport | None = None

    @property
    def fails(self) -> bool:
        """Whether its kind is "fail"."""
        return isinstance(self.what, Located | Trouble)

    @property
    def waived(self) -> bool:
        """Whether a waiver lets it pass."""
        return isinstance(self.what, Located) and bool(self.what.waived)

    @property
    def rank(self) -> float:
        """0 to 100, the worst first: level, then how far past the limit (3.27.25)."""
        if isinstance(self.what, Trouble):
            return 100.0
        return rank_of(self.what) if isinstance(self.what, Located) else 0.0


def entries(report: Report, troubles: Incidents, *, passes: bool) -> Iterator[Entry]:
    """All results to come, in the order of the log; one asset at a time is held."""
    for asset in assets_in_order(report, troubles):
        of_asset = [Entry(one, asset, _clip(asset, one)) for one in _at(asset, troubles)]
        for result in asset.results:
            of_asset += [Entry(one, asset) for one in _said(result, passes)]
        for clip in asset.clips:
            for result in clip.results:
                of_asset += [Entry(one, asset, clip) for one in _said(result, passes)]
        yield from sorted(of_asset, key=_order)
    yield from (Entry(one) for one in troubles.of_run)


def assets_in_order(report: Report, troubles: Incidents) -> list[AssetReport]:
    """The assets by path; one without clips for each path that only a trouble names."""
    known = {asset.path for asset in report.assets}
    unknown = [AssetReport(path, "", True, 0, "") for path in troubles.by_path if path not in known]
    return sorted((*report.assets, *unknown), key=lambda asset: asset.path)


def _at(asset: AssetReport, troubles: Incidents) -> tuple[Trouble, ...]:
    return troubles.by_path.get(asset.path, ())


def _clip(asset: AssetReport, trouble: Trouble) -> ClipReport | None:
    return next((clip for clip in asset.clips if trouble.clip and clip.name == trouble.clip), None)


def _said(result: RuleResult, passes: bool) -> Iterator[Subject]:
    yield from result.findings
    for one in result.not_judged:
        yield Unfit(result.rule_id, one.reason, one.parts)
    if result.outcome is Outcome.NOT_APPLICABLE:
        yield Unfit(result.rule_id, result.reason)
    elif passes and result.outcome is Outcome.PASSED:
        yield Passed(result.rule_id)


def _order(entry: Entry) -> tuple[str | int, ...]:
    """By fully qualified name, span, rule id (Appendix F); the rest only settles ties."""
    what, clip = entry.what, entry.clip
    name, handle = (clip.name, clip.handle) if clip else ("", "")
    if isinstance(what, Located):
        place = what.joints[0] if what.joints else ""
        tie = f"{what.parts} {what.detail} {what.place_id} {what.message}"
        return name, handle, place, what.first, what.last, what.rule_id, tie
    if isinstance(what, Unfit):
        return name, handle, "", -1, -1, what.rule_id, f"{what.parts} {what.reason}"
    if isinstance(what, Passed):
        return name, handle, "", -1, -1, what.rule_id, ""
    return name, handle, "", -2, -2, what.rule_id, f"{what.kind} {what.place} {what.text}"
