"""Jumps fall as bodies fall."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.mass import mass
from kinelint.anatomy.proportions import built_like_a_person
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion
from kinelint_rules.weight.support import heights, size_of

PRACTICE = "common practice, no source"
REITSMA = (
    "Reitsma PSA, Pollard NS (2003), Perceptual metrics for character animation, ACM TOG "
    "22:537-542 (abstract; the band of gravity from memory)"
)
_LEAST_FRAMES = 4


class FlightSettings(RuleSettings):
    """Settings of `flight`."""

    slowest_m_per_s2: float = setting(
        9.0, gt=0, why="Viewers accept jumps that fall from about this on.", source=REITSMA
    )
    fastest_m_per_s2: float = setting(
        12.7, gt=0, why="Viewers accept jumps that fall up to about this.", source=REITSMA
    )
    note_mm: float = setting(
        20.0,
        gt=0,
        why="Off the nearest path that falls rightly. Jumps of recorded people came to 3 mm.",
        source=PRACTICE + "; measured on 11 jumps and steps of runs in open recordings",
    )
    warning_mm: float = setting(
        60.0, gt=0, why="The figure hangs in the air, or is thrown down.", source=PRACTICE
    )
    aside_mm: float = setting(
        40.0,
        gt=0,
        why="Off a straight line over the ground. Errors sideways are seen more easily than those "
        "up and down.",
        source=REITSMA + "; the figure: " + PRACTICE,
    )
    least_s: float = setting(
        0.13, gt=0, why="Shorter flights tell no gravity from noise.", source=PRACTICE
    )
    sole_over_mm: float = setting(
        20.0, gt=0, why="A sole this high carries nothing.", source=PRACTICE
    )
    part_over_mm: float = setting(
        150.0,
        gt=0,
        why="A joint of any other part that is nearer to the ground may carry the body: knees, "
        "hands, hips.",
        source=PRACTICE,
    )
    stylised_as_people: bool = setting(
        False,
        why="Figures that are not built like people may hang in the air by style: a note at most.",
        source=PRACTICE,
    )


class Flight(Rule[FlightSettings]):
    """Jumps fall as bodies fall.

    While nothing touches anything, the centre of mass can only fall: its height is a parabola
    and its way over the ground a straight line, whatever the limbs do. The rule finds the frames
    in which both soles and every other part are clear of the floor and of declared surfaces,
    takes the centre of mass from the masses of the segments, and says how far its path is off
    the nearest one that a body could take. Recorded jumps come out within some millimetres.

    A flight that falls four times too fast over the whole clip usually means a wrong frame rate.
    """

    id = "flight"
    source = REITSMA + "; segment masses of de Leva 1996"
    level = Level.NOTE
    limits = (("aside_mm",),)
    quantity = "How far the centre of mass is off a path of free fall, mm."
    on_screen = "A jump hangs in the air, drops like a stone, or turns a corner in mid-air."
    remedy = "Move the root in the air along the parabola, or change the time that the jump takes."

    @staticmethod
    def check(motion: Motion, settings: FlightSettings, /) -> Iterator[Finding]:
        """Yields at most two findings a flight: up and down, and sideways."""
        size = size_of(motion)
        aloft = heights(motion).airborne(
            settings.sole_over_mm * 0.001 * size, settings.part_over_mm * 0.001 * size
        )
        rate = motion.sample_rate_hz
        least = max(_LEAST_FRAMES, int(np.ceil(settings.least_s * rate)) + 1)
        found = spans(aloft, min_frames=least)
        if not found:
            if not aloft.any():
                raise NotApplicable("the figure never leaves the ground")
            return
        centre = motion.derive(mass).centre_m
        style = not (settings.stylised_as_people or motion.derive(built_like_a_person))
        for span in found:
            fall = _fall(centre[:, span.first : span.last + 1], rate, settings)
            yield from _findings(motion, span, fall, settings, style)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A jump that falls, one that hangs, one that turns aside, one that stays down."""
        t = np.arange(61) / 60.0
        inside = np.clip(t - 0.2, 0.0, 0.6)
        jump = 0.5 * 9.81 * inside * (0.6 - inside)
        hang = 0.5 * 4.0 * inside * (0.6 - inside)
        aside = np.where(inside > 0.3, inside - 0.3, 0.0) * 1.5

        def made(up: Floats, over: Floats) -> Motion:
            return motion(frames=61, shifts_m={"pelvis": np.stack((over, up, 0.0 * up))})

        yield Example("a jump that falls", made(jump, 0.0 * t))
        yield Example(
            "a jump that hangs",
            made(hang, 0.0 * t),
            finds=1,
            parts=("pelvis",),
            measured=4.0,
            within=0.05,
            level=Level.WARNING,
        )
        yield Example(
            "a jump that turns aside in the air",
            made(jump, aside),
            finds=1,
            parts=("pelvis",),
            level=Level.NOTE,
        )
        yield Example("standing", motion(), not_applicable=True)


