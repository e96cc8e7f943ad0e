"""A whole run: find the files, survey them, settle the figures, judge, decide."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias, TypeVar

from kinelint import __version__
from kinelint.bonds import bound
from kinelint.cues import load_sheets
from kinelint.discover import Found, Tree, discover, shown_path
from kinelint.engine.asset import Judged, ToJudge, asset_report, judge_asset
from kinelint.engine.context import Context, FigureKey
from kinelint.engine.crew import Crew, Lost
from kinelint.engine.exported import with_exports
from kinelint.engine.figures import Settled, ToSettle, settle
from kinelint.engine.groups import GroupJudged, ToBind, judge_group, with_groups
from kinelint.engine.one import named_cues
from kinelint.engine.steady import sha256_of
from kinelint.engine.survey import BodySeen, Survey, shared, survey
from kinelint.errors import PolicyError
from kinelint.finding import Level, Note
from kinelint.policy import Policy
from kinelint.policy.find import root_of
from kinelint.readers import endings
from kinelint.report import AssetReport, Report, Trouble, Verdict

T = TypeVar("T")
R = TypeVar("R")

# What is being done ("survey", "judge"), files done, files in all.
Progress: TypeAlias = Callable[[str, int, int], None]


def run(
    paths: Sequence[Path],
    policy: Policy,
    *,
    workers: int | None = None,
    progress: Progress | None = None,
    start_method: str | None = None,
) -> Report:
    """Judges every clip under some paths.

    Args:
        paths: files and folders; the policy's root, or the current folder, if empty.
        policy: with the installed rules.
        workers: processes; as many as cores if None, none if 0. One file needs none.
        progress: told after each file.
        start_method: of the processes, see `Crew`.

    Raises:
        PolicyError: nothing to judge, or a cue sheet that is wrong.
    """
    started = time.perf_counter()
    work = _Run(paths, policy, progress or (lambda *_: None))
    with Crew(work.context, work.crew_size(workers), start_method) as crew:
        work.survey(crew)
        work.settle(crew)
        work.judge(crew)
        work.judge_groups(crew)
    return work.report(time.perf_counter() - started)


@dataclass
class _Results:
    """What each pass has found, by the number of the file."""

    surveys: dict[int, Survey] = field(default_factory=dict)
    figures: dict[FigureKey, Settled] = field(default_factory=dict)
    judged: dict[int, Judged] = field(default_factory=dict)
    lost: dict[int, AssetReport] = field(default_factory=dict)
    groups: list[GroupJudged] = field(default_factory=list)
    group_notes: list[Note] = field(default_factory=list)
    group_troubles: list[Trouble] = field(default_factory=list)


class _Run:
    def __init__(self, paths: Sequence[Path], policy: Policy, progress: Progress) -> None:
        self.policy = policy
        self.progress = progress
        self.chosen = chosen = [Path(one) for one in paths] or [policy.root or Path.cwd()]
        self.root = root_of(chosen, policy.root).resolve()
        self.whole = any(one.resolve() == self.root for one in chosen)
        self.tree = self._discovered(chosen)
        folders = {one.path.parent for one in self.tree.files}
        cues = load_sheets(named_cues(policy, self.root), folders, self.root)
        self.context = Context(policy, cues, self.root)
        self.made = _Results()

    @property
    def files(self) -> tuple[Found, ...]:
        return self.tree.files

    def _discovered(self, paths: Sequence[Path]) -> Tree:
        table = self.policy.table
        known = endings()
        tree = discover(paths, self.root, known, table.assets, table.except_)
        if not tree.files and not tree.troubles:
            shown = ", ".join(str(one) for one in paths)
            raise PolicyError(
                f"no motion file was found in {shown}",
                path=self.policy.file.path if self.policy.file else "",
                mend=f"Files that can be judged end in {', '.join(sorted(known))}"
                + ("; see also assets and except in the policy." if self.policy.file else "."),
            )
        return tree

    def crew_size(self, workers: int | None) -> int:
        if len(self.files) <= 1:
            return 0
        return min(_cores() if workers is None else workers, len(self.files))

    def _each(
        self,
        crew: Crew,
        phase: str,
        function: Callable[[Context, T], R],
        tasks: dict[int, T],
    ) -> Iterable[tuple[int, R | Lost]]:
        """Works on tasks by file number, the largest files first."""
        order = sorted(tasks, key=lambda number: (-self.files[number].size_bytes, number))
        self.progress(phase, 0, len(order))
        results = crew.work(function, [tasks[number] for number in order])
        for done, (index, result) in enumerate(results, 1):
            yield order[index], result
            self.progress(phase, done, len(order))

    def survey(self, crew: Crew) -> None:
        """What does each file hold?"""
        known: dict[FigureKey, BodySeen] = {}
        for number, result in self._each(crew, "survey", survey, dict(enumerate(self.files))):
            if isinstance(result, Lost):
                self._lose(number, result)
            else:
                self.made.surveys[number] = shared(result, known)

    def settle(self, crew: Crew) -> None:
        """Which figures are there?"""
        seen: dict[FigureKey, list[BodySeen]] = {}
        skinned: dict[FigureKey, Path] = {}
        for number in sorted(self.made.surveys):
            for one in self.made.surveys[number].seen:
                seen.setdefault(one.key, []).append(one)
                if one.skinned:
                    skinned.setdefault(one.key, self.files[number].path)
        tasks = [ToSettle(key, tuple(some), skinned.get(key)) for key, some in seen.items()]
        for index, result in crew.work(settle, tasks):
            if isinstance(result, Lost):
                result = Settled(None, result.reason, result.details)
            self.made.figures[tasks[index].key] = result
        # The samples have served; there may be many files.
        self.made.surveys = {n: _without_samples(one) for n, one in self.made.surveys.items()}

    def judge(self, crew: Crew) -> None:
        """What does every rule say of every clip?"""
        tasks = {
            number: ToJudge(
                self.files[number],
                one,
                {key: self.made.figures[key] for _, key in one.clips},
            )
            for number, one in self.made.surveys.items()
            if not one.troubles
        }
        for number, result in self._each(crew, "judge", judge_asset, tasks):
            if isinstance(result, Lost):
                self._lose(number, result)
            else:
                self.made.judged[number] = result

    def judge_groups(self, crew: Crew) -> None:
        """What do the rules say of clips that belong together?"""
        number_of = {self.files[number].shown: number for number in self.made.judged}
        figures = {
            (self.files[number].shown, name): self.made.figures[key].figure
            for number in self.made.judged
            for name, key in self.made.surveys[number].clips
        }
        groups, notes = bound(self.context.cues, list(figures))
        self.made.group_notes = notes if self.whole else []
        tasks = [
            ToBind(
                one,
                tuple(self.files[number_of[asset]] for asset, _ in one.clips),
                tuple(figures[clip] for clip in one.clips),
            )
            for one in groups
        ]
        made: dict[int, GroupJudged] = {}
        for index, result in crew.work(judge_group, tasks):
            if isinstance(result, Lost):
                asset, clip = groups[index].clips[-1]
                text = f"{groups[index].bond.name}: {result.reason}"
                trouble = Trouble("lost-worker", text, asset, "", clip, details=result.details)
                self.made.group_troubles.append(trouble)
            else:
                made[index] = result
        self.made.groups = [made[index] for index in sorted(made)]

    def _lose(self, number: int, lost: Lost) -> None:
        file = self.files[number]
        trouble = Trouble("lost-worker", lost.reason, file.shown, details=lost.details)
        blank = Survey(file.path.suffix.lower()[1:], True, sha256_of(file.path))
        known = self.made.surveys.get(number, blank)
        self.made.lost[number] = asset_report(file, known, (), (trouble,))

    def report(self, seconds: float) -> Report:
        """All of it, with the decision."""
        assets = tuple(self._asset(number) for number in range(len(self.files)))
        assets = with_groups(self.context, assets, self.made.groups)
        self._refuse_nothing(assets)
        assets = with_exports(self.policy, self.root, self.chosen, assets)
        troubles = (*self.tree.troubles, *self.made.group_troubles)
        file = self.policy.file
        complete = not troubles and not any(one.troubles for one in assets)
        return Report(
            version=__version__,
            assets=assets,
            rules=tuple(one.info for one in self.policy.rules.values()),
            setups=self.policy.setups,
            fail_on=self.policy.fail_on,
            verdict=_verdict(assets, self.policy.fail_on) if complete else Verdict.INCOMPLETE,
            root=str(self.root),
            policy_path=self._policy_path(),
            policy_sha256=file.sha256 if file else "",
            troubles=troubles,
            notes=tuple(self._notes()),
            seconds=seconds,
        )

    def _asset(self, number: int) -> AssetReport:
        if number in self.made.judged:
            return self.made.judged[number].report
        if number in self.made.lost:
            return self.made.lost[number]
        return asset_report(self.files[number], self.made.surveys[number])

    def _refuse_nothing(self, assets: Sequence[AssetReport]) -> None:
        if not any(one.clips or one.troubles for one in assets) and not self.tree.troubles:
            raise PolicyError(
                f"none of the {len(assets)} files found holds a clip",
                path=assets[0].path,
                mend="Name files with animation.",
            )

    def _policy_path(self) -> str:
        if self.policy.file is None:
            return ""
        path = self.policy.folder / Path(self.policy.file.path).name
        below = path.is_relative_to(self.root)
        return shown_path(path, self.root) if below else path.name

    def _notes(self) -> Iterable[Note]:
        file = self.policy.file
        if file is None:
            yield Note("policy", "no kinelint.toml was found: every rule runs with its defaults")
        yield from self.policy.notes
        if not self.whole:
            return  # a part of a tree does not show what is unused in all of it
        yield from self.made.group_notes
        matched = {entry for one in self.made.judged.values() for entry in one.cues}
        for number, sheet in enumerate(self.context.cues.sheets):
            for entry, table in enumerate(sheet.table.cue):
                if (number, entry) not in matched:
                    line = sheet.file.line(("cue", entry))
                    yield _unused("cue-sheet", sheet.file.path, line, "cue", table.clips)
        held = {scope for one in self.made.judged.values() for scope in one.scopes}
        for number, scope in enumerate(self.policy.table.scope):
            if number not in held and file is not None:
                line = file.line(("scope", number))
                yield _unused("policy", file.path, line, "scope", (scope.title,))
        used = {entry for _, entries in self.made.figures for entry in entries}
        for number, one in enumerate(self.policy.table.skeleton):
            if number not in used and file is not None:
                line = file.line(("skeleton", number))
                what = one.assets or (one.signature,)
                yield _unused("policy", file.path, line, "skeleton", what)


def _unused(topic: str, path: str, line: int, kind: str, words: Sequence[str]) -> Note:
    return Note(topic, f"{path}, line {line}: no clip matches the {kind} {', '.join(words)}")


def _without_samples(one: Survey) -> Survey:
    return Survey(one.media, one.binary, one.sha256, one.clips, (), one.notes, one.troubles)


def _verdict(assets: Sequence[AssetReport], fail_on: Level) -> Verdict:
    failing = any(
        finding.level.rank >= fail_on.rank and not finding.waived
        for asset in assets
        for result in asset.all_results()
        for finding in result.findings
    )
    return Verdict.FAIL if failing else Verdict.PASS


def _cores() -> int:
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1
