"""Planted feet stay where they are."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.anatomy.feet import scale_of
from kinelint.anatomy.parts import label
from kinelint.anatomy.plants import Plant, plants
from kinelint.anatomy.proportions import built_like_a_person
from kinelint.anatomy.sole import soles
from kinelint.anatomy.travel import Basis, Travel, travel
from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace, Unjudged
from kinelint.kinematics import rates
from kinelint.kinematics.slides import REST_M_PER_S, Excursion
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import standing
from kinelint.synthetic_walk import at_rest, ramp, standing_on, turned_about, walk
from kinelint_rules.feet.judged import graded, point, refuse, unseen, way_of
from kinelint_rules.feet.manner import glides_in_part, moves_as_it_slides

PRAZAK = (
    "Prazak M, Hoyet L, O'Sullivan C (2011), Perceptual Evaluation of Footskate Cleanup, "
    "SCA 2011 (from memory)"
)
TRIAL = "measured on 24 captures of walks, runs, idles and gestures"
WINDOW_S = 0.1
# Slides with one cause: so many plants, such a share of all, this much in one direction.
_COMMON, _COMMON_SHARE, _SAME_WAY = 4, 0.7, 0.9


class FootSlideSettings(RuleSettings):
    """Settings of `foot-slide`."""

    note_mm: float = setting(
        21.0,
        gt=0,
        why="Viewers notice slides of less than 21 mm in most conditions.",
        source=PRAZAK,
    )
    warning_mm: float = setting(
        30.0,
        gt=0,
        why="Feet of clean captures slide further only here and there.",
        source=TRIAL,
    )
    error_mm: float = setting(
        60.0,
        gt=0,
        why="Performers shuffle by up to 60 mm; further only where they drag a foot on purpose.",
        source=TRIAL,
    )
    swivel_deg: float = setting(
        30.0,
        gt=0,
        why="A foot that turns this far as it slides swivels on purpose: at most a warning.",
        source=TRIAL,
    )
    lift_mm: float = setting(
        25.0,
        gt=0,
        why="A heel or ball that rises this far as the foot slides is dragged: at most a warning.",
        source=TRIAL,
    )
    travel_m_per_s: float = setting(
        0.3,
        gt=0,
        why="If all feet run over the floor at this speed, the clip as a whole travels wrongly.",
        source=TRIAL,
    )
    stylised_as_people: bool = setting(
        False,
        why="Figures that are not built like people glide by style, keyed by hand: at most a "
        "warning. Set it to hold them as people are held.",
        source="common practice, no source; two open packs of cartoon figures",
    )


class FootSlide(Rule[FootSlideSettings]):
    """Planted feet stay where they are.

    Finds when heel and ball of a virtual sole bear on the floor or on a declared surface, from
    their height and their speed over a fixed time, and measures how far the bearing point strays
    in each plant. The weight is followed from heel to ball, and where the whole foot glides, to
    the end that goes further; a turn on the ball or the heel is no slide, and neither is a low
    step. 80 ms of touching down and of rolling off do not count. A foot that swivels or is dragged
    with a raised heel as it slides gets a warning at most, unless it glides far enough for an
    error just before or after that. The feet of a figure whose arms, legs and trunk are not in a
    person's proportions get a warning at most, too. Clips of less than 60 frames a second are read
    at 120, and shivers faster than some 7 Hz are taken out.

    In an in-place clip feet run under the figure. Declare the velocity that it stands for in the
    cue sheet; where it is not declared it is fitted to the feet, and the rule says so.

    Support that moves, such as a boat's deck, is not known to this rule.
    """

    id = "foot-slide"
    source = PRAZAK
    level = Level.ERROR
    limits = (("note_mm", "warning_mm", "error_mm"),)
    quantity = "How far the bearing point of a planted foot strays over its support, mm."
    on_screen = "The foot skates: it glides over the floor while the body's weight is on it."
    remedy = "Pin the foot for the frames named, or move the root so that the foot stays."

    @staticmethod
    def check(motion: Motion, settings: FootSlideSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields one finding for each plant in which the foot slides."""
        refuse(motion)
        how = motion.derive(travel)
        yield from unseen(motion)
        amiss = _amiss(motion, how, settings)
        if amiss is not None:
            yield amiss
        if how.basis is Basis.DECLARED and isinstance(amiss, Finding):
            return
        if how.basis is Basis.FITTED and not how.steady:
            raise NotApplicable("the feet of this in-place clip do not agree on a travel velocity")
        loose = not (settings.stylised_as_people or motion.derive(built_like_a_person))
        slow, least_m = REST_M_PER_S * scale_of(motion), settings.note_mm / 1000.0
        for plant in motion.derive(plants):
            for strayed in plant.slides(slow, least_m):
                size_mm = 1000.0 * strayed.size
                grade = graded(size_mm, settings.note_mm, settings.warning_mm, settings.error_mm)
                if grade is None:
                    continue
                moves = moves_as_it_slides(plant, strayed, settings.swivel_deg, settings.lift_mm)
                if grade[0] is Level.ERROR:
                    if moves and _glides_far(plant, strayed, settings):
                        moves = ""
                    if moves or loose:
                        grade = Level.WARNING, settings.warning_mm
                strayed = plant.in_frames(strayed)
                sure = 0.5 if moves or loose else 0.9 if grade[0] is Level.ERROR else 0.7
                yield _finding(motion, plant, strayed, moves, *grade, settings.note_mm, sure)

    @staticmethod
    def examples() -> Iterable[Example]:
        """Standing, walking and turning feet that hold; feet that slide while they bear."""
        yield Example("standing", standing())
        yield Example("walking", walk().motion())
        turning = 90.0 * np.linspace(0.0, 1.0, 91)
        ball = at_rest("left_toes") * [1.0, 0.0, 1.0]
        yield Example(
            "a turn on the ball of the left foot drags the right one",
            turned_about(ball, turning).motion(),
            finds=1,
            parts=("right_foot",),
        )
        slide = 0.0625 * ramp(121, 48, 72)
        slid = standing_on({"left": np.stack((0 * slide, 0 * slide, slide))}, frames=121)
        yield Example(
            "left foot slides forwards",
            slid.motion(),
            finds=1,
            parts=("left_foot",),
            frames=(52, 68),
            measured=62.5,
            within=0.5,
            level=Level.ERROR,
        )
        yield Example("travel shorter than the stride", walk(slips=0.1).motion(), finds=8)
        in_place = walk(in_place=True)
        yield Example("in place, not declared", in_place.motion(), finds=1, level=Level.NOTE)
        declared = Cue(in_place=True, travel_m_per_s=(0.0, 0.0, 1.0))
        yield Example("in place, as declared", in_place.motion(declared))
        faster = Cue(in_place=True, travel_m_per_s=(0.0, 0.0, 1.5))
        yield Example("in place, declared too fast", in_place.motion(faster), finds=1, measured=0.5)


