"""Joints stay within what people can do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kinelint.anatomy.joint_angles_of import angles_of
from kinelint.anatomy.parts import label
from kinelint.anatomy.proportions import built_like_a_person
from kinelint.anatomy.readings import Angle
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace, Unjudged
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import bump, motion, standing
from kinelint_rules.joints.range import BOONE, SOUCIE, Age, Range, Sex
from kinelint_rules.joints.ranges import RANGES
from kinelint_rules.joints.shared_cause import pelvis_named

# A joint that is beyond its limit for this share of the clip says more of its zero than of itself.
MOST_OF_CLIP = 0.6
# Joints that every figure has: where one is missing the rule says so.
EXPECTED = ("upper_arm", "forearm", "hand", "thigh", "shank", "foot")


class JointLimitSettings(RuleSettings):
    """Settings of `joint-limit`."""

    profile_sex: Sex = setting(
        "any",
        why="Whose range counts: that of the policy's figure; of the wider of the two without.",
        source=SOUCIE,
    )
    profile_age: Age = setting(
        "20-44",
        why="Years of age. Children go further: knees 10 deg back instead of 5.",
        source=SOUCIE,
    )
    margin_deg: float = setting(
        5.0,
        ge=0,
        why="Allowed past the published range on knees, elbows and fingers: the line of joint "
        "centres lies up to 5 deg off the line of the bones.",
        source="measured on 16 legs of real takes whose knees never read below -5 deg",
    )
    zero_margin_deg: float = setting(
        10.0,
        ge=0,
        why="The same on joints that are read from a calibrated zero: people do not all stand "
        "alike, and a goniometer leaves the pelvis out.",
        source="measured on the calm frames of real takes",
    )
    error_past_deg: float = setting(
        10.0,
        ge=0,
        why="Past the limit by this much more no performer could do it: an error, not a warning. "
        "About two standard deviations of people.",
        source=BOONE,
    )
    hyperextension_error_deg: float = setting(
        2.5,
        ge=0,
        why="The same for knees and elbows that bend the wrong way: seen at once.",
        source="common practice, no source",
    )
    min_duration_s: float = setting(
        0.04,
        ge=0,
        why="A joint past its limit for less is noise of the capture: two frames at 30 Hz count.",
        source="common practice, no source",
    )
    hysteresis_deg: float = setting(
        2.0,
        ge=0,
        why="A span goes on until the joint is back this far within its limit.",
        source="common practice, no source",
    )


class JointLimit(Rule[JointLimitSettings]):
    """Joints stay within what people can do.

    Reads anatomical angles by the joint coordinate systems of the International Society of
    Biomechanics: knees, elbows and fingers from the positions of the joints around them, all
    others against the anatomical zero of the skeleton, which is learnt from the frames in which it
    stands upright with its feet planted. A joint without a zero is not judged, and the rule says
    why; rest poses are never taken for a zero.

    The trunk is thorax against pelvis, so the sum over its joints. The shoulder is the whole
    complex, upper arm against thorax, however the rig shares it out. The plane and the turn of a
    shoulder are judged only where they mean something: away from the side and from overhead.

    A figure that is not built like a person (arms, legs and trunk out of proportion) is held to
    people's ranges loosely: its findings are graded a step lower.

    The limits screen animation. They are no medical reference, and no safe range for a performer:
    never ask a person to reach them.
    """

    id = "joint-limit"
    source = "Soucie et al. 2011; Boone & Azen 1979; AAOS; 38 CFR 4.71a: see the rule's ranges"
    level = Level.WARNING
    limits = (("margin_deg",), ("zero_margin_deg",))
    quantity = "Anatomical joint angles, degrees from the anatomical zero."
    on_screen = "A knee snaps backwards; an elbow folds the wrong way; a foot points up the shin."
    remedy = "Turn the joint back within its range in the frames named, or re-solve them."

    @staticmethod
    def check(motion: Motion, settings: JointLimitSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields one finding for each span in which a joint is past its limit."""
        if motion.cue.additive:
            raise NotApplicable("the clip is additive: its rotations are differences")
        told = motion.derive(angles_of)
        judged = [
            Judged(angle, one, limit_of(one, settings, motion.figure.sex))
            for angle in told.angles
            for one in RANGES
            if one.angle == angle.angle and one.joint == kind_of(angle) and _moves(motion, angle)
        ]
        if not judged:
            reasons = {one.reason for one in told.untold} or {"no joint of it was recognised"}
            raise NotApplicable("; ".join(sorted(reasons)))
        yield from _unjudged(motion)
        doubtful = [one for one in judged if one.mostly_beyond]
        if doubtful:
            yield _about_the_zero(motion, doubtful)
        trusted = [one for one in judged if one.passes and not one.mostly_beyond]
        by_joint: dict[str, list[Judged]] = {}
        for one in trusted:
            by_joint.setdefault(one.angle.joint, []).append(one)
        every = (one for joint in by_joint.values() for one in _judge(motion, settings, joint))
        yield from pelvis_named(every)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A still person, a squat, knee and elbow the wrong way, a thigh too far back."""
        pulse = bump(60, 15, 45)
        back = motion(turns={"left_shank": [("X", -16 * pulse)]})
        yield Example("standing", standing())
        yield Example("standing on one leg, knee up", motion(turns={"left_thigh": [("X", -90)]}))
        squat = {"left_thigh": [("X", -100 * pulse)], "left_shank": [("X", 140 * pulse)]}
        yield Example("one knee bent as in a deep squat", motion(turns=squat))
        yield Example(
            "left knee 16 deg the wrong way",
            back,
            finds=1,
            parts=("left_shank",),
            frames=(20, 40),
            measured=16.0,
            within=0.01,
            level=Level.ERROR,
        )
        yield Example(
            "the same on a small child",
            back,
            finds=1,
            settings={"profile_age": "2-8"},
            level=Level.WARNING,
        )
        yield Example(
            "left knee 8 deg the wrong way: some people's do",
            motion(turns={"left_shank": [("X", -8 * pulse)]}),
        )
        yield Example(
            "right elbow 25 deg the wrong way",
            motion(turns={"right_forearm": [("X", 25 * pulse)]}),
            finds=1,
            parts=("right_forearm",),
            measured=25.0,
            within=0.01,
            level=Level.ERROR,
        )
        twist = 90 * pulse
        yield Example(
            "the pelvis turned alone, trunk and thighs left where they were",
            motion(
                turns={
                    "pelvis": [("Y", twist)],
                    "abdomen": [("Y", -twist)],
                    "left_thigh": [("Y", -twist)],
                    "right_thigh": [("Y", -twist)],
                }
            ),
            finds=1,
            parts=("pelvis", "left_thigh", "right_thigh", "thorax"),
            level=Level.ERROR,
        )
        yield Example(
            "left thigh 48 deg back",
            motion(turns={"left_thigh": [("X", 48 * pulse)]}),
            finds=1,
            parts=("left_thigh",),
            measured=48.0,
            within=0.01,
            level=Level.WARNING,
        )


@dataclass(frozen=True, eq=False)
class Judged:
    """One angle one way, against its limit, margin included."""

    angle: Angle
    range: Range
    limit_deg: float

    @property
    def values(self) -> Floats:
        """``(frames,)`` degrees this way."""
        return np.asarray(self.range.sign * self.angle.degrees)

    @cached_property
    def passes(self) -> bool:
        """Whether it goes past the limit at all: most never do, and need no closer look."""
        furthest = self.angle.furthest_deg[self.range.sign > 0]
        return self.range.sign * furthest > self.limit_deg

    @property
    def mostly_beyond(self) -> bool:
        """Whether it says more of the zero, or of how the rig is built, than of the joint."""
        of_shape = self.range.basis == "zero" or self.range.tolerant
        if not (of_shape and self.passes):
            return False
        over = self.values > self.limit_deg
        return len(over) > 1 and float(np.mean(over)) > MOST_OF_CLIP

    def worst(self, span: FrameSpan) -> int:
        """The frame of the span in which it is furthest."""
        return span.first + int(np.nanargmax(self.values[span.first : span.last + 1]))

    def past(self, span: FrameSpan) -> float:
        """How far past the limit at worst, degrees; negative if it is within."""
        inside = self.values[span.first : span.last + 1]
        return float(np.nanmax(inside)) - self.limit_deg if np.isfinite(inside).any() else -np.inf

    @property
    def setting(self) -> str:
        """The setting that this limit's margin comes from."""
        return "margin_deg" if self.range.basis == "positions" else "zero_margin_deg"

    def said(self, span: FrameSpan) -> str:
        """What it does in the span, for people."""
        measured = self.past(span) + self.limit_deg
        return f"{self.range.words} {measured:.0f}°, past {self.limit_deg:.0f}°"


