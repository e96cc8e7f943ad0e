"""Clips that are to mirror each other do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from kinelint.anatomy.parts import label, mirrored
from kinelint.cue import Mirrored
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Unjudged
from kinelint.frame_spans import spans
from kinelint.group import Group, GroupExample, GroupRule, Member, Said
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.motion import Motion
from kinelint.rule import RuleSettings, setting
from kinelint.synthetic import bump, motion
from kinelint_rules.groups.mirror_image import Mirror, mirror_of, rest_uneven_m
from kinelint_rules.groups.pairing import Pairs, frame_named, listed, pairs, refuse_other_builds

PRACTICE = "common practice, no source"
LEAST_FRAMES = 4
# A rest pose that is less even than this tells nothing of turns.
_EVEN_SHARE = 0.03


class MirrorMatchSettings(RuleSettings):
    """Settings of `mirror-match`."""

    gap_deg: float = setting(
        5.0,
        gt=0,
        why="Mirrored clips are made by a tool: what differs was edited.",
        source=PRACTICE,
    )
    gap_mm: float = setting(
        30.0, gt=0, why="The same of places, with what the limb adds up to.", source=PRACTICE
    )
    shift_ms: float = setting(
        50.0, gt=0, why="Three frames at 60 Hz: a blend between the two begins to show it.",
        source=PRACTICE,
    )  # fmt: skip
    most_shift_s: float = setting(
        0.5, gt=0, le=5, why="A larger shift is another action.", source=PRACTICE
    )
    bridge_s: float = setting(
        0.1, ge=0, why="Stretches with less than this between them are one.", source=PRACTICE
    )
    warning_share: float = setting(
        0.6, gt=0, le=1, why="From this share of a limit on it is a warning.", source=PRACTICE
    )
    responsible_share: float = setting(
        0.5, gt=0, le=1, why="Joints with at least this share of the largest gap are named.",
        source=PRACTICE,
    )  # fmt: skip


class MirrorMatch(GroupRule[MirrorMatchSettings]):
    """Clips that are to mirror each other do.

    For pairs that the cue sheet calls mirrored. The first is mirrored left for right at the best
    upright plane, which is found by laying it over the second by a turn about the vertical and a
    shift, and each joint's turn and place is held against the second; what left and right limbs of
    the skeleton differ by is taken off the distances. If the second does the same
    a little sooner or later, that is told as a shift in time and taken away first; lengths that
    differ are told as such.

    The rule has an id of its own beside `asymmetry`, which looks at the limbs of one clip: a
    rule looks either at one clip or at clips that are bound together, and a team may want the
    one as a warning on every take and the other as an error on its final pairs.
    """

    id = "mirror-match"
    bond = Mirrored
    source = (
        PRACTICE + "; Kovar L, Gleicher M, Pighin F (2002), Motion Graphs, ACM TOG 21:473-482 "
        "(the alignment)"
    )
    level = Level.ERROR
    limits = (("gap_deg",), ("gap_mm",), ("shift_ms",))
    quantity = "What is left between a clip and the mirror image of its pair: deg, mm, ms."
    on_screen = "Turning left looks unlike turning right; blends between the two wobble."
    remedy = "Mirror the clip that is right anew, or carry over the edit that one of them got."

    @staticmethod
    def check(group: Group, settings: MirrorMatchSettings, /) -> Iterator[Said]:
        """Yields findings for length, shift in time and pose, on the second clip."""
        first, second = group.members
        for one in group.members:
            if one.motion.frames < LEAST_FRAMES:
                raise NotApplicable(f"{one.label} has too few frames to be told from its image")
        refuse_other_builds(first.motion, second.motion, pairs(first.motion, second.motion))
        found = pairs(first.motion, second.motion, mirror=True)
        if found.alone:
            yield Said(1, Unjudged("one of the two clips lacks them on that side", found.alone))
        sides = pairs(first.motion, first.motion, mirror=True)
        uneven_m, share = rest_uneven_m(first.motion, sides.first, sides.second)
        even = share <= _EVEN_SHARE
        by_part = dict(zip(sides.parts, uneven_m.tolist(), strict=True))
        if not even:
            yield Said(1, Unjudged("turns: the rest pose is not its own mirror image", ("clip",)))
        yield from _length(first, second, settings)
        seen = mirror_of(first.motion, second.motion, found, settings.most_shift_s)
        # Limbs that are not as long as those of the other side cannot end in the same place.
        own_mm = np.array([1000.0 * by_part.get(part, 0.0) for part in found.parts])
        seen = replace(seen, gap_mm=np.maximum(seen.gap_mm - own_mm[:, None], 0.0))
        yield from _shift(first, second, seen, settings)
        yield from _pose(group, found, seen, settings, even)

    @staticmethod
    def examples() -> Iterable[GroupExample]:
        """A step to the left and one to the right; edited, shifted, and cut short."""
        yield GroupExample("a step and its image", _pair(_step("left"), _step("right")))
        yield GroupExample(
            "the image faces elsewhere", _pair(_step("left"), _step("right", yaw_deg=75.0))
        )
        yield GroupExample(
            "right arm raised by 12 degrees in the image",
            _pair(_step("left"), _step("right", off_deg=12.0)),
            finds=1,
            member=1,
            parts=("right_upper_arm",),
            frames=(28, 62),
            slack_frames=4,
            measured=12.0,
            within=0.3,
            level=Level.ERROR,
        )
        yield GroupExample(
            "the image is 100 ms late",
            _pair(_step("left"), _step("right", late_s=0.1)),
            finds=1,
            member=1,
            measured=100.0,
            within=9.0,
            level=Level.ERROR,
        )
        yield GroupExample(
            "the same step twice",
            _pair(_step("left"), _step("left")),
            finds=1,
            level=Level.ERROR,
        )
        yield GroupExample(
            "the image stops short",
            _pair(_step("left"), _step("right", frames=80)),
            finds=1,
            measured=-1000.0 * 10 / 60.0,
            level=Level.WARNING,
            parts=("clip",),
        )
        tall = motion(frames=30, stature_m=1.95)
        yield GroupExample("another person", _pair(_step("left"), tall), not_applicable=True)


def _length(first: Member, second: Member, settings: MirrorMatchSettings) -> Iterator[Said]:
    longer_ms = 1000.0 * (second.motion.clip.duration_s - first.motion.clip.duration_s)
    limit = settings.shift_ms
    if abs(longer_ms) <= limit:
        return
    counts = f"{second.motion.frames} frames and {first.motion.frames}"
    way = "longer" if longer_ms > 0 else "shorter"
    last = second.motion.frames - 1
    finding = Finding(
        f"{second.label} is {abs(longer_ms):.0f} ms {way} than {first.label}, which it is to "
        f"mirror ({counts})",
        FrameSpan(last, last),
        ("clip",),
        measured=longer_ms,
        limit=limit if longer_ms > 0 else -limit,
        unit="ms",
        remedy=f"Cut both to the same {min(one.motion.frames for one in (first, second))} frames.",
        level=Level.WARNING,
        detail="length",
        setting="shift_ms",
        confidence=0.95,
    )
    yield Said(1, finding)


def _shift(
    first: Member, second: Member, seen: Mirror, settings: MirrorMatchSettings
) -> Iterator[Said]:
    late_ms, limit = 1000.0 * seen.lag_s, settings.shift_ms
    if abs(late_ms) <= settings.warning_share * limit:
        return
    way, back = ("later", "earlier") if late_ms > 0 else ("sooner", "later")
    frames = abs(seen.lag_s) * second.motion.sample_rate_hz
    finding = Finding(
        f"{second.label} does the same as {first.label} {abs(late_ms):.0f} ms {way}",
        FrameSpan(0, second.motion.frames - 1),
        ("clip",),
        measured=late_ms,
        limit=limit if late_ms > 0 else -limit,
        unit="ms",
        remedy=f"Move all its keys {frames:.0f} frames {back}.",
        level=Level.ERROR if abs(late_ms) > limit else Level.WARNING,
        detail="shift",
        setting="shift_ms",
        confidence=0.9,
    )
    yield Said(1, finding)


def _pose(
    group: Group, found: Pairs, seen: Mirror, settings: MirrorMatchSettings, even: bool
) -> Iterator[Said]:
    in_deg = seen.gap_deg / settings.gap_deg * (1.0 if even else 0.0)
    in_mm = seen.gap_mm / settings.gap_mm
    worst = np.maximum(in_deg, in_mm).max(axis=0, initial=0.0)
    second = group.members[1].motion
    over = np.zeros(second.frames, np.bool_)
    over[seen.frames] = worst > settings.warning_share
    bridge = round(settings.bridge_s * second.sample_rate_hz)
    for span in spans(over, bridge_frames=bridge):
        inside = (seen.frames >= span.first) & (seen.frames <= span.last)
        yield Said(1, _finding(group, found, seen, settings, span, inside, even))


def _finding(
    group: Group,
    found: Pairs,
    seen: Mirror,
    settings: MirrorMatchSettings,
    span: FrameSpan,
    inside: Bools,
    even: bool,
) -> Finding:
    first, second = group.members
    most_deg = seen.gap_deg[:, inside].max(axis=1)
    most_mm = seen.gap_mm[:, inside].max(axis=1)
    by_turn = even and float(most_deg.max()) > settings.warning_share * settings.gap_deg
    values, limit = (most_deg, settings.gap_deg) if by_turn else (most_mm, settings.gap_mm)
    rows = _responsible(values, settings.responsible_share)
    parts = tuple(dict.fromkeys(found.parts[row] for row in rows))
    gaps = (seen.gap_deg if by_turn else seen.gap_mm)[rows[0], inside]
    frame = int(seen.frames[inside][int(np.argmax(gaps))])
    unit, measured = ("deg" if by_turn else "mm"), float(values[rows[0]])
    share = max(float(most_deg.max()) / settings.gap_deg if even else 0.0,
                float(most_mm.max()) / settings.gap_mm)  # fmt: skip
    at = second.motion.positions_m[int(found.second[rows[0]]), :, frame]
    named = frame_named(second.motion, span.first), frame_named(second.motion, span.last)
    return Finding(
        f"{second.label} is no mirror image of {first.label}: the {label(parts[0])} is "
        f"{measured:.1f} {unit} off what the {label(mirrored(parts[0]))} does there",
        span,
        parts,
        measured=measured,
        limit=limit,
        unit=unit,
        worst_frame=frame,
        remedy=f"Mirror {listed(parts)} anew over frames {named[0]} to {named[1]}, or carry the "
        f"edit over to {first.label}.",
        level=Level.ERROR if share > 1.0 else Level.WARNING,
        detail="pose",
        at_m=(float(at[0]), float(at[1]), float(at[2])),
        setting="gap_deg" if by_turn else "gap_mm",
        confidence=0.9 if share > 1.5 else 0.7,
    )


def _responsible(values: Floats, share: float) -> list[int]:
    order = np.argsort(-values, kind="stable")
    return [int(row) for row in order if values[row] >= share * values[order[0]]][:4]


def _pair(one: Motion, other: Motion) -> Group:
    bond = Mirrored("step", "step_left.bvh", "step_right.bvh")
    return Group(bond, (Member("step_left.bvh", "", one), Member("step_right.bvh", "", other)))


def _step(
    side: str,
    *,
    frames: int = 90,
    yaw_deg: float = 0.0,
    off_deg: float = 0.0,
    late_s: float = 0.0,
) -> Motion:
    """A step to one side with that leg, the other arm swinging, the head turning with it."""
    sign = 1.0 if side == "left" else -1.0
    other = "right" if side == "left" else "left"
    time = np.arange(frames) / 60.0 - late_s
    way = np.clip((time - 0.3) / 0.8, 0.0, 1.0)
    way = way * way * (3.0 - 2.0 * way)
    lift = np.sin(np.pi * way)
    turn = np.radians(yaw_deg)
    path = 0.4 * sign * way
    return motion(
        frames=frames,
        turns={
            "pelvis": [("Y", yaw_deg)],
            "head": [("Y", 30.0 * sign * way)],
            f"{side}_thigh": [("X", -30.0 * lift), ("Z", 15.0 * sign * lift)],
            f"{side}_shank": [("X", 50.0 * lift)],
            f"{other}_upper_arm": [("X", -25.0 * lift)],
            f"{side}_upper_arm": [
                ("Z", 20.0 * sign * lift + sign * off_deg * bump(frames, 25, 65))
            ],
        },
        shifts_m={"pelvis": np.stack((path * np.cos(turn), 0.0 * path, -path * np.sin(turn)))},
    )