@dataclass(frozen=True, eq=False)
class _Fall:
    """One flight: how fast it falls, m/s2, and how far off its paths are, ``(frames,)`` metres."""

    gravity: float
    nearest: float
    off_m: Floats
    aside_m: Floats
    seconds: float


def _fall(path: Floats, rate: float, settings: FlightSettings) -> _Fall:
    time = np.arange(path.shape[1]) / rate
    gravity = float(-2.0 * np.polyfit(time, path[1], 2)[0])
    nearest = float(np.clip(gravity, settings.slowest_m_per_s2, settings.fastest_m_per_s2))
    off = _off_line(time, path[1] + 0.5 * nearest * time**2)
    aside = np.hypot(_off_line(time, path[0]), _off_line(time, path[2]))
    return _Fall(gravity, nearest, np.abs(off), np.asarray(aside), float(time[-1]))


def _off_line(time: Floats, values: Floats) -> Floats:
    return np.asarray(values - np.polyval(np.polyfit(time, values, 1), time))


def _findings(
    motion: Motion, span: FrameSpan, fall: _Fall, settings: FlightSettings, style: bool
) -> Iterator[Finding]:
    off_mm, aside_mm = 1000.0 * fall.off_m, 1000.0 * fall.aside_m
    worst = int(np.argmax(off_mm))
    if off_mm[worst] > settings.note_mm and fall.gravity != fall.nearest:
        heavy = off_mm[worst] > settings.warning_mm and not style
        slow = fall.gravity < fall.nearest
        yield Finding(
            message=f"the figure {'hangs in the air' if slow else 'drops too fast'}: it falls with "
            f"{fall.gravity:.1f} m/s2 for {fall.seconds:.2f} s, {off_mm[worst]:.0f} mm off",
            span=span,
            parts=("pelvis",),
            measured=fall.gravity,
            limit=fall.nearest,
            unit="m/s2",
            worst_frame=span.first + worst,
            remedy=_remedy(fall),
            level=Level.WARNING if heavy else Level.NOTE,
            detail="fall",
            trace=Trace("off free fall", "mm", span.first, tuple(off_mm.tolist())),
            setting="slowest_m_per_s2" if slow else "fastest_m_per_s2",
            confidence=0.4 if style else 0.7,
        )
    side = int(np.argmax(aside_mm))
    if aside_mm[side] > settings.aside_mm:
        yield Finding(
            message=f"the figure leaves a straight line in the air by {aside_mm[side]:.0f} mm",
            span=span,
            parts=("pelvis",),
            measured=float(aside_mm[side]),
            limit=settings.aside_mm,
            unit="mm",
            worst_frame=span.first + side,
            remedy="Nothing can push a figure in the air: straighten the root's path over the "
            f"ground from frame {span.first} to {span.last}.",
            level=Level.NOTE,
            detail="aside",
            trace=Trace("off a straight line", "mm", span.first, tuple(aside_mm.tolist())),
            setting="aside_mm",
            confidence=0.4 if style else 0.7,
        )


def _remedy(fall: _Fall) -> str:
    """In time, and in height: a flight of T seconds rises g T2 / 8."""
    if fall.gravity <= 0.3:
        return (
            "Let the root rise and fall in the air, or declare in the cue sheet what carries the "
            "figure (a chair, a ledge)."
        )
    wanted_s = fall.seconds * float(np.sqrt(fall.gravity / 9.81))
    higher_mm = 1000.0 * (9.81 - fall.gravity) * fall.seconds**2 / 8.0
    move = "higher" if higher_mm > 0 else "lower"
    return (
        f"Let the flight take {wanted_s:.2f} s instead of {fall.seconds:.2f}, or carry the root "
        f"{abs(higher_mm):.0f} mm {move} in its middle. Over a whole clip: is the frame rate right?"
    )