def kind_of(angle: Angle) -> str:
    """The joint as the table of ranges names it: without its side, fingers alike."""
    side, _, rest = angle.joint.partition(" ")
    name = rest if side in ("left", "right") else angle.joint
    first, _, which = name.partition(" ")
    return f"finger {which}" if first in ("index", "middle", "ring", "little") else name


def limit_of(one: Range, settings: JointLimitSettings, figure_sex: str | None = None) -> float:
    """The limit in degrees, the policy's margin included."""
    sex = settings.profile_sex
    if sex == "any" and figure_sex is not None:
        sex = "female" if figure_sex == "female" else "male"
    margin = settings.margin_deg if one.basis == "positions" else settings.zero_margin_deg
    return one.limit_deg(sex, settings.profile_age) + margin


def _moves(motion: Motion, angle: Angle) -> bool:
    return not motion.cue.only_parts or angle.part in motion.cue.only_parts


def _unjudged(motion: Motion) -> Iterator[Unjudged]:
    if motion.cue.only_parts:
        moved = ", ".join(label(part) for part in motion.cue.only_parts)
        yield Unjudged(f"the cue sheet says that only these parts move: {moved}")
    for one in motion.derive(angles_of).untold:
        yield Unjudged(f"{one.joint}: {one.reason}", (one.part,))
    for part in (f"{side}_{name}" for side in ("left", "right") for name in EXPECTED):
        try:
            motion.part(part)
        except NotApplicable as reason:
            yield Unjudged(reason.what, (part,))


