"""What may be wrong where a prop is kept, taken and put back, each as findings."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from kinelint.anatomy.neighbours import NEXT_NEIGHBOURS, limb, steps
from kinelint.anatomy.parts import label
from kinelint.finding import Finding, FrameSpan, Level, Point, Trace
from kinelint.frame_spans import spans
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.motion import Motion
from kinelint_rules.contact.part_pairs import names_part
from kinelint_rules.contact.ways import in_words
from kinelint_rules.props.handing_over import jump
from kinelint_rules.props.holder_settings import PropHolderSettings
from kinelint_rules.props.holds import hold
from kinelint_rules.props.keeping import Change, Keeping
from kinelint_rules.props.props import PropMotion, axes_of, confidence, frames_of, graded
from kinelint_rules.props.through_body import Inside, holding, inside

_MARGIN_S = 0.25
# A jump this near to when the sheet has the prop change belongs to the change.
_NEAR_S = 0.1


def _limits(settings: PropHolderSettings, prefix: str, unit: str) -> tuple[float, float, float]:
    note, warning, error = (
        getattr(settings, f"{prefix}{level}_{unit}") for level in ("note", "warning", "error")
    )
    return note, warning, error


def _point(values: Floats) -> Point:
    return float(values[0]), float(values[1]), float(values[2])


def _where(motion: Motion, one: Keeping) -> tuple[str, ...]:
    """The part that the holder hangs on; the whole clip if it stands in the world."""
    part = motion.figure.anatomy.part_of.get(-1 if one.holder is None else one.holder, "")
    return (part,) if part else ("clip",)


def misplaced(motion: Motion, one: Keeping, settings: PropHolderSettings) -> Iterator[Finding]:
    """The prop usually lies elsewhere than its holder has it: one finding for the whole time."""
    name, holder = one.kept.prop, one.kept.holder
    for size, unit in zip(one.off(), ("mm", "deg"), strict=True):
        grade = graded(size, _limits(settings, "", unit), unit)
        if grade is None:
            continue
        level, limit, setting = grade
        how = "from its place in" if unit == "mm" else "turned from how it lies in"
        frame = one.last
        yield Finding(
            f"the {name} is {size:.0f} {unit} {how} the {holder}",
            FrameSpan(one.first, one.last),
            _where(motion, one),
            measured=size,
            limit=limit,
            unit=unit,
            worst_frame=frame,
            remedy=f"Put the {name} into the {holder}: {size:.0f} {unit} from where it is; or mend "
            "the holder's pose in the cue sheet.",
            level=level,
            detail=f"{name}: {'place' if unit == 'mm' else 'turn'} in holder",
            at_m=_point(one.prop.frame.cut(frame, frame).out(one.prop.middle_m)[:, 0]),
            setting=setting,
            confidence=confidence(size, limit),
        )


def moves(motion: Motion, one: Keeping, settings: PropHolderSettings) -> Iterator[Finding]:
    """Spans in which the prop leaves its usual place in its holder while it is kept there."""
    name, rate = one.kept.prop, motion.sample_rate_hz
    for values, unit in zip(one.moved(), ("mm", "deg"), strict=True):
        limits = _limits(settings, "", unit)
        for span in spans(values > limits[0], bridge_frames=round(settings.bridge_s * rate)):
            if span.frames < settings.min_duration_s * rate - 1e-6:
                continue
            worst = span.first + int(np.argmax(values[span.first : span.last + 1]))
            size = float(values[worst])
            grade = graded(size, limits, unit)
            assert grade is not None
            level, limit, setting = grade
            there = span.shifted(one.first)
            frame = one.first + worst
            what = "moves" if unit == "mm" else "turns"
            yield Finding(
                f"the {name} {what} by {size:.0f} {unit} while the {one.kept.holder} keeps it",
                there,
                _where(motion, one),
                measured=size,
                limit=limit,
                unit=unit,
                worst_frame=frame,
                remedy=f"Pin the {name} to the {one.kept.holder} from {there.first / rate:.2f} s "
                f"to {there.last / rate:.2f} s, or let the hand take it then.",
                level=level,
                detail=f"{name}: {what} in holder",
                at_m=_point(one.prop.frame.cut(frame, frame).out(one.prop.middle_m)[:, 0]),
                trace=_trace(motion, f"how far the {name} {what}", values, span, unit, limit,
                             one.first),
                setting=setting,
                confidence=confidence(size, limit),
            )  # fmt: skip


def _trace(
    motion: Motion,
    name: str,
    values: Floats,
    span: FrameSpan,
    unit: str,
    limit: float,
    offset: int = 0,
) -> Trace:
    margin = round(_MARGIN_S * motion.sample_rate_hz)
    first = max(span.first - margin, 0)
    shown = values[first : span.last + margin + 1]
    return Trace(name, unit, first + offset, tuple(float(one) for one in shown), limit)


def reaches(motion: Motion, change: Change, settings: PropHolderSettings) -> Iterator[Finding]:
    """The hand is not at the grip when it takes the prop or leaves it."""
    one = motion.derive(hold, change.held)
    if one is None:
        return
    at = change.frame - one.first
    usual = one.off_m()
    here = one.path_m[:, [at]]
    off = usual + here - one.usual_m if one.is_flat else one.fist.off_m(here, one.radius_m)
    size = 1000.0 * float(np.linalg.norm(off))
    grade = graded(size, _limits(settings, "reach_", "mm"), "mm")
    # What is about as far off over the whole hold is prop-grip's to say.
    if grade is None or size <= 1500.0 * float(np.linalg.norm(usual)) + settings.reach_note_mm:
        return
    level, limit, setting = grade
    name, hand, holder = one.name, label(one.fist.hand), change.keeping.kept.holder
    axes = one.fist.frame.cut(change.frame, change.frame)
    way = rotations.rotate(axes.turn, off)[:, 0] / size * 1e3
    does = f"takes the {name} from" if change.taken else f"leaves the {name} in"
    words = in_words(motion, change.frame, way, one.fist.hand)
    yield Finding(
        f"the {hand} {does} the {holder} from {size:.0f} mm away",
        FrameSpan(min(change.first, change.frame), max(change.last, change.frame)),
        (one.fist.hand,),
        measured=size,
        limit=limit,
        unit="mm",
        worst_frame=change.frame,
        remedy=f"Move the {hand} {size:.0f} mm {words} at frame {change.frame}, or let it "
        f"{'take' if change.taken else 'leave'} the {name} when it is there.",
        level=level,
        detail=f"{name}: {'taken' if change.taken else 'put back'}",
        at_m=_point(axes.out(here)[:, 0]),
        direction=_point(way),
        setting="reach_" + setting,
        confidence=confidence(size, limit),
    )


def jumps(
    motion: Motion, change: Change, settings: PropHolderSettings, moved: Sequence[Finding]
) -> Iterator[Finding]:
    """The prop makes a step at the change that neither hand nor holder makes."""
    near = round(_NEAR_S * motion.sample_rate_hz)
    joint = motion.part(change.held.hand).joint
    carriers = (change.keeping.holder_frame(motion), axes_of(motion, joint))
    before, after = carriers if change.taken else carriers[::-1]
    prop, name = change.keeping.prop, change.held.prop
    ends = (change.keeping.kept.holder, label(change.held.hand))
    source, goal = ends if change.taken else ends[::-1]
    for unit in ("mm", "deg"):
        limits = _limits(settings, "jump_", unit)
        span = change.first - near, change.last + near
        found = jump(prop, before, after, span, unit, limits[0])
        grade = found and graded(found.size, limits, unit)
        if not found or not grade:
            continue
        frame, size = found.frame, found.size
        if any(one.span.first <= frame <= one.span.last + 1 for one in moved):
            continue
        level, limit, setting = grade
        yield Finding(
            f"the {name} jumps by {size:.0f} {unit} from the {source} to the {goal}",
            FrameSpan(max(frame - 1, 0), frame),
            (change.held.hand,),
            measured=size,
            limit=limit,
            unit=unit,
            worst_frame=frame,
            remedy=f"Make the pose of the {name} in the hand and in the holder agree at frame "
            f"{frame}: they are {size:.0f} {unit} apart.",
            level=level,
            detail=f"{name}: jumps, {unit}",
            at_m=_point(prop.frame.cut(frame, frame).out(prop.middle_m)[:, 0]),
            setting="jump_" + setting,
            confidence=confidence(size, limit),
        )


def through(
    motion: Motion,
    prop: PropMotion,
    keepings: Sequence[Keeping],
    settings: PropHolderSettings,
) -> Iterator[Finding]:
    """Spans in which the prop lies in the body; parts of one limb or of the trunk are one."""
    rate = motion.sample_rate_hz
    found: list[Finding] = []
    for one in inside(motion, prop, _allowed(motion, prop, keepings, settings)):
        limit = settings.depth_note_mm
        for span in spans(one.depth_mm > limit, bridge_frames=round(settings.bridge_s * rate)):
            if span.frames >= settings.min_duration_s * rate - 1e-6:
                found.append(_through(motion, prop, one, span, settings))
    while found:
        worst = max(found, key=lambda one: (one.measured or 0.0, one.parts))
        with_it = [one for one in found if _goes_with(one, worst)]
        found = [one for one in found if not _goes_with(one, worst)]
        with_it.sort(key=lambda one: (one is not worst, one.parts))
        span = FrameSpan(
            min(one.span.first for one in with_it), max(one.span.last for one in with_it)
        )
        parts = tuple(dict.fromkeys(part for one in with_it for part in one.parts))
        yield replace(worst, span=span, parts=parts)


def _goes_with(one: Finding, other: Finding) -> bool:
    together = one.span.first <= other.span.last and other.span.first <= one.span.last
    return together and limb(one.parts[0]) == limb(other.parts[0])


def _through(
    motion: Motion, prop: PropMotion, one: Inside, span: FrameSpan, settings: PropHolderSettings
) -> Finding:
    frame = span.first + int(np.argmax(one.depth_mm[span.first : span.last + 1]))
    size, way, name = float(one.depth_mm[frame]), one.ways[:, frame], prop.prop.name
    grade = graded(size, _limits(settings, "depth_", "mm"), "mm")
    assert grade is not None
    level, limit, setting = grade
    body = motion.figure.body
    doubt = body.doubts.get(one.part, "") if body is not None else ""
    # Hands touch props, and nothing tells which finger is where.
    if one.part.endswith("_hand"):
        level = Level.NOTE
    elif doubt:
        level = Level.WARNING if level is Level.ERROR else Level.NOTE
    part = label(one.part)
    guess = f" The depth is a guess: {doubt}; a body file would tell." if doubt else ""
    return Finding(
        f"the {name} is {size:.0f} mm inside the {part}",
        span,
        (one.part,),
        measured=size,
        limit=limit,
        unit="mm",
        worst_frame=frame,
        remedy=f"Move the {name} {size:.0f} mm {in_words(motion, frame, way, '')}, away from the "
        f"{part}, with the hand that holds it.{guess}",
        level=level,
        detail=f"{name}: in the body",
        at_m=_point(prop.frame.cut(frame, frame).out(prop.middle_m)[:, 0]),
        direction=_point(way),
        trace=_trace(motion, f"depth of the {name} in the {part}", one.depth_mm, span, "mm", limit),
        setting="depth_" + setting,
        confidence=confidence(size, limit),
    )


def _allowed(
    motion: Motion, prop: PropMotion, keepings: Sequence[Keeping], settings: PropHolderSettings
) -> dict[str, Bools]:
    """Part to the frames in which it may touch the prop; "" for all of them."""
    around = round(settings.change_s * motion.sample_rate_hz)
    body = motion.figure.body
    parts = tuple(dict.fromkeys(body.parts)) if body is not None else ()
    allowed = {part: np.zeros(motion.frames, np.bool_) for part in parts}
    owned = np.zeros(motion.frames, np.bool_)
    for held in motion.cue.held:
        span = frames_of(motion, held) if held.prop == prop.prop.name else None
        if span is not None:
            owned[span[0] : span[1] + 1] = True
            for part in set(holding(held.hand)) & set(parts):
                allowed[part][max(span[0] - around, 0) : span[1] + around + 1] = True
    for one in keepings:
        if one.prop.joint != prop.joint:
            continue
        owned[one.first : one.last + 1] = True
        carrier = motion.figure.anatomy.part_of.get(-1 if one.holder is None else one.holder, "")
        for part in parts:
            if carrier and steps(carrier, part) <= NEXT_NEIGHBOURS:
                allowed[part][max(one.first - around, 0) : one.last + around + 1] = True
    for part in parts:
        if any(names_part(w, part) for w in (*settings.may_touch, *motion.cue.not_captured)):
            allowed[part][:] = True
    return {**allowed, "": ~owned}
