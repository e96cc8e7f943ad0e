"""The third pass: clips that the cue sheet binds together, and the rules that look at them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from kinelint.anatomy.figure import Figure
from kinelint.assemble import motion_of
from kinelint.bonds import Bound, ClipId
from kinelint.cue import Chain, Exported, Mirrored, Partners
from kinelint.discover import Found
from kinelint.engine.asset import file_facts, result_troubles
from kinelint.engine.context import Context, short_traceback
from kinelint.engine.judge import BrokenContract, hold, named, placed_finding, strict_numbers
from kinelint.engine.place import with_place_ids
from kinelint.errors import AssetError, NotApplicable
from kinelint.finding import Finding, Unjudged
from kinelint.group import Group, GroupRule, Member, Said
from kinelint.intake import prepare
from kinelint.policy import SettledRule
from kinelint.report import (
    AssetReport,
    ClipReport,
    Located,
    NotJudged,
    Outcome,
    RuleResult,
)

_UNBOUND = {
    Chain: "the cue sheet names nothing that follows this clip or goes before it",
    Partners: "the cue sheet names no clip that plays together with this one",
    Mirrored: "the cue sheet names no mirror image of this clip",
    Exported: "the policy names no working file or export of this one",
}


@dataclass(frozen=True, eq=False)
class ToBind:
    """A bond with its clips: their files, and their figures where there are any."""

    bound: Bound
    files: tuple[Found, ...]
    figures: tuple[Figure | None, ...]


@dataclass(frozen=True)
class GroupJudged:
    """What the rules said of a group, clip by clip."""

    results: tuple[tuple[ClipId, RuleResult], ...] = ()


def judge_group(context: Context, task: ToBind) -> GroupJudged:
    """Every rule for this kind of bond on the clips that it binds.

    Rules and settings are those that the policy demands of the last clip bound.
    """
    asset, clip = task.bound.clips[-1]
    cue = context.cue(asset, clip)
    demands = [
        one
        for one in context.policy.demands(asset, clip, cue.class_name, cue.stage).rules
        if one.enabled and _looks_at(one, task.bound)
    ]
    if not demands:
        return GroupJudged()
    members, fault = _members(context, task)
    results: list[tuple[ClipId, RuleResult]] = []
    for demand in demands:
        if fault:
            results += [(one, _not_applicable(demand, fault)) for one in task.bound.clips]
        else:
            results += zip(
                task.bound.clips, _judged(Group(task.bound.bond, members), demand), strict=True
            )
    return GroupJudged(tuple(results))


def _looks_at(demand: SettledRule, bound: Bound) -> bool:
    rule = demand.rule
    return issubclass(rule, GroupRule) and isinstance(bound.bond, rule.bond)


def _members(context: Context, task: ToBind) -> tuple[tuple[Member, ...], str]:
    """The clips with their motions; or why one of them has none."""
    members = []
    for (asset, name), file, figure in zip(task.bound.clips, task.files, task.figures, strict=True):
        if figure is None:
            return (), f"{asset} has no body that could be judged"
        try:
            clips = {one.name: one for one in context.read(file.path).clips}
            prepared = prepare(clips[name])
        except (AssetError, KeyError):
            return (), f"the clip {name!r} of {asset} cannot be judged"
        cue = context.cue(asset, name)
        demands = context.policy.demands(asset, name, cue.class_name, cue.stage)
        facts = file_facts(file, len(clips))
        motion = motion_of(prepared.clip, figure, cue, demands.ground_m, facts)
        members.append(Member(asset, name, motion))
    return tuple(members), ""


def _not_applicable(demand: SettledRule, reason: str) -> RuleResult:
    return RuleResult(
        demand.rule.id, Outcome.NOT_APPLICABLE, reason=reason, required=demand.required
    )


def _judged(group: Group, demand: SettledRule) -> list[RuleResult]:
    """What became of a rule on a group: one result for each of its clips."""
    try:
        said = list(_said(group, demand))
    except NotApplicable as reason:
        return [_not_applicable(demand, str(reason)) for _ in group.members]
    except KeyboardInterrupt:
        raise
    except BaseException as error:
        words = str(error) if isinstance(error, BrokenContract) else named(error)
        crashed = RuleResult(
            demand.rule.id,
            Outcome.CRASHED,
            reason=words,
            details=short_traceback(error),
            required=demand.required,
        )
        return [crashed for _ in group.members]
    return [_of_member(number, group, demand, said) for number in range(len(group.members))]


def _said(group: Group, demand: SettledRule) -> Iterator[Said]:
    rule = demand.rule
    assert issubclass(rule, GroupRule)
    with strict_numbers():
        for one in rule.check(group, demand.settings):
            if not isinstance(one, Said) or not 0 <= one.member < len(group.members):
                raise BrokenContract(f"the rule yielded {one!r}, which is said of no member")
            if isinstance(one.what, Finding):
                hold(one.what, group.members[one.member].motion)
            elif not isinstance(one.what, Unjudged):
                raise BrokenContract(f"the rule yielded {one.what!r}, which is no finding")
            yield one


def _of_member(number: int, group: Group, demand: SettledRule, said: Sequence[Said]) -> RuleResult:
    motion = group.members[number].motion
    own = [one.what for one in said if one.member == number]
    found = tuple(placed_finding(one, demand, motion) for one in own if isinstance(one, Finding))
    return RuleResult(
        demand.rule.id,
        Outcome.FAILED if found else Outcome.PASSED,
        found,
        tuple(NotJudged(one.reason, one.parts) for one in own if isinstance(one, Unjudged)),
        required=demand.required,
    )


def with_groups(
    context: Context, assets: Iterable[AssetReport], judged: Iterable[GroupJudged]
) -> tuple[AssetReport, ...]:
    """The reports with what was said of the groups added to their clips.

    A clip that nothing binds has a result that says so for each rule on groups.
    """
    said: dict[ClipId, dict[str, list[RuleResult]]] = defaultdict(lambda: defaultdict(list))
    for group in judged:
        for clip, result in group.results:
            said[clip][result.rule_id].append(result)
    return tuple(_with_groups(context, asset, said) for asset in assets)


def _with_groups(
    context: Context, asset: AssetReport, said: Mapping[ClipId, Mapping[str, list[RuleResult]]]
) -> AssetReport:
    clips, troubles = [], list(asset.troubles)
    unread = {one.clip for one in troubles if one.kind == "unreadable-asset"}
    for clip in asset.clips:
        more = list(_clip_results(context, asset, clip, said.get((asset.path, clip.name), {})))
        if not more or clip.name in unread:
            clips.append(clip)
            continue
        results = sorted((*clip.results, *more), key=lambda one: one.rule_id)
        clips.append(replace(clip, results=tuple(results)))
        troubles += result_troubles(asset.path, clip.name, more)
    return replace(asset, clips=tuple(clips), troubles=tuple(troubles))


def _clip_results(
    context: Context, asset: AssetReport, clip: ClipReport, said: Mapping[str, list[RuleResult]]
) -> Iterator[RuleResult]:
    cue = context.cue(asset.path, clip.name)
    demands = context.policy.demands(asset.path, clip.name, cue.class_name, cue.stage)
    for demand in demands.rules:
        rule: Any = demand.rule
        if not issubclass(rule, GroupRule):
            continue
        if rule.id in said:
            yield _together(said[rule.id], clip.name)
        elif demand.enabled:
            yield _not_applicable(demand, _UNBOUND[rule.bond])


def _together(results: Sequence[RuleResult], clip: str) -> RuleResult:
    """The results of one rule on one clip in all its groups as one."""
    rank = (Outcome.CRASHED, Outcome.FAILED, Outcome.PASSED, Outcome.NOT_APPLICABLE)
    worst = min((one.outcome for one in results), key=rank.index)
    if worst is Outcome.CRASHED:
        return next(one for one in results if one.outcome is worst)
    found: list[Located] = [one for result in results for one in result.findings]
    found.sort(key=lambda one: (one.first, one.last, one.parts, one.detail, one.message))
    unjudged = [one for result in results for one in result.not_judged]
    missing = [one.reason for one in results if one.outcome is Outcome.NOT_APPLICABLE]
    if worst is not Outcome.NOT_APPLICABLE:
        unjudged += [NotJudged(reason) for reason in missing]
    return RuleResult(
        results[0].rule_id,
        worst,
        with_place_ids(found, clip),
        tuple(dict.fromkeys(unjudged)),
        reason="; ".join(dict.fromkeys(missing)) if worst is Outcome.NOT_APPLICABLE else "",
        required=any(one.required for one in results),
    )