def _amiss(motion: Motion, how: Travel, settings: FootSlideSettings) -> Finding | Unjudged | None:
    """What is to be said of the clip's travel as a whole."""
    speed = f"{how.speed_m_per_s:.2f} m/s"
    if how.basis is Basis.FITTED:
        return Unjudged(
            f"the cue sheet declares no travel velocity: {speed} was fitted to the feet"
        )
    if how.basis is Basis.SUPPOSED:
        said = f"the feet run at {speed} under a figure that stays: an in-place clip"
        return _whole(motion, how, settings, said, _declare(how), Level.NOTE)
    if how.basis is Basis.MISMATCH:
        said = f"all feet slide at {speed} under a figure that travels at {how.figure_m_per_s:.2f}"
        mend = (
            "Scale the root's travel or the clip's speed until the planted feet stay; "
            + _declare(how)
        )
        return _whole(motion, how, settings, said + " m/s", mend, Level.ERROR)
    if how.basis is Basis.DECLARED and how.off_m_per_s > settings.travel_m_per_s:
        said = f"the feet run {how.off_m_per_s:.2f} m/s off the declared travel of {speed}"
        mend = "Correct travel_m_per_s in the cue sheet, or the clip's stride."
        return _whole(motion, how, settings, said, mend, Level.ERROR)
    return None


