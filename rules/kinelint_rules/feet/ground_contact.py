"""Feet stand on the ground, and nothing sinks into it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.anatomy.ground import Ground, ground
from kinelint.anatomy.parts import label
from kinelint.anatomy.plane import Plane
from kinelint.anatomy.sole import soles
from kinelint.cue import Cue, Surface
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace, Unjudged
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import bump, standing
from kinelint.synthetic_walk import standing_on, walk
from kinelint_rules.feet.bearing import Depth, feet, hovering, other_parts
from kinelint_rules.feet.judged import graded, point, refuse, unseen

TRIAL = "measured on 24 captures of walks, runs, idles and gestures"
COMMON = "common practice, no source"


class GroundContactSettings(RuleSettings):
    """Settings of `ground-contact`."""

    note_mm: float = setting(
        20.0, gt=0, why="Soles of clean captures stay within this of their floor.", source=TRIAL
    )
    warning_mm: float = setting(
        30.0, gt=0, why="As thick as a sole: the foot is seen to be cut off.", source=COMMON
    )
    error_mm: float = setting(50.0, gt=0, why="The toes disappear in the floor.", source=COMMON)
    min_s: float = setting(
        0.04, ge=0, why="A single frame at 30 frames a second is not seen.", source=COMMON
    )
    body_extra_mm: float = setting(
        30.0,
        ge=0,
        why="Parts other than feet are modelled as stiff capsules; flesh gives way.",
        source=COMMON,
    )
    hover_note_mm: float = setting(
        30.0, gt=0, why="Soles of clean captures stay within this of their floor.", source=TRIAL
    )
    hover_warning_mm: float = setting(
        40.0, gt=0, why="Light shows under the foot that carries the body.", source=COMMON
    )
    hover_error_mm: float = setting(60.0, gt=0, why="The figure floats.", source=COMMON)
    hover_min_s: float = setting(
        0.15, gt=0, why="Shorter is a foot that lands or lifts.", source=COMMON
    )
    bridge_s: float = setting(
        0.1, ge=0, why="Two of one foot with less than this between them are one.", source=COMMON
    )


class GroundContact(Rule[GroundContactSettings]):
    """Feet stand on the ground, and nothing sinks into it.

    Measures how deep heel, ball and toe tip of a virtual sole lie below the floor or a declared
    surface, the same for every other part of the body, and how high a foot hovers that stands
    still and carries the body alone.

    Where the floor is declared and the clip as a whole stands above or below it, that is one
    finding, and single steps are then measured from where the clip stands. Where the floor is
    estimated, all depths are relative to the estimate, which lies halfway between the levels of
    the two feet: a foot that stands a little above it is measured from where it stands, and other
    parts from the lower of the two levels.

    The sole is that of a rest pose which stands on the scene's floor, else of the skin or body
    file, else as thick as people's; a declared floor corrects that last guess by 15 mm at most.
    """

    id = "ground-contact"
    source = TRIAL
    level = Level.ERROR
    limits = (
        ("note_mm", "warning_mm", "error_mm"),
        ("hover_note_mm", "hover_warning_mm", "hover_error_mm"),
    )
    quantity = "Depth below the ground, or height of a standing foot above it, mm."
    on_screen = "Toes or heels vanish in the floor; a figure stands on air."
    remedy = "Raise or lower the foot by the distance named, or the root if all feet are off."

    @staticmethod
    def check(motion: Motion, settings: GroundContactSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields one finding for each span in which a part is under, or a foot over, the ground."""
        refuse(motion)
        found = motion.derive(ground)
        if found.guessed:
            raise NotApplicable(
                "no foot stands still in this clip: declare ground_m to have it judged"
            )
        yield from unseen(motion)
        plane, floor = found.floor, "estimated floor" if found.estimated else "ground"
        whole = _whole(motion, found, settings)
        if whole is not None:
            yield whole
            plane, floor = Plane(plane.height_m + found.offset_m), "level the clip stands on"
        limits = (settings.note_mm, settings.warning_mm, settings.error_mm)
        for one in feet(motion, plane, own_level=found.estimated):
            yield from _sunk(motion, floor, one, limits, settings)
        softer = tuple(limit + settings.body_extra_mm for limit in limits)
        for one in other_parts(motion, plane):
            yield from _sunk(motion, floor, one.less(found.doubt_m), softer, settings)
        for side, height in hovering(motion, plane).items():
            yield from _floating(motion, floor, side, height, settings)

    @staticmethod
    def examples() -> Iterable[Example]:
        """Standing and walking on the floor and on a crate; sunk, floating, and both as a whole."""
        down = 0.062 * bump(121, 30, 90)
        sunk = standing_on({"left": np.stack((0 * down, -down, 0 * down))}, frames=121, drop_m=0.1)
        up = 0.045 * np.ones(121)
        raised = standing_on(
            dict.fromkeys(("left", "right"), np.stack((0 * up, up, 0 * up))), frames=121
        )
        crate = Cue(surfaces=(Surface("crate", 0.045, (-1.0, -1.0), (1.0, 1.0)),))
        yield Example("standing", standing())
        yield Example("walking", walk().motion())
        yield Example(
            "left foot under the floor",
            sunk.motion(),
            finds=1,
            parts=("left_foot",),
            frames=(36, 84),
            measured=62.0,
            within=0.1,
            level=Level.ERROR,
        )
        yield Example(
            "the whole figure floats", raised.motion(), finds=1, measured=45.0, level=Level.WARNING
        )
        yield Example("the same on a crate of that height", raised.motion(crate))


