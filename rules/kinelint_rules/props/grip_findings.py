"""What may be wrong with a hold, each as findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from kinelint.anatomy.hinge_angles import flexions
from kinelint.anatomy.parts import FINGERS, label
from kinelint.finding import Finding, FrameSpan, Level, Trace
from kinelint.frame_spans import spans
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint_rules.contact.ways import in_words
from kinelint_rules.props.grip_settings import PropGripSettings
from kinelint_rules.props.holds import Hold
from kinelint_rules.props.props import confidence, graded, turned_deg

_MARGIN_S = 0.25


def off_grip(motion: Motion, one: Hold, settings: PropGripSettings) -> Iterator[Finding]:
    """The hand usually is somewhere else than at the grip: one finding for the whole hold."""
    off = one.off_m()
    if one.prop.prop.name in settings.slides and one.prop.axis is not None:
        off = _across_rod(one, off)
    size = 1000.0 * float(np.linalg.norm(off))
    limits = settings.note_mm, settings.warning_mm, settings.error_mm
    grade = graded(size, limits, "mm")
    if grade is None:
        return
    level, limit, name = grade
    middle = (one.first + one.last) // 2
    back = rotations.rotate(one.fist.frame.turn[:, middle : middle + 1], -off)[:, 0] / size * 1e3
    hand, way = label(one.fist.hand), in_words(motion, middle, back, one.fist.hand)
    at = one.world(one.usual_m, middle)
    what = f"{hand} is {size:.0f} mm from {_where(one)}"
    if one.is_flat:
        gap = one.face()[0]
        what = f"{hand} is {size:.0f} mm {'off' if gap > 0 else 'inside'} the {one.name}"
    yield Finding(
        what,
        FrameSpan(one.first, one.last),
        (one.fist.hand,),
        measured=size,
        limit=limit,
        unit="mm",
        worst_frame=middle,
        remedy=f"Move the {one.name} {size:.0f} mm {way} in the {hand}, over the whole hold; or "
        "mend its grip in the cue sheet.",
        level=level,
        detail=f"{one.name}: grip",
        at_m=(float(at[0]), float(at[1]), float(at[2])),
        direction=(float(back[0]), float(back[1]), float(back[2])),
        setting=name,
        confidence=confidence(size, limit),
    )


def _where(one: Hold) -> str:
    return f"the {one.held.grip} grip of the {one.name}" if one.held.grip else f"the {one.name}"


def _across_rod(one: Hold, off: Floats) -> Floats:
    """What of ``(3, n)`` in the hand's axes is across the rod."""
    axis = one.prop.axis
    assert axis is not None
    along = rotations.rotate(one.typical, axis)
    return np.asarray(off - np.sum(off * along, axis=0) * along)


def drifts(motion: Motion, one: Hold, settings: PropGripSettings) -> Iterator[Finding]:
    """Spans in which the prop leaves its usual place in the hand, or turns there."""
    away = one.path_m - one.usual_m
    if one.prop.prop.name in settings.slides and one.prop.axis is not None:
        away = _across_rod(one, away)
    hand, name = label(one.fist.hand), one.name
    turned = turned_deg(one.prop, one.seen.turn, one.typical)
    limits = settings.turn_note_deg, settings.turn_warning_deg, settings.turn_error_deg
    turns = [
        _drift(
            motion, one, turned, span, size, worst, limits, "deg", "turn_", "turns",
            f"the {name} turns in the {hand} by {size:.0f} deg",
            f"Turn the {name} back by {size:.0f} deg, fixed to the {hand},",
        )
        for span, size, worst in over(motion, turned, limits[0], settings)
    ]  # fmt: skip
    yield from turns
    moved = 1000.0 * np.linalg.norm(away, axis=0)
    limits = settings.slip_note_mm, settings.slip_warning_mm, settings.slip_error_mm
    for span, size, worst in over(motion, moved, limits[0], settings):
        slip = _drift(
            motion, one, moved, span, size, worst, limits, "mm", "slip_", "slips",
            f"the {name} slips in the {hand} by {size:.0f} mm",
            f"Pin the {name} to the {hand}",
        )  # fmt: skip
        # What turns about a point beside its grip moves the grip a little.
        if not any(_outranks(turn, slip) for turn in turns):
            yield slip


