"""Parts of the body stay out of each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from kinelint.anatomy.body import Body
from kinelint.anatomy.parts import label
from kinelint.cue import Cue, WantedContact
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Point, Trace, Unjudged
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import Turns, bump, standing
from kinelint.synthetic import motion as made
from kinelint_rules.contact.lasting import held_frames, touching
from kinelint_rules.contact.on_mesh import confirmed
from kinelint_rules.contact.part_pairs import PartPair, is_judged, part_pairs, wanted_mm
from kinelint_rules.contact.together import told_apart
from kinelint_rules.contact.ways import in_words

TRIAL = "measured on open recordings of walks, runs, dance, gestures and martial arts"
# The example's forearm: its lower half (girths of forearm .1695 and wrist .09765 of stature, a
# quarter and three quarters) beside the upper half of the thigh (.36735 and .2397, the other way
# round), at .95 of the girth; the wrist hangs .072 - .3163 sin 4 of stature from the thigh's axis.
PRESSED_MM = 1750.0 * (
    0.95 * (0.25 * 0.1695 + 0.75 * 0.09765 + 0.75 * 0.36735 + 0.25 * 0.2397) / (2.0 * np.pi)
    - (0.072 - 0.3163 * np.sin(np.radians(4.0)))
)
# What is drawn around a span, so that one sees how the parts come together.
_MARGIN_S = 0.25
# Parts that overlap in most of a clip: what that tells, and what to do.
_THROUGHOUT = (
    ": the body model may be too thick there",
    "Name a body file for this skeleton or set the radius of these parts in the policy; "
    "if they are meant to touch, list the contact in the cue sheet.",
)
_THROUGHOUT_ON_MESH = (
    ", measured on the mesh: the motion may be another build's",
    "Fit the motion to this figure's build; if the parts are meant to touch, list the contact in "
    "the cue sheet.",
)


class PenetrationSettings(RuleSettings):
    """Settings of `penetration`."""

    min_depth_mm: float = setting(
        10.0,
        ge=0,
        why="Capsules miss a body's surface by about this much; shallower says nothing.",
        source=TRIAL,
    )
    warning_mm: float = setting(
        30.0, ge=0, why="From here on clothes and flesh no longer explain it.", source=TRIAL
    )
    error_mm: float = setting(
        100.0,
        ge=0,
        why="Where girths are a survey's means: deeper than a forearm is thick, so that all of it "
        "is inside whatever build the figure has.",
        source="forearm girth of ANSUR II below the elbow, 90 mm thick at 0.95; " + TRIAL,
    )
    measured_error_mm: float = setting(
        40.0,
        ge=0,
        why="Where both girths come from the figure's own skin or the policy: no clothes and no "
        "flesh give way so far.",
        source="common practice, no source",
    )
    min_duration_s: float = setting(
        0.05,
        ge=0,
        why="A shorter overlap is over before it is seen. One that is deep for less, with parts "
        "that touch for so long, is a note: a body may be thicker than its capsules.",
        source="common practice, no source",
    )
    bridge_s: float = setting(
        0.1,
        ge=0,
        why="Two overlaps of the same parts with less than this between them are one.",
        source="common practice, no source",
    )
    body_model_ratio: float = setting(
        0.5,
        gt=0,
        le=1,
        why="Parts that overlap in more of the clip than this tell of the body model instead.",
        source="common practice, no source",
    )

    mesh: bool = setting(
        True,
        why="Where the figure has a skin, what its capsules flag is measured on that skin: girths "
        "are a mean of people's, the skin is what is seen.",
        source="common practice, no source",
    )


class Penetration(Rule[PenetrationSettings]):
    """Parts of the body stay out of each other.

    The body is made of capsules: trunk and head of several, with the breadth and depth of people
    of the figure's height, or fitted to the skin where there is one. The depth is how far one
    part would have to move to be clear of the other.

    Where there is a skin, capsules only tell where to look: there the skin itself is measured, by
    the deepest point of either part inside the other. Parts that the skin leaves open, or that it
    has not, stay with their capsules, and a note says so.

    Neighbours and next neighbours on the body are not compared, and an overlap that the rest
    pose already has does not count. Contacts that the cue sheet wants are let through to the
    depth it gives. Parts that overlap in most of the clip say more about the body model than
    about the motion: that is one note.
    """

    id = "penetration"
    source = (
        "Depth of capsules after Ericson 2005, Real-Time Collision Detection, section 5.1.9; "
        "girths of ANSUR II, the 2012 anthropometric survey of US Army personnel."
    )
    level = Level.ERROR
    # Both errors are of one level, each for its own kind of body; figures rarely have both.
    limits = (("min_depth_mm", "warning_mm", "measured_error_mm", "error_mm"),)
    quantity = "Depth of one part of the body in another, mm."
    on_screen = (
        "A hand sinks into a thigh, an elbow into the ribs, one foot passes through another."
    )
    remedy = "Move the named part the given way by the given depth, with the keys around it."

    @staticmethod
    def check(motion: Motion, settings: PenetrationSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields one finding for each span in which two parts lie in each other."""
        body = _body(motion)
        if body.missing:
            yield Unjudged(body.missing)
        found = [
            one
            for pair in _pairs(motion, settings, body)
            for one in _judge(motion, settings, body, pair)
        ]
        yield from told_apart(found)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A still person, a forearm in the belly, the same wanted, too brief, and throughout."""
        inward = 4.0 * bump(60, 15, 45)
        pushed: dict[str, Turns] = {"left_upper_arm": [("Z", -inward)]}
        arm_at_side = tuple(
            WantedContact(parts)
            for parts in (("forearm", "thigh"), ("hand", "thigh"), ("forearm", "pelvis"))
        )
        yield Example("standing", standing())
        yield Example("arms held out", made(turns={"left_upper_arm": [("Z", 30.0)]}))
        yield Example(
            "left arm pressed into the thigh: the forearm, the hand with it, and the hip",
            made(turns=pushed),
            finds=3,
            parts=("left_forearm", "left_thigh"),
            frames=(19, 41),
            measured=PRESSED_MM,
            within=0.05,
            level=Level.WARNING,
        )
        yield Example(
            "the same, wanted by the cue sheet",
            made(cue=Cue(wanted_contacts=arm_at_side), turns=pushed),
        )
        yield Example(
            "the same in a clip that holds the arms only",
            made(cue=Cue(only_parts=("upper_arm", "forearm", "hand")), turns=pushed),
        )
        brief = 4.0 * (np.abs(np.arange(60) - 30) < 1)
        yield Example("over in a frame", made(turns={"left_upper_arm": [("Z", -brief)]}))
        yield Example(
            "pressed in throughout: notes about the body model",
            made(turns={"left_upper_arm": [("Z", -4.0)]}),
            finds=3,
            level=Level.NOTE,
        )
        yield Example("additive", made(cue=Cue(additive=True)), not_applicable=True)


def _body(motion: Motion) -> Body:
    if motion.cue.additive:
        raise NotApplicable("the clip is additive: it has no pose of its own")
    body = motion.figure.body
    if body is None or not len(body.pairs):
        why = (body.missing if body else "") or "the figure has no volume"
        raise NotApplicable(why)
    if not any(is_judged(body.pair_parts(pair), motion.cue) for pair in range(len(body.pairs))):
        raise NotApplicable("the clip holds no two parts that could lie in each other")
    return body


def _pairs(motion: Motion, settings: PenetrationSettings, body: Body) -> Iterator[PartPair]:
    """Pairs that the clip asks to be judged, on the skin where there is one."""
    on_mesh = settings.mesh and bool(motion.figure.skins)
    # A skin may be somewhat thicker than its capsules.
    least_mm = (0.5 if on_mesh else 1.0) * settings.min_depth_mm
    pairs = (
        pair for pair in part_pairs(motion, body, least_mm) if is_judged(pair.parts, motion.cue)
    )
    return confirmed(motion, pairs) if on_mesh else pairs


def _judge(
    motion: Motion, settings: PenetrationSettings, body: Body, pair: PartPair
) -> Iterator[Finding]:
    limit = max(settings.min_depth_mm, wanted_mm(pair.parts, motion.cue))
    deep = pair.depth_mm > limit
    rate = motion.sample_rate_hz
    if motion.frames > 1 and np.mean(deep) > settings.body_model_ratio:
        own = "min_depth_mm" if limit <= settings.min_depth_mm else ""
        yield _of_the_model(motion, pair, limit, own, deep)
        return
    least = settings.min_duration_s * rate - 1e-6
    for span in spans(deep, bridge_frames=round(settings.bridge_s * rate)):
        lasts = held_frames(pair.depth_mm, limit, span) >= least
        touch = touching(pair.depth_mm, span)
        if lasts or touch.frames >= least:
            found = _finding(motion, settings, pair, limit, span, _error_name(body, pair))
            if not lasts:
                found = replace(found, level=Level.NOTE, confidence=0.3)
            yield _doubted(found, body, pair)


def _finding(
    motion: Motion,
    settings: PenetrationSettings,
    pair: PartPair,
    limit: float,
    span: FrameSpan,
    error_name: str,
) -> Finding:
    worst = span.first + int(np.argmax(pair.depth_mm[span.first : span.last + 1]))
    depth = float(pair.depth_mm[worst])
    first, second = (label(part) for part in pair.parts)
    at, direction = _place(motion, pair, worst)
    way = in_words(motion, worst, np.array(direction), pair.parts[0])
    deeper = " deeper than at rest" if pair.at_rest_mm > 0.5 else ""
    passed, name = _passed(depth, settings, error_name)
    error_mm = getattr(settings, error_name)
    measured = ", measured on the mesh" if pair.on_mesh else ""
    return Finding(
        f"{first} is {depth:.0f} mm inside the {second}{deeper}{measured}",
        span,
        pair.parts,
        measured=depth,
        limit=max(limit, passed),
        unit="mm",
        worst_frame=worst,
        remedy=f"Move the {first} {depth:.0f} mm {way}, away from the {second}.",
        level=_grade(depth, settings.warning_mm, error_mm),
        at_m=at,
        direction=direction,
        trace=_trace(motion, pair, limit, span),
        # A deeper contact that the cue sheet wants is no setting's limit.
        setting=name if passed >= limit else "",
        confidence=_sure(pair, depth, settings.warning_mm, error_mm, error_name),
    )


def _sure(
    pair: PartPair, depth_mm: float, warning_mm: float, error_mm: float, error_name: str
) -> float:
    """Surer by depth, and where the volume is the figure's own; surest on its skin."""
    if pair.on_mesh:
        return 0.95
    by_depth = {Level.ERROR: 0.9, Level.WARNING: 0.7, Level.NOTE: 0.5}
    sure = by_depth[_grade(depth_mm, warning_mm, error_mm)]
    return sure if error_name == "measured_error_mm" else round(sure - 0.1, 2)


