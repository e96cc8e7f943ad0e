"""Joints stay within what people can do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.anatomy.joint_angles_of import angles_of
from kinelint.anatomy.parts import label
from kinelint.anatomy.readings import Angle
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace, Unjudged
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.spans import spans
from kinelint.synthetic import bump, motion, standing
from kinelint_rules.joints.ranges import BOONE, RANGES, SOUCIE, Age, Range, Sex

# A joint that is beyond its limit for this share of the clip says more of its zero than of itself.
MOST_OF_CLIP = 0.6
# Joints that every figure has: where one is missing the rule says so.
EXPECTED = ("upper_arm", "forearm", "hand", "thigh", "shank", "foot")


class JointLimitSettings(RuleSettings):
    """Settings of `joint-limit`."""

    profile_sex: Sex = setting(
        "any",
        why="Whose range counts: the wider of the two, unless a character's is to be held.",
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

    The limits screen animation. They are no medical reference, and no safe range for a performer:
    never ask a person to reach them.
    """

    id = "joint-limit"
    source = "Soucie et al. 2011; Boone & Azen 1979; AAOS; 38 CFR 4.71a: see the rule's ranges"
    level = Level.WARNING
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
            (angle, one, limit_of(one, settings))
            for angle in told.angles
            for one in RANGES
            if one.angle == angle.angle and one.joint == kind_of(angle) and _moves(motion, angle)
        ]
        if not judged:
            reasons = {one.reason for one in told.untold} or {"no joint of it was recognised"}
            raise NotApplicable("; ".join(sorted(reasons)))
        yield from _unjudged(motion)
        for angle, one, limit_deg in judged:
            yield from _judge(motion, settings, angle, one, limit_deg)

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
        yield Example(
            "left thigh 48 deg back",
            motion(turns={"left_thigh": [("X", 48 * pulse)]}),
            finds=1,
            parts=("left_thigh",),
            measured=48.0,
            within=0.01,
            level=Level.WARNING,
        )


def kind_of(angle: Angle) -> str:
    """The joint as the table of ranges names it: without its side, fingers alike."""
    side, _, rest = angle.joint.partition(" ")
    name = rest if side in ("left", "right") else angle.joint
    first, _, which = name.partition(" ")
    return f"finger {which}" if first in ("index", "middle", "ring", "little") else name


def limit_of(one: Range, settings: JointLimitSettings) -> float:
    """The limit in degrees, the policy's margin included."""
    margin = settings.margin_deg if one.basis == "positions" else settings.zero_margin_deg
    return one.limit_deg(settings.profile_sex, settings.profile_age) + margin


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
    motion: Motion, settings: JointLimitSettings, angle: Angle, one: Range, limit_deg: float
) -> Iterator[Finding]:
    values = one.sign * angle.degrees
    over = values > limit_deg
    if not over.any():
        return
    throughout = motion.frames > 1 and float(np.mean(over)) > MOST_OF_CLIP
    least = max(2, round(settings.min_duration_s * motion.sample_rate_hz))
    found = [
        span
        for span in spans(values > limit_deg - settings.hysteresis_deg)
        if over[span.first : span.last + 1].sum() >= min(least, motion.frames)
    ]
    if throughout and found and one.basis == "zero":
        yield _about_the_zero(angle, one, limit_deg, FrameSpan(found[0].first, found[-1].last))
        return
    for span in found:
        yield _finding(settings, angle, one, limit_deg, span)


def _finding(
    settings: JointLimitSettings, angle: Angle, one: Range, limit_deg: float, span: FrameSpan
) -> Finding:
    values = one.sign * angle.degrees
    worst = _worst(values, span)
    measured = float(values[worst])
    past = measured - limit_deg
    return Finding(
        f"{angle.joint} {one.words} {measured:.0f}°, past {limit_deg:.0f}°",
        span,
        (angle.part,),
        measured=measured,
        limit=limit_deg,
        unit="deg",
        worst_frame=worst,
        remedy=f"Turn the {label(angle.part)} back by {max(past, 1.0):.0f}° or more at the worst frame.",
        level=_level(settings, one, past),
        detail=one.words,
        trace=_trace(angle, values, limit_deg, span),
    )


def _level(settings: JointLimitSettings, one: Range, past_deg: float) -> Level:
    wrong_way = one.words == "hyperextended"
    bound = settings.hyperextension_error_deg if wrong_way else settings.error_past_deg
    if one.tolerant:
        return Level.WARNING if past_deg >= bound else Level.NOTE
    return Level.ERROR if past_deg >= bound else Level.WARNING


def _about_the_zero(angle: Angle, one: Range, limit_deg: float, span: FrameSpan) -> Finding:
    values = one.sign * angle.degrees
    worst = _worst(values, span)
    return Finding(
        f"{angle.joint} reads {one.words} past {limit_deg:.0f}° in most of the clip: "
        "its zero may be wrong",
        span,
        (angle.part,),
        measured=float(values[worst]),
        limit=limit_deg,
        unit="deg",
        worst_frame=worst,
        remedy=f"If the {label(angle.part)} looks right, add a clip of this skeleton that stands "
        "upright with its feet flat, so that the zero can be learnt.",
        level=Level.NOTE,
        detail=one.words,
        trace=_trace(angle, values, limit_deg, span),
    )


def _worst(values: Floats, span: FrameSpan) -> int:
    return span.first + int(np.nanargmax(values[span.first : span.last + 1]))


def _trace(angle: Angle, values: Floats, limit_deg: float, span: FrameSpan) -> Trace:
    inside = values[span.first : span.last + 1]
    return Trace(angle.name, "deg", span.first, tuple(float(v) for v in inside), limit_deg)