def _outranks(one: Finding, other: Finding) -> bool:
    together = one.span.first <= other.span.last and other.span.first <= one.span.last
    assert one.level is not None
    assert other.level is not None
    return together and one.level.rank > other.level.rank


def over(
    motion: Motion, values: Floats, limit: float, settings: PropGripSettings
) -> Iterator[tuple[FrameSpan, float, int]]:
    """Spans of a hold above a limit, from the hold's first frame: span, worst value and frame."""
    rate = motion.sample_rate_hz
    least = settings.min_duration_s * rate - 1e-6
    for span in spans(values > limit, bridge_frames=round(settings.bridge_s * rate)):
        if span.frames >= least:
            worst = span.first + int(np.argmax(values[span.first : span.last + 1]))
            yield span, float(values[worst]), worst


def _drift(
    motion: Motion,
    one: Hold,
    values: Floats,
    span: FrameSpan,
    size: float,
    worst: int,
    limits: tuple[float, float, float],
    unit: str,
    prefix: str,
    what: str,
    message: str,
    remedy: str,
) -> Finding:
    grade = graded(size, limits, unit)
    assert grade is not None
    level, limit, name = grade
    at = one.fist.frame.cut(one.first + worst, one.first + worst).out(one.path_m[:, [worst]])[:, 0]
    first, last = ((one.first + frame) / motion.sample_rate_hz for frame in (span.first, span.last))
    return Finding(
        message,
        span.shifted(one.first),
        (one.fist.hand,),
        measured=size,
        limit=limit,
        unit=unit,
        worst_frame=one.first + worst,
        remedy=f"{remedy} from {first:.2f} s to {last:.2f} s; if the hand lets go there, say so "
        "in the cue sheet.",
        level=level,
        detail=f"{one.name}: {what}",
        at_m=(float(at[0]), float(at[1]), float(at[2])),
        trace=trace(motion, f"how far the {one.name} {what}", values, span, unit, limit, one.first),
        setting=prefix + name,
        confidence=confidence(size, limit),
    )


def trace(
    motion: Motion,
    name: str,
    values: Floats,
    span: FrameSpan,
    unit: str,
    limit: float,
    offset: int,
) -> Trace:
    """The values around a span of a hold that begins at frame `offset`."""
    margin = round(_MARGIN_S * motion.sample_rate_hz)
    first = max(span.first - margin, 0)
    shown = values[first : span.last + margin + 1]
    return Trace(name, unit, first + offset, tuple(float(one) for one in shown), limit)


def across(motion: Motion, one: Hold, settings: PropGripSettings) -> Iterator[Finding]:
    """A rod that lies across the way of the fingers instead of along the knuckles."""
    axis, knuckles = one.prop.axis, one.fist.knuckles
    if axis is None or knuckles is None:
        return
    cosine = float(np.abs(np.sum(rotations.rotate(one.typical, axis) * knuckles)))
    angle = float(np.degrees(np.arccos(min(cosine, 1.0))))
    if angle <= settings.across_deg:
        return
    hand = label(one.fist.hand)
    yield Finding(
        f"the {one.name} lies {angle:.0f} deg from the line of the knuckles of the {hand}",
        FrameSpan(one.first, one.last),
        (one.fist.hand,),
        measured=angle,
        limit=settings.across_deg,
        unit="deg",
        remedy=f"Turn the {one.name} in the {hand} until it lies in the bend of the fingers.",
        level=Level.WARNING,
        detail=f"{one.name}: across",
        setting="across_deg",
        confidence=confidence(angle, settings.across_deg),
    )


def open_hand(motion: Motion, one: Hold, settings: PropGripSettings) -> Iterator[Finding]:
    """Fingers that are not closed around a thing that is held in the fist."""
    side = one.fist.hand.partition("_")[0]
    hinges = [f"{side}_{finger}_{number}" for finger in FINGERS[1:] for number in (1, 2)]
    if one.is_flat or not all(motion.has(hinge) for hinge in hinges):
        return
    bent = flexions(motion, hinges)
    if len(bent) < len(hinges):
        return
    span = slice(one.first, one.last + 1)
    mean = np.degrees(np.nanmean([np.abs(bent[hinge].radians[span]) for hinge in hinges], axis=0))
    usual = float(np.median(mean))
    if usual >= settings.open_deg:
        return
    hand = label(one.fist.hand)
    yield Finding(
        f"the {hand} holds the {one.name} with open fingers, bent {usual:.0f} deg on the whole",
        FrameSpan(one.first, one.last),
        (one.fist.hand,),
        measured=usual,
        limit=settings.open_deg,
        unit="deg",
        remedy=f"Close the fingers of the {hand} around the {one.name}; if fingers were not "
        "captured, say so in the cue sheet.",
        level=Level.NOTE,
        detail=f"{one.name}: open",
        setting="open_deg",
        confidence=0.6,
    )