def _declare(how: Travel) -> str:
    x, z = how.velocity_m_per_s
    return f"if it is in place, declare in_place and travel_m_per_s = [{x:.2f}, 0, {z:.2f}]."


def _whole(
    motion: Motion, how: Travel, settings: FootSlideSettings, said: str, mend: str, level: Level
) -> Finding:
    return Finding(
        said,
        FrameSpan(0, motion.frames - 1),
        tuple(f"{side}_foot" for side in motion.derive(soles)),
        measured=how.off_m_per_s,
        limit=settings.travel_m_per_s,
        unit="m/s",
        remedy=mend[0].upper() + mend[1:],
        level=level,
        detail="travel",
        setting="travel_m_per_s",
        confidence=0.9 if how.basis is Basis.DECLARED else 0.7,
    )


def _glides_far(plant: Plant, strayed: Excursion, settings: FootSlideSettings) -> bool:
    limits = (settings.error_mm, settings.swivel_deg, settings.lift_mm)
    return glides_in_part(plant, strayed, *limits)


def _finding(
    motion: Motion,
    plant: Plant,
    strayed: Excursion,
    moves: str,
    level: Level,
    limit_mm: float,
    note_mm: float,
    sure: float,
) -> Finding:
    velocity = rates.windowed_velocity(plant.path_m, motion.sample_rate_hz, WINDOW_S)
    speed = np.hypot(*velocity)
    inside = slice(strayed.first, strayed.last + 1)
    worst = strayed.first + int(np.argmax(speed[inside]))
    size_mm = 1000.0 * strayed.size
    part = f"{plant.side}_foot"
    sole = motion.derive(soles)[plant.side]
    frame = plant.first + worst
    ahead = (sole.ball_m[:, frame] - sole.heel_m[:, frame])[[0, 2]]
    way = way_of(strayed.direction, ahead)
    bears = _bears(float(plant.along[worst]))
    off = plant.path_m - plant.path_m[:, [strayed.first]]
    return Finding(
        f"{label(part)} slides {size_mm:.0f} mm {way} while its {bears} bears, "
        f"at up to {speed[worst]:.2f} m/s" + (f", {moves}" if moves else ""),
        FrameSpan(plant.first + strayed.first, plant.first + strayed.last),
        (part,),
        measured=size_mm,
        limit=limit_mm,
        unit="mm",
        worst_frame=frame,
        remedy=f"Pin the {bears} of the {label(part)}, or move the root along with it: "
        f"take out {size_mm:.0f} mm {way}." + motion.derive(_common, note_mm),
        level=level,
        detail=bears,
        at_m=point(plant.at_m[:, worst]),
        direction=(strayed.direction[0], 0.0, strayed.direction[1]),
        trace=Trace(
            f"{label(part)} off its place",
            "mm",
            plant.first,
            tuple((1000.0 * np.hypot(*off)).tolist()),
            limit_mm,
        ),
        setting=f"{level.value}_mm",
        confidence=sure,
    )


def _common(motion: Motion, note_mm: float) -> str:
    """What to add if nearly all plants slide the same way: the root's travel is at fault."""
    every = motion.derive(plants)
    moved = np.array([plant.fine_m[:, -1] for plant in every]).reshape(-1, 2)
    sizes = np.hypot(moved[:, 0], moved[:, 1])
    slide = sizes > note_mm / 1000.0
    if slide.sum() < _COMMON or slide.mean() < _COMMON_SHARE:
        return ""
    together = moved[slide].sum(axis=0)
    if np.hypot(*together) < _SAME_WAY * sizes[slide].sum():
        return ""
    time_s = sum(one.last - one.first for one in every) / motion.sample_rate_hz
    x, z = together / time_s
    return (
        f" In {slide.sum()} of {slide.size} plants the feet slide this way: the root's travel is "
        f"off by about ({x:.2f}, {z:.2f}) m/s in (x, z)."
    )


def _bears(along: float) -> str:
    return "heel" if along < 0.25 else "ball" if along > 0.75 else "sole"
