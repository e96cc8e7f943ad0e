"""Figures that stand still stand over their feet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.anatomy.mass import mass
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.kinematics.rates import windowed_velocity
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import bump, motion, standing
from kinelint_rules.weight.support import Heights, heights, size_of

PRACTICE = "common practice, no source"
_WINDOW_S = 0.2
# Seen from this many sides, the edge of a hull is right to a thousandth of its size.
_SIDES = 64


class BalanceSettings(RuleSettings):
    """Settings of `balance`."""

    outside_mm: float = setting(
        20.0,
        ge=0,
        why="Beyond the edge of the feet. A body that stands still cannot be there at all; this "
        "much is the error of a body model.",
        source=PRACTICE + "; measured on open recordings of people",
    )
    foot_breadth_ratio: float = setting(
        0.055,
        ge=0,
        why="Breadth of a foot, of stature: half of it lies to each side of heel and ball.",
        source="Drillis R, Contini R (1966), as in Winter DA, Biomechanics and Motor Control of "
        "Human Movement, fig. 4.1 (seen quoted)",
    )
    still_m_per_s: float = setting(
        0.1, gt=0, why="A centre of mass this slow is not caught by the next step.", source=PRACTICE
    )
    least_s: float = setting(
        0.3, ge=0, why="For a shorter time a body may be caught in a fall.", source=PRACTICE
    )
    bears_mm: float = setting(
        60.0,
        gt=0,
        why="A point of a sole lower than this may carry the body: floors slope, feet stand on "
        "edges, and estimates are off by some centimetres.",
        source=PRACTICE,
    )
    part_over_mm: float = setting(
        150.0,
        gt=0,
        why="A joint of any other part that is nearer to the ground may carry it: a knee, a hand.",
        source=PRACTICE,
    )


class Balance(Rule[BalanceSettings]):
    """Figures that stand still stand over their feet.

    While the centre of mass hardly moves, it must lie over the ground that the feet cover:
    between heels, balls and toes, each foot as broad as a foot is. The rule takes it from the
    masses of the segments. It judges no frame in which another part is near the ground or the
    cue sheet wants a contact that may carry weight, and knows nothing of ropes, rails and props:
    a figure that leans on something is better told so in the cue sheet.

    A finding is a note: pose and camera may want it.
    """

    id = "balance"
    source = "Statics; segment masses of de Leva 1996 (see `flight`)"
    level = Level.NOTE
    limits = (("outside_mm",),)
    quantity = "How far the centre of mass lies outside the feet, mm."
    on_screen = "The figure stands still and ought to fall over."
    remedy = "Move the hips over the feet, or let the figure lean on something."

    @staticmethod
    def check(motion: Motion, settings: BalanceSettings, /) -> Iterator[Finding]:
        """Yields one finding for each time that the figure stands out of balance."""
        size, rate = size_of(motion), motion.sample_rate_hz
        if motion.frames < 3:
            raise NotApplicable("the clip is too short to stand still in")
        known = heights(motion)
        centre = motion.derive(mass).centre_m
        velocity = windowed_velocity(centre, rate, _WINDOW_S)
        still = np.linalg.norm(velocity, axis=0) < settings.still_m_per_s * size
        still &= known.others_m > settings.part_over_mm * 0.001 * size
        if motion.cue.wanted_contacts:
            raise NotApplicable("the cue sheet wants contacts, which may carry the body")
        outside_mm = _outside_mm(motion, known, centre, still, settings)
        out = outside_mm > settings.outside_mm * size
        least = max(int(np.ceil(settings.least_s * rate)), 2)
        for span in spans(out, min_frames=least, bridge_frames=int(0.1 * rate)):
            yield _finding(motion, span, outside_mm, centre, known, settings.outside_mm * size)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A person who stands, one who leans too far, one who only passes there."""
        lean = 25.0 * bump(181, 20, 160)
        quick = 25.0 * bump(31, 0, 30)
        yield Example("standing", standing())
        yield Example(
            "leans forward from the ankles by 25 deg",
            _leaning(lean),
            finds=1,
            parts=("pelvis",),
            level=None,
        )
        yield Example("the same in half a second", _leaning(quick))


def _leaning(degrees: Floats) -> Motion:
    """The whole body turned about the ankles, feet flat on the floor."""
    height_m = 1.75 * (0.5600 - 0.0250 + 0.0250) - 1.75 * 0.0396
    angle = np.radians(degrees)
    shift = height_m * np.stack((0.0 * angle, np.cos(angle) - 1.0, np.sin(angle)))
    back = [("X", -degrees)]
    turns = {"pelvis": [("X", degrees)], "left_foot": back, "right_foot": back}
    return motion(frames=len(degrees), shifts_m={"pelvis": shift}, turns=turns)


def _outside_mm(
    motion: Motion, known: Heights, centre: Floats, still: Bools, settings: BalanceSettings
) -> Floats:
    """``(frames,)`` beyond the feet's edge; minus infinity where the figure is not judged."""
    size = size_of(motion)
    bears = known.soles_m < settings.bears_mm * 0.001 * size
    judged = np.flatnonzero(still & (bears.sum(axis=0) >= 2))
    out = np.full(motion.frames, -np.inf)
    if not judged.size:
        return out
    angle = 2.0 * np.pi * np.arange(_SIDES) / _SIDES
    ways = np.stack((np.cos(angle), np.sin(angle)))
    points = known.points_m[:, [0, 2]][..., judged]
    reach = np.einsum("cs,pcf->spf", ways, points)
    reach = np.where(bears[None][..., judged], reach, -np.inf).max(axis=1)
    own = np.einsum("cs,cf->sf", ways, centre[[0, 2]][:, judged])
    half_foot = 0.5 * settings.foot_breadth_ratio * motion.figure.stature_m
    half_foot = half_foot if np.isfinite(half_foot) else 0.0
    out[judged] = 1000.0 * ((own - reach).max(axis=0) - half_foot)
    return out


def _finding(
    motion: Motion,
    span: FrameSpan,
    outside_mm: Floats,
    centre: Floats,
    known: Heights,
    limit_mm: float,
) -> Finding:
    inside = slice(span.first, span.last + 1)
    worst = span.first + int(np.argmax(outside_mm[inside]))
    size_mm = float(outside_mm[worst])
    middle = known.points_m[:, :, worst].mean(axis=0)
    away = centre[:, worst] - middle
    away[1] = 0.0
    away /= max(float(np.linalg.norm(away)), 1e-9)
    values = tuple(float(max(value, 0.0)) for value in outside_mm[inside])
    back = (-float(away[0]), 0.0, -float(away[2]))
    at = (float(centre[0, worst]), float(centre[1, worst]), float(centre[2, worst]))
    return Finding(
        message=f"the figure stands still with its weight {size_mm:.0f} mm outside its feet",
        span=span,
        parts=("pelvis",),
        measured=size_mm,
        limit=limit_mm,
        unit="mm",
        worst_frame=worst,
        remedy=f"Move the hips {size_mm:.0f} mm or more back over the feet, take a step, or "
        "declare what the figure leans on.",
        at_m=at,
        direction=back,
        trace=Trace("weight outside the feet", "mm", span.first, values, limit_mm),
        setting="outside_mm",
        confidence=0.5,
    )
