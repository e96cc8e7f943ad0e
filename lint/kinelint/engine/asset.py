"""The second pass: one file, all its clips, all rules."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from kinelint.assemble import motion_of
from kinelint.clip import Clip
from kinelint.cue import Cue
from kinelint.discover import Found
from kinelint.engine.context import Context, FigureKey
from kinelint.engine.figures import Settled
from kinelint.engine.judge import judge
from kinelint.engine.steady import changed
from kinelint.engine.survey import Survey, figure_key, unread, unreadable
from kinelint.errors import AssetError
from kinelint.finding import Note
from kinelint.intake import Prepared, prepare
from kinelint.motion import FileFacts
from kinelint.policy.settle import Demands
from kinelint.report import AssetReport, ClipReport, Outcome, RuleResult, Trouble
from kinelint.rule import Rule


@dataclass(frozen=True, eq=False)
class ToJudge:
    """A file, what the survey said of it, and the figures of its clips."""

    file: Found
    survey: Survey
    figures: Mapping[FigureKey, Settled]


@dataclass(frozen=True)
class Judged:
    """A file's report, and which (sheet, entry) cues and which scopes its clips matched."""

    report: AssetReport
    cues: frozenset[tuple[int, int]] = frozenset()
    scopes: frozenset[int] = frozenset()


@dataclass
class _Parts:
    """What the clips of one file add up to."""

    clips: list[ClipReport] = field(default_factory=list)
    troubles: list[Trouble] = field(default_factory=list)
    cues: set[tuple[int, int]] = field(default_factory=set)
    scopes: set[int] = field(default_factory=set)


def judge_asset(context: Context, task: ToJudge) -> Judged:
    """Every rule on every clip of a file."""
    made = _Parts()
    try:
        asset, sha256 = context.read_known(task.file.path)
        if sha256 != task.survey.sha256:
            raise changed(task.file.path)  # its figures are of what it was before
    except AssetError as error:
        trouble = unreadable(task.file, error)
        return Judged(asset_report(task.file, task.survey, (), (trouble,)))
    for clip in asset.clips:
        _add_clip(context, task, clip, made)
    made.troubles += _misread(task)
    report = asset_report(task.file, task.survey, tuple(made.clips), tuple(made.troubles))
    return Judged(report, frozenset(made.cues), frozenset(made.scopes))


def asset_report(
    file: Found,
    survey: Survey,
    clips: tuple[ClipReport, ...] = (),
    troubles: tuple[Trouble, ...] = (),
) -> AssetReport:
    """A report on a file from what the survey said and what the clips added."""
    return AssetReport(
        path=file.shown,
        media=survey.media,
        binary=survey.binary,
        size_bytes=file.size_bytes,
        sha256=survey.sha256,
        clips=clips,
        notes=survey.notes,
        troubles=survey.troubles + troubles,
    )


def file_facts(file: Found, clips: int) -> FileFacts:
    """What rules may know of a file."""
    return FileFacts(file.shown, file.size_bytes, clips)


def _misread(task: ToJudge) -> Iterator[Trouble]:
    """A body that could not be made: by a fault of ours, or by what the policy says of it."""
    for settled in task.figures.values():
        if settled.figure is None:
            text, details = settled.fault, settled.details
            yield Trouble("misread-body", text, task.file.shown, details=details)


def _add_clip(context: Context, task: ToJudge, clip: Clip, made: _Parts) -> None:
    shown = task.file.shown
    cue, entries = context.cues.cue(shown, clip.name)
    demands = context.policy.demands(shown, clip.name, cue.class_name, cue.stage)
    made.cues.update(entries)
    made.scopes.update(demands.scopes)
    try:
        prepared = prepare(clip)
    except AssetError as error:
        # The clip has a field of its own.
        place = error.place.removeprefix(f"clip {clip.name!r}").removeprefix(", ")
        trouble = Trouble("unreadable-asset", unread(error), shown, place, clip.name)
        made.troubles.append(trouble)
        made.clips.append(_clip_report(clip, cue))
        return
    settled = task.figures[figure_key(context, task.file, clip)]
    facts = file_facts(task.file, len(task.survey.clips))
    results, notes = _results(prepared, settled, cue, demands, facts)
    made.clips.append(_clip_report(clip, cue, notes, results))
    made.troubles += _troubles(shown, clip, demands, results)


def _clip_report(
    clip: Clip, cue: Cue, notes: tuple[Note, ...] = (), results: tuple[RuleResult, ...] = ()
) -> ClipReport:
    return ClipReport(
        name=clip.name,
        frames=clip.frames,
        sample_rate_hz=clip.sample_rate_hz,
        duration_s=clip.duration_s,
        handle=clip.source.clip_handle,
        class_name=cue.class_name,
        skeleton=clip.skeleton.signature,
        notes=tuple(dict.fromkeys((*clip.notes, *notes))),
        results=results,
    )


def _results(
    prepared: Prepared, settled: Settled, cue: Cue, demands: Demands, facts: FileFacts
) -> tuple[tuple[RuleResult, ...], tuple[Note, ...]]:
    wanted = [one for one in demands.rules if one.enabled and issubclass(one.rule, Rule)]
    if settled.figure is None:
        reason = settled.fault
        return tuple(
            RuleResult(one.rule.id, Outcome.NOT_APPLICABLE, reason=reason, required=one.required)
            for one in wanted
        ), prepared.notes
    motion = motion_of(prepared.clip, settled.figure, cue, demands.ground_m, facts)
    results = tuple(judge(motion, one) for one in wanted)
    return results, (*prepared.notes, *settled.figure.notes, *motion.assumptions())


def _troubles(
    shown: str, clip: Clip, demands: Demands, results: tuple[RuleResult, ...]
) -> Iterator[Trouble]:
    yield from result_troubles(shown, clip.name, results)
    for demand in demands.rules:
        if demand.required and not demand.enabled:
            name = demand.rule.id
            text = f"the policy requires {name} for this clip, and turns it off"
            yield Trouble("required-rule", text, shown, "", clip.name, name)


def result_troubles(shown: str, clip: str, results: Iterable[RuleResult]) -> Iterator[Trouble]:
    """Rules that crashed, and required ones that came to no verdict."""
    for one in results:
        if one.outcome is Outcome.CRASHED:
            text = f"the rule {one.rule_id} crashed: {one.reason}"
            yield Trouble("crashed-rule", text, shown, "", clip, one.rule_id, one.details)
        elif one.required and one.outcome is Outcome.NOT_APPLICABLE:
            text = f"the policy requires {one.rule_id}, which cannot judge this: {one.reason}"
            yield Trouble("required-rule", text, shown, "", clip, one.rule_id)
