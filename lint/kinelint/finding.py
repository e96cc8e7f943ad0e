"""What a rule says: plain values, no arrays, no motion."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TypeAlias

Point: TypeAlias = tuple[float, float, float]


class Level(StrEnum):
    """How bad a finding is, in the words of SARIF 2.1.0 (3.27.10)."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"

    @property
    def rank(self) -> int:
        """3 for an error, 2 for a warning, 1 for a note: to compare and sort by."""
        return {"error": 3, "warning": 2, "note": 1}[self.value]


@dataclass(frozen=True, slots=True)
class FrameSpan:
    """Frames `first` to `last`, both included, counted from 0."""

    first: int
    last: int

    def __post_init__(self) -> None:
        if not 0 <= self.first <= self.last:
            raise ValueError(f"no span: frames {self.first} to {self.last}")

    @property
    def frames(self) -> int:
        """How many frames the span has."""
        return self.last - self.first + 1

    def shifted(self, frames: int) -> FrameSpan:
        """The same span `frames` later."""
        return FrameSpan(self.first + frames, self.last + frames)


@dataclass(frozen=True, slots=True)
class Trace:
    """The measured quantity over the frames around a finding, to plot.

    `values` has one number a frame from `first` on; `limit` is in the same `unit`.
    """

    name: str
    unit: str
    first: int
    values: tuple[float, ...]
    limit: float | None = None


@dataclass(frozen=True, slots=True)
class Finding:
    """One defect at one place: one span, one finding.

    Attributes:
        message: what is wrong, for an animator, without frames ("left hand is 34 mm inside the
            right thigh").
        span: the frames it shows in.
        parts: the parts of the body, the offending one first ("left_hand", "right_thigh").
        measured: the worst value, in `unit`.
        limit: what it may not pass, in `unit`.
        unit: "mm", "deg", "percent", "mm/s", …
        worst_frame: the frame to look at; the first of the span if the rule does not say.
        remedy: what to do about it, with numbers.
        level: the rule's own grade; None takes the rule's level. A policy may override both.
        detail: tells two findings of one rule on the same parts apart ("heel", "flexion").
        at_m: the place in the world at the worst frame, metres, Y up.
        direction: unit vector that would clear it, or along which it moves, at the worst frame.
        trace: the quantity over the frames, to plot.
        setting: the rule's setting that `limit` comes from; its source is the limit's source.
        confidence: 0 to 1, how sure the rule is that this is a defect and no style or guess of
            ours; None if it does not say.
    """

    message: str
    span: FrameSpan
    parts: tuple[str, ...]
    measured: float | None = None
    limit: float | None = None
    unit: str = ""
    worst_frame: int | None = None
    remedy: str = ""
    level: Level | None = None
    detail: str = ""
    at_m: Point | None = None
    direction: Point | None = None
    trace: Trace | None = None
    setting: str = ""
    confidence: float | None = None


@dataclass(frozen=True, slots=True)
class Unjudged:
    """Something a rule could not judge on this motion, and why. Never silence.

    A rule that can judge nothing at all raises `NotApplicable` instead.
    """

    reason: str
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Note:
    """Something that was assumed, inferred or set aside, and that people should know.

    `topic` is a short slug ("units", "up-axis", "ground", "reference-pose", "body-model").
    """

    topic: str
    text: str
