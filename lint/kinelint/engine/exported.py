"""Working files and their exports in a run: rules on pairs, told on the working file."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from kinelint.discover import shown_path
from kinelint.engine.context import short_traceback
from kinelint.engine.judge import level_of, named
from kinelint.exports import Pattern, pairs
from kinelint.finding import Finding
from kinelint.pair_rule import ExportPair, PairRule
from kinelint.policy import Policy, SettledRule
from kinelint.report import AssetReport, Located, Outcome, RuleResult, Trouble


def pairs_of(policy: Policy) -> list[ExportPair]:
    """The pairs that the policy speaks of; none without a policy file.

    Raises:
        PolicyError: the record beside it is wrong.
    """
    if policy.root is None:
        return []
    patterns = [Pattern(one.source, one.export) for one in policy.table.export]
    return pairs(patterns, policy.root, policy.folder / policy.table.exports_record)


def with_exports(
    policy: Policy, root: Path, chosen: Sequence[Path], assets: Sequence[AssetReport]
) -> tuple[AssetReport, ...]:
    """The reports with what rules say of working files.

    Only of those that lie below `chosen`, or whose export does.

    A working file that is no asset of the run gets a report of its own, without clips.
    """
    if policy.root is None or not policy.table.export:
        return tuple(assets)
    base, below = policy.root, [one.resolve() for one in chosen]
    by_path = {one.path: one for one in assets}
    results: dict[str, list[RuleResult]] = defaultdict(list)
    for pair in pairs_of(policy):
        source = base / pair.bond.source
        both = (source, base / pair.bond.export)
        if not any(path.is_relative_to(one) for path in both for one in below):
            continue
        shown = shown_path(source, root)
        for demand in policy.demands(shown, "", "").rules:
            if demand.enabled and issubclass(demand.rule, PairRule):
                results[shown].append(_judged(pair, demand))
        if shown not in by_path:
            by_path[shown] = _bare(source, shown, pair)
    told = [_with(one, results.get(one.path, [])) for one in by_path.values()]
    return tuple(sorted(told, key=lambda one: one.path))


def _bare(source: Path, shown: str, pair: ExportPair) -> AssetReport:
    media = source.suffix.lower().removeprefix(".")
    size = source.stat().st_size if source.is_file() else 0
    return AssetReport(shown, media, True, size, pair.source_sha256)


def _with(asset: AssetReport, results: Sequence[RuleResult]) -> AssetReport:
    if not results:
        return asset
    crashed = tuple(
        Trouble(
            "crashed-rule",
            f"the rule {one.rule_id} crashed: {one.reason}",
            asset.path,
            rule_id=one.rule_id,
            details=one.details,
        )
        for one in results
        if one.outcome is Outcome.CRASHED
    )
    return replace(asset, results=tuple(results), troubles=asset.troubles + crashed)


def _judged(pair: ExportPair, demand: SettledRule) -> RuleResult:
    rule: Any = demand.rule
    try:
        found = [_located(one, pair, demand) for one in rule.check(pair, demand.settings)]
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        details = short_traceback(error)
        return RuleResult(rule.id, Outcome.CRASHED, reason=named(error), details=details)
    outcome = Outcome.FAILED if found else Outcome.PASSED
    return RuleResult(rule.id, outcome, tuple(found), required=demand.required)


def _located(one: Finding, pair: ExportPair, demand: SettledRule) -> Located:
    content = hashlib.sha256("\0".join((pair.bond.name, one.detail)).encode()).hexdigest()
    return Located(
        rule_id=demand.rule.id,
        level=level_of(one, demand),
        message=one.message,
        parts=one.parts,
        first=0,
        last=0,
        worst=0,
        start_s=0.0,
        end_s=0.0,
        worst_s=0.0,
        remedy=one.remedy,
        detail=one.detail,
        setting=one.setting,
        confidence=one.confidence,
        content_id=content,
        place_id=content,
    )
