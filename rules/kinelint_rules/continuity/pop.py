"""Poses do not jump from one frame to the next."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from kinelint.anatomy.parts import label
from kinelint.anatomy.proportions import built_like_a_person
from kinelint.finding import Finding, FrameSpan, Level, Trace
from kinelint.kinematics import rates
from kinelint.motion import Motion
from kinelint.rule import Example, Rule
from kinelint.synthetic import motion
from kinelint_rules.continuity.pop_events import (
    MEASURED,
    Event,
    PopSettings,
    gathered,
    places,
    turns,
)

_TRACE_S = 0.3


class Pop(Rule[PopSettings]):
    """Poses do not jump from one frame to the next.

    Compares each frame's step (how every joint turns against its parent, and where the pelvis
    goes) with the steps right beside it. A jump stands out from them by its own size while no
    other step around it differs from its neighbours by much. So a kick or a throw at 24 Hz, whose
    steps are large too, is none; and neither the sign of a stored quaternion nor Euler angles
    that wrap make a difference, since only the poses themselves are compared (for the stored
    numbers see `wrap-flip`).

    Fingers get warnings at most: where nobody wore gloves, their joints are a guess that flips.

    A pose that is off for a few frames and comes back is one finding over these frames. Joints
    that jump at the same frame are one finding, the worst part first.
    """

    id = "pop"
    source = MEASURED
    level = Level.WARNING
    limits = (("note_deg", "warning_deg", "error_deg"), ("note_mm", "warning_mm", "error_mm"))
    quantity = "How far one frame's step differs from the steps beside it, degrees or mm."
    on_screen = "A limb, or the whole figure, twitches: for a frame it is somewhere else."
    remedy = "Take out the frames named and let the curve run between those beside them."

    @staticmethod
    def check(motion: Motion, settings: PopSettings, /) -> Iterator[Finding]:
        """Yields one finding for each set of parts that jump together."""
        if motion.frames < 3:
            return
        events = [*turns(motion, settings), *places(motion, settings)]
        style = not (settings.stylised_as_people or motion.derive(built_like_a_person))
        for group in gathered(events, settings, motion.sample_rate_hz):
            found = _finding(motion, group)
            style_only = style and found.level is Level.ERROR
            yield replace(found, level=Level.WARNING) if style_only else found

    @staticmethod
    def examples() -> Iterable[Example]:
        """A swing, an arm that jumps and stays, one that is off for two frames, a leap."""
        swing = 40.0 * np.sin(2.0 * np.pi * np.arange(61) / 60.0)
        fast = 60.0 / (1.0 + np.exp(-(np.arange(31) - 15.0) / 0.8))
        step = np.where(np.arange(61) >= 30, 40.0, 0.0)
        off = np.where((np.arange(61) >= 30) & (np.arange(61) < 32), 20.0, 0.0)
        place = np.where(np.arange(61) >= 20, 0.05, 0.0)

        def arm(degrees: object, rate_hz: float = 60.0) -> Motion:
            turns = {"left_upper_arm": [("X", degrees)]}
            frames = len(np.asarray(degrees))
            return motion(frames=frames, sample_rate_hz=rate_hz, turns=turns)

        yield Example("an arm that swings", arm(swing))
        yield Example("an arm flung up at 30 Hz", arm(fast, 30.0))
        yield Example(
            "the swinging arm jumps by 40 deg and stays there",
            arm(swing + step),
            finds=1,
            parts=("left_upper_arm",),
            frames=(29, 30),
            measured=40.0,
            within=1.0,
            level=Level.ERROR,
        )
        yield Example(
            "the swinging arm is off by 20 deg for two frames",
            arm(swing + off),
            finds=1,
            parts=("left_upper_arm",),
            frames=(30, 31),
            slack_frames=0,
            measured=20.0,
            within=1.0,
            level=Level.WARNING,
        )
        moved = np.stack((0.0 * place, 0.0 * place, place))
        yield Example(
            "the figure is set forwards by 50 mm",
            motion(frames=61, shifts_m={"pelvis": moved}),
            finds=1,
            parts=("pelvis",),
            measured=50.0,
            level=Level.WARNING,
        )


def _finding(motion: Motion, group: list[Event]) -> Finding:
    worst = max(group, key=lambda one: (one.level.rank, one.over))
    by_part: dict[str, Event] = {}
    for one in sorted(group, key=lambda one: (-one.level.rank, -one.over)):
        by_part.setdefault(one.part, one)
    parts = tuple(by_part)
    span = FrameSpan(min(one.first for one in group), max(one.last for one in group))
    frames = sorted({one.worst for one in group if one.part == worst.part})
    return Finding(
        message=_message(worst, parts, len(frames)),
        span=span,
        parts=parts,
        measured=worst.size,
        limit=worst.limit,
        unit=worst.unit,
        worst_frame=worst.worst,
        remedy=_remedy(motion, worst, span, len(frames)),
        level=worst.level,
        detail="place" if worst.unit == "mm" else "turn",
        trace=_trace(motion, worst),
        setting=worst.setting,
        confidence=round(min(max(worst.sure, 0.05), 0.99), 2),
    )


def _message(worst: Event, parts: tuple[str, ...], times: int) -> str:
    unit = "mm" if worst.unit == "mm" else "deg"
    what = "the figure" if worst.unit == "mm" else label(worst.part)
    stays = worst.last - worst.first + 1
    lasts = f" for {stays} frames" if worst.last > worst.worst else ""
    said = f"{what} jumps by {worst.size:.0f} {unit}{lasts or ' from one frame to the next'}"
    if times > 1:
        said = f"{what} jumps {times} times, by up to {worst.size:.0f} {unit}"
    others = len(parts) - 1
    return said + (f", and {others} more parts with it" if others > 1 else "")


def _remedy(motion: Motion, worst: Event, span: FrameSpan, times: int) -> str:
    what = "root" if worst.unit == "mm" else label(worst.part)
    if times > 1:
        return f"Solve the {what} anew over frames {span.first} to {span.last}, or smooth it there."
    if worst.first != worst.last or worst.first == worst.worst:
        first, last = worst.first, worst.last
        if worst.worst == worst.first:
            gone = f"frame {first}" if first == last else f"frames {first} to {last}"
            return f"Delete the keys of the {what} at {gone} and let the curve run across."
    return (
        f"Blend the {what} over the frames around {worst.worst}, or find out why what follows is "
        f"off by {worst.size:.0f} {worst.unit}: a solve that flipped, a take that was cut in."
    )


def _trace(motion: Motion, worst: Event) -> Trace:
    """How far each frame's step goes, around the jump."""
    part = motion.part(worst.part)
    reach = round(_TRACE_S * motion.sample_rate_hz)
    first = max(worst.worst - reach, 0)
    last = min(worst.worst + reach, motion.frames - 1)
    if worst.unit == "mm":
        steps = 1000.0 * part.speed_m_per_s / motion.sample_rate_hz
    else:
        local = motion.clip.rotations[part.joint]
        steps = np.degrees(rates.turn_rate(local, 1.0))
    values = tuple(float(value) for value in steps[first : last + 1])
    return Trace(f"step of the {label(worst.part)}", worst.unit, first, values, worst.limit)