def _doubted(found: Finding, body: Body, pair: PartPair) -> Finding:
    """A level lower where the body's volume is a guess, or parts lie in each other by style."""
    why = next((body.doubts[part] for part in found.parts if part in body.doubts), "")
    if not why:
        return found
    level = Level.WARNING if found.level is Level.ERROR else Level.NOTE
    sure = round(0.5 * (found.confidence or 0.0), 2)
    told = f"The depth is a guess: {why}; a body file would tell."
    if pair.on_mesh:
        told = "On a figure as stout as this it may be the style: look at it."
    return replace(found, level=level, remedy=f"{found.remedy} {told}", confidence=sure)


def _passed(depth_mm: float, settings: PenetrationSettings, error_name: str) -> tuple[float, str]:
    """The highest of the limits that the depth has passed, and its setting's name."""
    names = ("min_depth_mm", "warning_mm", error_name)
    limits = [(float(getattr(settings, name)), name) for name in names]
    return max(
        (one for one in limits if depth_mm > one[0]), key=lambda one: one[0], default=limits[0]
    )


def _error_name(body: Body, pair: PartPair) -> str:
    if pair.on_mesh:
        return "measured_error_mm"
    guessed = any(body.radii_from.get(part, "girth") == "girth" for part in pair.parts)
    return "error_mm" if guessed else "measured_error_mm"