def _whole(motion: Motion, found: Ground, settings: GroundContactSettings) -> Finding | None:
    """The clip as a whole over or under a declared floor."""
    off_mm = 1000.0 * found.offset_m
    limits = (settings.note_mm, settings.warning_mm, settings.error_mm)
    if off_mm > 0:
        limits = (settings.hover_note_mm, settings.hover_warning_mm, settings.hover_error_mm)
    grade = graded(abs(off_mm), *limits)
    if grade is None:
        return None
    where, mend = ("above", "Lower") if off_mm > 0 else ("below", "Raise")
    return Finding(
        f"the whole clip stands {abs(off_mm):.0f} mm {where} the floor",
        FrameSpan(0, motion.frames - 1),
        tuple(f"{side}_foot" for side in motion.derive(soles)),
        measured=abs(off_mm),
        limit=grade[1],
        unit="mm",
        remedy=f"{mend} the root by {abs(off_mm):.0f} mm over the whole clip, or declare ground_m "
        f"= {found.stance.height_m:.3f} for it.",
        level=grade[0],
        detail="whole clip",
        direction=(0.0, -1.0 if off_mm > 0 else 1.0, 0.0),
        setting=f"{'hover_' if off_mm > 0 else ''}{grade[0].value}_mm",
        confidence=0.9,
    )


def _sunk(
    motion: Motion,
    floor: str,
    one: Depth,
    limits_mm: tuple[float, ...],
    settings: GroundContactSettings,
) -> Iterator[Finding]:
    depth_mm = 1000.0 * one.depth_m
    for span, level, limit_mm in _graded_spans(
        motion, depth_mm, limits_mm, settings.min_s, settings.bridge_s
    ):
        inside = slice(span.first, span.last + 1)
        if one.inner_m is not None and one.inner_m[inside].max() <= 0.0 and level is Level.ERROR:
            # Only the capsule is under, and that is a guess at the flesh.
            level, limit_mm = Level.WARNING, limits_mm[1]
        worst = span.first + int(np.argmax(depth_mm[inside]))
        deepest = int(np.argmax(one.depths_m[:, worst]))
        size_mm = float(depth_mm[worst])
        name = one.name_at(worst)
        what = " ".join(word for word in (label(one.part), name) if word)
        yield Finding(
            f"{what} is {size_mm:.0f} mm under the {floor}",
            span,
            (one.part,),
            measured=size_mm,
            limit=limit_mm,
            unit="mm",
            worst_frame=worst,
            remedy=f"Raise the {what} by {size_mm:.0f} mm"
            + (", or raise the root if both feet are too low." if name else "."),
            level=level,
            detail="below",
            at_m=point(one.points_m[deepest, :, worst]),
            direction=(0.0, 1.0, 0.0),
            trace=_trace(f"{label(one.part)} below the ground", depth_mm, span, limit_mm),
            # Of the two that make a soft part's limit, the one that is its own.
            setting=f"{level.value}_mm" if name else "body_extra_mm",
            confidence=_sure(motion, flesh=not name),
        )


def _floating(
    motion: Motion,
    floor: str,
    side: str,
    height_m: Floats,
    settings: GroundContactSettings,
) -> Iterator[Finding]:
    limits = (settings.hover_note_mm, settings.hover_warning_mm, settings.hover_error_mm)
    height_mm = 1000.0 * height_m
    for span, level, limit_mm in _graded_spans(
        motion, height_mm, limits, settings.hover_min_s, settings.bridge_s
    ):
        worst = span.first + int(np.argmax(height_mm[span.first : span.last + 1]))
        size_mm = float(height_mm[worst])
        sole = motion.derive(soles)[side]
        yield Finding(
            f"{side} foot carries the body {size_mm:.0f} mm above the {floor}",
            span,
            (f"{side}_foot",),
            measured=size_mm,
            limit=limit_mm,
            unit="mm",
            worst_frame=worst,
            remedy=f"Lower the {side} foot or the root by {size_mm:.0f} mm, or declare what it "
            "stands on as a surface in the cue sheet.",
            level=level,
            detail="floats",
            at_m=point(sole.ball_m[:, worst]),
            direction=(0.0, -1.0, 0.0),
            trace=_trace(f"{side} foot above the ground", height_mm, span, limit_mm),
            setting=f"hover_{level.value}_mm",
            confidence=_sure(motion),
        )


def _sure(motion: Motion, flesh: bool = False) -> float:
    """Less sure of an estimated floor, and of parts that are capsules."""
    return (0.7 if motion.derive(ground).estimated else 0.9) - (0.2 if flesh else 0.0)


def _graded_spans(
    motion: Motion, size_mm: Floats, limits_mm: tuple[float, ...], min_s: float, bridge_s: float
) -> Iterator[tuple[FrameSpan, Level, float]]:
    """Spans over the lowest limit, each with the highest level that it keeps up for `min_s`."""
    rate = motion.sample_rate_hz
    least, bridge = max(int(np.ceil(min_s * rate - 1e-9)), 1), round(bridge_s * rate)
    for span in spans(size_mm > limits_mm[0], min_frames=least, bridge_frames=bridge):
        inside = size_mm[span.first : span.last + 1]
        levels = (Level.NOTE, Level.WARNING, Level.ERROR)
        for level, limit in reversed(list(zip(levels, limits_mm, strict=True))):
            if spans(inside > limit, min_frames=least):
                yield span, level, limit
                break


def _trace(name: str, size_mm: Floats, span: FrameSpan, limit_mm: float) -> Trace:
    values = tuple(float(value) for value in size_mm[span.first : span.last + 1])
    return Trace(name, "mm", span.first, values, limit_mm)