def _judge(
    motion: Motion, settings: JointLimitSettings, of_joint: list[Judged]
) -> Iterator[Finding]:
    """One finding for each span in which a joint is past a limit, whatever ways it is past."""
    least = min(max(2, round(settings.min_duration_s * motion.sample_rate_hz)), motion.frames)
    beyond = np.zeros(motion.frames, dtype=np.bool_)
    for one in of_joint:
        over = one.values > one.limit_deg
        for span in spans(one.values > one.limit_deg - settings.hysteresis_deg):
            inside = slice(span.first, span.last + 1)
            beyond[inside] |= over[inside].sum() >= least
    person = motion.derive(built_like_a_person)
    for span in spans(beyond):
        past = [one for one in of_joint if one.past(span) > 0]
        graded = [(_level(settings, one, span, person), one) for one in past]
        graded.sort(key=lambda pair: (-pair[0].rank, -pair[1].past(span)))
        sure = _sure(graded[0][1], graded[0][0], person)
        yield _finding([one for _, one in graded], span, graded[0][0], sure)


def _sure(one: Judged, level: Level, person: bool) -> float:
    """Surer where positions tell the angle, and far past the range of people."""
    sure = 0.8 if one.range.basis == "positions" else 0.7
    sure += 0.15 if level is Level.ERROR else 0.0
    if one.range.tolerant:
        sure = 0.5
    return round(sure if person else 0.6 * sure, 2)


def _finding(past: list[Judged], span: FrameSpan, level: Level, sure: float) -> Finding:
    first = past[0]
    also = "".join(f"; also {one.said(span)}" for one in past[1:])
    worst, moved = first.worst(span), label(first.angle.part)
    by_deg = max(first.past(span), 1.0)
    return Finding(
        f"{first.angle.joint} {first.said(span)}{also}",
        span,
        (first.angle.part,),
        measured=float(first.values[worst]),
        limit=first.limit_deg,
        unit="deg",
        worst_frame=worst,
        remedy=f"Turn the {moved} back by {by_deg:.0f}° or more at the worst frame.",
        level=level,
        detail=first.range.words,
        trace=_trace(first, span),
        setting=first.setting,
        confidence=sure,
    )


def _level(settings: JointLimitSettings, one: Judged, span: FrameSpan, person: bool) -> Level:
    wrong_way = one.range.words == "hyperextended"
    bound = settings.hyperextension_error_deg if wrong_way else settings.error_past_deg
    far = one.past(span) >= bound
    if one.range.tolerant or not person:
        return Level.WARNING if far else Level.NOTE
    return Level.ERROR if far else Level.WARNING


def _about_the_zero(motion: Motion, doubtful: list[Judged]) -> Finding:
    said = ", ".join(f"{one.angle.joint} {one.range.words}" for one in doubtful)
    return Finding(
        f"past the limits in most of the clip: {said}; zero or rig may be wrong",
        FrameSpan(0, motion.frames - 1),
        tuple(dict.fromkeys(one.angle.part for one in doubtful)),
        unit="deg",
        remedy="If these joints look right, add a clip of this skeleton that stands upright with "
        "its feet flat, so that the anatomical zero can be learnt.",
        level=Level.NOTE,
        detail="zero",
        setting=doubtful[0].setting,
        confidence=0.3,
    )


def _trace(one: Judged, span: FrameSpan) -> Trace:
    inside = one.values[span.first : span.last + 1]
    finite = np.nan_to_num(inside, nan=0.0)
    return Trace(one.angle.name, "deg", span.first, tuple(float(v) for v in finite), one.limit_deg)