def _grade(depth_mm: float, warning_mm: float, error_mm: float) -> Level:
    if depth_mm > error_mm:
        return Level.ERROR
    return Level.WARNING if depth_mm > warning_mm else Level.NOTE


def _of_the_model(
    motion: Motion, pair: PartPair, limit: float, setting_name: str, deep: Bools
) -> Finding:
    frames = np.flatnonzero(deep)
    worst = int(np.argmax(pair.depth_mm))
    first, second = (label(part) for part in pair.parts)
    at, direction = _place(motion, pair, worst)
    share = 100.0 * float(np.mean(deep))
    span = FrameSpan(int(frames[0]), int(frames[-1]))
    why, remedy = _THROUGHOUT_ON_MESH if pair.on_mesh else _THROUGHOUT
    return Finding(
        f"{first} lies in the {second} in {share:.0f} % of the clip, up to "
        f"{pair.depth_mm[worst]:.0f} mm{why}",
        span,
        pair.parts,
        measured=float(pair.depth_mm[worst]),
        limit=limit,
        unit="mm",
        worst_frame=worst,
        remedy=remedy,
        level=Level.NOTE,
        detail="body model",
        at_m=at,
        direction=direction,
        trace=_trace(motion, pair, limit, span),
        setting=setting_name,
        confidence=0.5 if pair.on_mesh else 0.3,
    )


def _place(motion: Motion, pair: PartPair, frame: int) -> tuple[Point, Point]:
    """World point of the overlap and the direction that clears it."""
    point, direction = pair.place(motion, frame)
    return _point(point), _point(direction)


def _point(values: Floats) -> Point:
    return float(values[0]), float(values[1]), float(values[2])


def _trace(motion: Motion, pair: PartPair, limit: float, span: FrameSpan) -> Trace:
    margin = round(_MARGIN_S * motion.sample_rate_hz)
    first = max(span.first - margin, 0)
    values = pair.depth_mm[first : span.last + margin + 1]
    name = f"depth of {label(pair.parts[0])} in {label(pair.parts[1])}"
    return Trace(name, "mm", first, tuple(float(value) for value in values), limit)