def two_hands(
    motion: Motion, holds: Sequence[Hold], settings: PropGripSettings, found: Sequence[Finding]
) -> Iterator[Finding]:
    """Two hands on one prop: their distance changes, or both are on the same face of a box."""
    for one, other in combinations(holds, 2):
        first, last = max(one.first, other.first), min(one.last, other.last)
        if one.prop.joint != other.prop.joint or one.fist.hand == other.fist.hand or first > last:
            continue
        if one.is_flat and other.is_flat:
            yield from _same_face(motion, one, other, FrameSpan(first, last))
        if one.name not in settings.slides:
            yield from _apart(motion, one, other, (first, last), settings, found)


def _apart(
    motion: Motion,
    one: Hold,
    other: Hold,
    both: tuple[int, int],
    settings: PropGripSettings,
    found: Sequence[Finding],
) -> Iterator[Finding]:
    first, last = both
    span = slice(first, last + 1)
    centres = [
        hold.fist.frame.cut(first, last).out(hold.fist.aim_m(hold.radius_m))
        for hold in (one, other)
    ]
    between = 1000.0 * (centres[0] - centres[1])
    axis = one.prop.axis
    if axis is None:
        apart = np.linalg.norm(between, axis=0)
    else:
        apart = np.sum(between * rotations.rotate(one.prop.frame.turn[:, span], axis), axis=0)
    change = np.abs(apart - np.median(apart))
    limits = settings.slip_note_mm, settings.slip_warning_mm, settings.slip_error_mm
    for at, size, worst in over(motion, change, limits[0], settings):
        grade = graded(size, limits, "mm")
        assert grade is not None
        level, limit, name = grade
        there = at.shifted(first)
        if any(_says_more(told, there, (one, other), level) for told in found):
            continue
        closer = abs(float(apart[worst])) < abs(float(np.median(apart)))
        hands = f"hands on the {one.name} come {size:.0f} mm {'closer' if closer else 'apart'}"
        yield Finding(
            hands,
            there,
            (one.fist.hand, other.fist.hand),
            measured=size,
            limit=limit,
            unit="mm",
            worst_frame=first + worst,
            remedy=f"Pin both hands to the {one.name} over these frames, or name it under "
            "slides if hands may slide along it.",
            level=level,
            detail=f"{one.name}: hands",
            trace=trace(motion, "distance of the hands", change, at, "mm", limit, first),
            setting="slip_" + name,
            confidence=confidence(size, limit),
        )


def _says_more(told: Finding, span: FrameSpan, holds: Sequence[Hold], level: Level) -> bool:
    """Whether a slip of one of the hands explains that their distance changes."""
    mine = any(
        told.parts == (one.fist.hand,) and told.detail == f"{one.name}: slips" for one in holds
    )
    beside = told.span.first <= span.last and told.span.last >= span.first
    return mine and beside and told.level is not None and told.level.rank >= level.rank


def _same_face(motion: Motion, one: Hold, other: Hold, span: FrameSpan) -> Iterator[Finding]:
    (_, mine), (_, its) = one.face(), other.face()
    turn = one.prop.frame.turn[:, span.first : span.first + 1]
    below = float(rotations.rotate(turn, mine)[1, 0]) < -0.7
    if float(np.sum(mine * its)) < 0.7 or below:
        return
    yield Finding(
        f"both hands are on the same side of the {one.name}: nothing holds it",
        span,
        (one.fist.hand, other.fist.hand),
        remedy=f"Put one hand on the opposite face of the {one.name}, or both below it.",
        level=Level.NOTE,
        detail=f"{one.name}: faces",
        confidence=0.5,
    )
