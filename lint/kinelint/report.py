"""What a run found, in plain values that survive JSON unchanged. No arrays, no motion."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from kinelint.finding import Level, Note, Point, Trace
from kinelint.rule_info import RuleInfo


class Outcome(StrEnum):
    """What became of one rule on one clip."""

    PASSED = "passed"
    FAILED = "failed"
    NOT_APPLICABLE = "not applicable"
    CRASHED = "crashed"


class Verdict(StrEnum):
    """The decision of a run, in the order of its exit status 0, 1, 2."""

    PASS = "pass"
    FAIL = "fail"
    INCOMPLETE = "incomplete"

    @property
    def exit_status(self) -> int:
        """0 pass, 1 findings at or above the failing level, 2 could not be completed."""
        return {"pass": 0, "fail": 1, "incomplete": 2}[self.value]


@dataclass(frozen=True, slots=True)
class RuleSetup:
    """The settings that judged some clips: what the policy made of a rule.

    `overridden` holds the settings that differ from the rule's defaults; `level` is the highest
    that the policy lets its findings have, None if the rule's own grades stand; `scope` names the
    policy's scope (glob or class) for which it holds, "" for the whole tree; `line` is where the
    policy says so.
    """

    rule_id: str
    enabled: bool = True
    level: Level | None = None
    overridden: dict[str, Any] = field(default_factory=dict)
    scope: str = ""
    line: int | None = None


@dataclass(frozen=True, slots=True)
class Located:
    """A finding at its place in its asset: frames of the file, times, lines.

    Attributes:
        rule_id: the rule that made it.
        level: after the rule's grade and the policy.
        message, remedy, parts, detail, measured, limit, unit, at_m, direction, trace, setting,
        confidence: as the rule said (see `kinelint.finding.Finding`); trace frames are frames of
            the clip.
        limit_source: who says so: the source of the setting, or the policy that changed it.
        first, last, worst: frames of the clip as the file counts them, from 0.
        start_s, end_s, worst_s: their times from the first frame of the file's clip.
        first_line, last_line: lines of the text file, from 1; None in a binary file.
        joints: path of each part's joint in the skeleton ("Hips/Spine/…"), as `parts`.
        handles: what the file calls these joints, for machines.
        content_id: says what the defect is like without frames, times or paths; equal after a
            trim or a rename. `place_id` adds what tells repeats in one clip apart.
        waived: reason of the waiver that lets it pass, "" if none.
    """

    rule_id: str
    level: Level
    message: str
    parts: tuple[str, ...]
    first: int
    last: int
    worst: int
    start_s: float
    end_s: float
    worst_s: float
    measured: float | None = None
    limit: float | None = None
    unit: str = ""
    remedy: str = ""
    detail: str = ""
    at_m: Point | None = None
    direction: Point | None = None
    trace: Trace | None = None
    setting: str = ""
    confidence: float | None = None
    limit_source: str = ""
    first_line: int | None = None
    last_line: int | None = None
    joints: tuple[str, ...] = ()
    handles: tuple[str, ...] = ()
    content_id: str = ""
    place_id: str = ""
    waived: str = ""


@dataclass(frozen=True, slots=True)
class NotJudged:
    """Something that a rule could not judge, and why."""

    reason: str
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class RuleResult:
    """One rule on one clip. A crashed rule has no findings, only its `reason` and `details`."""

    rule_id: str
    outcome: Outcome
    findings: tuple[Located, ...] = ()
    not_judged: tuple[NotJudged, ...] = ()
    reason: str = ""
    details: str = ""
    required: bool = False


@dataclass(frozen=True, slots=True)
class ClipReport:
    """One clip: what was assumed about it and what every rule said."""

    name: str
    frames: int
    sample_rate_hz: float
    duration_s: float
    handle: str = ""
    class_name: str = ""
    skeleton: str = ""
    notes: tuple[Note, ...] = ()
    results: tuple[RuleResult, ...] = ()


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that kept the run from being complete.

    `kind` is "unreadable-asset", "crashed-rule", "lost-worker", "required-rule" or
    "misread-body"; `clip` and `rule_id` are "" where none is meant. `details` may hold a
    traceback, for developers.
    """

    kind: str
    text: str
    path: str = ""
    place: str = ""
    clip: str = ""
    rule_id: str = ""
    details: str = ""


@dataclass(frozen=True, slots=True)
class AssetReport:
    """One file: its bytes and its clips. An unreadable one has no clips and a trouble.

    `path` is relative to the root of the run, with "/" between its parts. `results` are of rules
    on the file as a whole, whose findings have no frames; the file may be no motion at all.
    """

    path: str
    media: str
    binary: bool
    size_bytes: int
    sha256: str
    clips: tuple[ClipReport, ...] = ()
    notes: tuple[Note, ...] = ()
    troubles: tuple[Trouble, ...] = ()
    results: tuple[RuleResult, ...] = ()

    def all_results(self) -> tuple[RuleResult, ...]:
        """Those of the file as a whole and those of its clips."""
        return self.results + tuple(one for clip in self.clips for one in clip.results)


@dataclass(frozen=True, slots=True)
class Report:
    """A whole run.

    `root` is only for people at the console; it never enters a file that is compared.
    `policy_path` is relative to the root where it lies below it, "" without a policy file.
    `notes` are about the whole run: no policy found, a cue that no clip matches, …
    """

    version: str
    assets: tuple[AssetReport, ...]
    rules: tuple[RuleInfo, ...]
    setups: tuple[RuleSetup, ...]
    fail_on: Level
    verdict: Verdict
    root: str = ""
    policy_path: str = ""
    policy_sha256: str = ""
    troubles: tuple[Trouble, ...] = ()
    notes: tuple[Note, ...] = ()
    seconds: float = 0.0

    def all_troubles(self) -> tuple[Trouble, ...]:
        """Those of the run and those of its assets."""
        return self.troubles + tuple(t for a in self.assets for t in a.troubles)
