"""Clips that play together meet when and where they should."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from kinelint.cue import Partners
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Unjudged
from kinelint.group import Group, GroupExample, GroupRule, Member, Said
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import RuleSettings, setting
from kinelint_rules.groups.contact_moments import (
    Moment,
    Point,
    found_moment,
    head_s,
    named_moment,
    placed,
    quickest,
    read_m,
    touching,
)
from kinelint_rules.groups.made import hand_over
from kinelint_rules.groups.pairing import frame_named

HOYET = (
    "Hoyet L, McDonnell R, O'Sullivan C (2012), Push it Real: Perceiving Causality in Virtual "
    "Interactions, ACM TOG 31(4): errors of more than 150 ms were accepted less than half of the "
    "time, early and late alike"
)
PRACTICE = "common practice, no source"
LEAST_FRAMES = 4


class ContactSyncSettings(RuleSettings):
    """Settings of `contact-sync`."""

    late_ms: float = setting(
        150.0, gt=0, why="The second meets the first this much too late at most.", source=HOYET
    )
    early_ms: float = setting(
        150.0, gt=0, why="The second meets the first this much too early at most.", source=HOYET
    )
    reach_mm: float = setting(
        120.0,
        gt=0,
        why="How far apart what should touch may be where the cue sheet says no reach_mm: a "
        "hand is as thick as a third of this, and takes hold with its palm or its fingers.",
        source=PRACTICE,
    )
    warning_share: float = setting(
        0.6,
        gt=0,
        le=1,
        why="From this share of a limit on it is a warning: some viewers see it already.",
        source=PRACTICE + "; " + HOYET,
    )
    clear_peak_share: float = setting(
        0.2,
        ge=0,
        lt=1,
        why="A moment that is to be found must stand out by this share of its peak from the "
        "rest of the clip, or nothing is said of it.",
        source=PRACTICE,
    )


@dataclass(frozen=True, eq=False)
class _Meeting:
    """Two members, when each meets, what touches, in the first's time and world."""

    settings: ContactSyncSettings
    bond: Partners
    members: tuple[Member, Member]
    moments: tuple[Moment, Moment]
    points: tuple[Point, Point] | None

    @property
    def found(self) -> tuple[Moment, ...]:
        """The moments that no cue names."""
        return tuple(one for one in self.moments if one.found_by)

    @property
    def starts_s(self) -> tuple[float, float]:
        """When each member's first judged frame plays."""
        first, second = (head_s(one.motion) for one in self.members)
        return first, second + self.bond.offset_s

    @property
    def late_s(self) -> float:
        """How much later the second meets."""
        first, second = self.starts_s
        return second + self.moments[1].at_s - first - self.moments[0].at_s

    def apart_m(self, times_s: tuple[Floats, Floats]) -> Floats:
        """``(3, times)`` from the first's point to the second's, at times of each own clip."""
        assert self.points is not None
        one, other = (
            read_m(member.motion, point.path_m, at_s)
            for member, point, at_s in zip(self.members, self.points, times_s, strict=True)
        )
        return placed(other, self.bond.place_m, self.bond.turn_deg) - one


class ContactSync(GroupRule[ContactSyncSettings]):
    """Clips that play together meet when and where they should.

    For partners of the cue sheet: a throw and its catch, a push and the one who is pushed, a
    hand-over. Each has a moment at which they meet (`moments`), and the second starts `offset_s`
    after the first. The rule measures how many milliseconds the second meets too early or too
    late, and, where the sheet says what should touch (`touch`: a part or a prop of each), how far
    apart that is: the second is placed by `place_m` and `turn_deg`. A hand counts where it holds,
    62 mm beyond the wrist. If the times agree, the least distance between the two moments counts;
    if they do not, that at each one's own moment, so that one defect is not told twice. What is
    thrown flies between release and catch: leave `touch` out there, and name as the thrower's
    moment when it arrives, not when it is let go.

    Where no moment is named the rule finds it and says so: of the first, where what touches (or
    the quickest hand or prop) is fastest, of the second, where its velocity changes most; where
    both share a world and come within reach of each other, it takes the closest approach. Such a
    finding is a warning at most, and its confidence is low. Where nothing stands out, it says
    that instead.

    The finding stands on the second clip.
    """

    id = "contact-sync"
    bond = Partners
    source = HOYET + "; distance: " + PRACTICE
    level = Level.ERROR
    limits = (("late_ms",), ("early_ms",), ("reach_mm",))
    quantity = "Time from one clip's moment to the other's, ms; distance of what should touch, mm."
    on_screen = "One reacts before or after the touch; hands close on air, or miss each other."
    remedy = "Shift or retime the second clip, or move it, by the amount named."

    @staticmethod
    def check(group: Group, settings: ContactSyncSettings, /) -> Iterator[Said]:
        """Yields at most one finding for the time and one for the place, on the second clip."""
        first, second = group.members
        bond = group.bond
        assert isinstance(bond, Partners)
        for one in (first, second):
            if one.motion.frames < LEAST_FRAMES:
                raise NotApplicable(f"{one.label} has too few frames to meet anything")
        meeting = _meeting(bond, (first, second), settings)
        dull = [one for one in meeting.found if one.sure < settings.clear_peak_share]
        if dull and meeting.moments[0].found_by != _CLOSEST:
            reason = f"no moment is named, and {dull[0].found_by} does not stand out"
            yield Said(1, Unjudged(reason, ()))
            return
        timing = list(_timing(meeting))
        yield from timing
        if meeting.points is not None:
            yield from _place(meeting, in_time=not timing)

    @staticmethod
    def examples() -> Iterable[GroupExample]:
        """A hand-over in time, late, early, out of reach; moments that are found."""
        yield GroupExample("in time", hand_over())
        yield GroupExample(
            "250 ms late",
            hand_over(late_s=0.25),
            finds=1,
            member=1,
            measured=250.0,
            within=1.0,
            level=Level.ERROR,
            parts=("right_hand",),
            frames=(30, 45),
        )
        yield GroupExample(
            "250 ms early",
            hand_over(late_s=-0.25),
            finds=1,
            member=1,
            measured=-250.0,
            within=1.0,
            level=Level.ERROR,
        )
        yield GroupExample("late, but told so", hand_over(late_s=0.25, offset_s=-0.25))
        yield GroupExample("100 ms late", hand_over(late_s=0.1), finds=1, level=Level.WARNING)
        yield GroupExample(
            "in time, 300 mm too far away",
            hand_over(away_m=0.3),
            finds=1,
            member=1,
            measured=300.0,
            within=2.0,
            level=Level.ERROR,
        )
        yield GroupExample(
            "no cue: found, 300 ms late",
            hand_over(late_s=0.3, cues=False, touch=False),
            finds=1,
            measured=300.0,
            within=30.0,
            level=Level.WARNING,
        )
        yield GroupExample("no cue: found, in time", hand_over(cues=False, touch=False))
        yield GroupExample("no cue, one world", hand_over(cues=False))
        missing = hand_over(moments=("give", "snatch"))
        yield GroupExample("a moment that no entry names", missing, not_applicable=True)


_CLOSEST = "the closest approach"


def _meeting(
    bond: Partners, members: tuple[Member, Member], settings: ContactSyncSettings
) -> _Meeting:
    points = None
    if bond.touch[0] and bond.touch[1]:
        points = touching(members[0], bond.touch[0]), touching(members[1], bond.touch[1])
    one, other = (
        named_moment(member, name)
        if name
        else found_moment(member, touching(member, touch) if touch else quickest(member), acts)
        for member, name, touch, acts in zip(
            members, bond.moments, bond.touch, (True, False), strict=True
        )
    )
    meeting = _Meeting(settings, bond, members, (one, other), points)
    if points is not None and one.found_by and other.found_by:
        return _at_closest(meeting) or meeting
    return meeting


def _at_closest(meeting: _Meeting) -> _Meeting | None:
    """The same with both moments at the closest approach; None if they stay out of reach."""
    first, second = (one.motion for one in meeting.members)
    starts = meeting.starts_s
    begin = max(starts)
    end = min(
        start + one.clip.duration_s for start, one in zip(starts, (first, second), strict=True)
    )
    if end <= begin:
        return None
    rate = max(first.sample_rate_hz, second.sample_rate_hz)
    times = np.arange(begin, end + 0.5 / rate, 1.0 / rate)
    apart = np.linalg.norm(meeting.apart_m((times - starts[0], times - starts[1])), axis=0)
    at = int(np.argmin(apart))
    if 1000.0 * apart[at] > _reach_mm(meeting):
        return None
    one, other = (Moment(float(times[at] - start), found_by=_CLOSEST) for start in starts)
    return _Meeting(meeting.settings, meeting.bond, meeting.members, (one, other), meeting.points)


def _reach_mm(meeting: _Meeting) -> float:
    reach_m = meeting.bond.reach_m
    return meeting.settings.reach_mm if reach_m is None else 1000.0 * reach_m


def _timing(meeting: _Meeting) -> Iterator[Said]:
    settings, late_ms = meeting.settings, 1000.0 * meeting.late_s
    limit = settings.late_ms if late_ms > 0 else settings.early_ms
    if abs(late_ms) <= settings.warning_share * limit:
        return
    second = meeting.members[1]
    way = "late" if late_ms > 0 else "early"
    message = f"{second.label} meets {meeting.members[0].label} {abs(late_ms):.0f} ms {way}"
    yield Said(
        1,
        Finding(
            message + _found_words(meeting),
            _span(meeting),
            _parts(meeting),
            measured=late_ms,
            limit=limit if late_ms > 0 else -limit,
            unit="ms",
            worst_frame=_frame(second.motion, meeting.moments[1].at_s),
            remedy=_retimed(meeting),
            level=_level(meeting, abs(late_ms) > limit),
            detail=way,
            setting=f"{way}_ms",
            confidence=_confidence(meeting),
        ),
    )


def _retimed(meeting: _Meeting) -> str:
    """The shift that makes them meet, or the speed of the second's way to its moment."""
    second, late_s = meeting.members[1].motion, meeting.late_s
    rate, until_s = second.sample_rate_hz, meeting.moments[1].at_s
    way = "earlier" if late_s > 0 else "later"
    said = (
        f"Start it {1000.0 * abs(late_s):.0f} ms ({abs(late_s) * rate:.1f} frames) {way} "
        f"(offset_s = {meeting.bond.offset_s - late_s:.3f})"
    )
    if until_s - late_s < 0.5 * until_s or until_s - late_s > 2.0 * until_s or until_s <= 0.0:
        return said + "."
    percent = 100.0 * until_s / (until_s - late_s)
    frame = frame_named(second, _frame(second, until_s))
    return f"{said}, or play it up to frame {frame} at {percent:.0f} percent of its speed."


def _place(meeting: _Meeting, in_time: bool) -> Iterator[Said]:
    settings, second = meeting.settings, meeting.members[1]
    assert meeting.points is not None
    at = _times_to_compare(meeting, in_time)
    apart = meeting.apart_m(at)
    sizes = np.linalg.norm(apart, axis=0)
    nearest = int(np.argmin(sizes))
    apart_mm, limit = 1000.0 * float(sizes[nearest]), _reach_mm(meeting)
    if apart_mm <= limit:
        return
    off = apart[:, nearest]
    where = placed(
        read_m(second.motion, meeting.points[1].path_m, at[1][nearest : nearest + 1]),
        (0.0, 0.0, 0.0),
        0.0,
    )[:, 0]
    frame = _frame(second.motion, float(at[1][nearest]))
    clear = placed(-off[:, None], (0.0, 0.0, 0.0), -meeting.bond.turn_deg)[:, 0]
    way = clear / max(float(np.linalg.norm(clear)), 1e-9)
    one, other = meeting.points
    move = ", ".join(f"{-1000.0 * value:+.0f}" for value in off)
    yield Said(
        1,
        Finding(
            f"the {other.name} is {apart_mm:.0f} mm from the {one.name} of "
            f"{meeting.members[0].label} where they should touch" + _found_words(meeting),
            FrameSpan(frame, frame),
            _parts(meeting),
            measured=apart_mm,
            limit=limit,
            unit="mm",
            worst_frame=frame,
            remedy=f"Move it by ({move}) mm along x, y, z of the first's world at frame "
            f"{frame_named(second.motion, frame)}, or reach out with the {other.name}.",
            level=_level(meeting, apart_mm > limit / settings.warning_share),
            detail="apart",
            at_m=(float(where[0]), float(where[1]), float(where[2])),
            direction=(float(way[0]), float(way[1]), float(way[2])),
            setting="" if meeting.bond.reach_m is not None else "reach_mm",
            confidence=_confidence(meeting),
        ),
    )


def _times_to_compare(meeting: _Meeting, in_time: bool) -> tuple[Floats, Floats]:
    """Times of each own clip: all between the two moments, or each one's own moment."""
    one, other = (np.array([moment.at_s]) for moment in meeting.moments)
    if not in_time:
        return one, other
    start, end = meeting.starts_s
    common = np.linspace(start + one[0], end + other[0], 16)
    return common - start, common - end


def _level(meeting: _Meeting, surely: bool) -> Level:
    return Level.ERROR if surely and not meeting.found else Level.WARNING


def _confidence(meeting: _Meeting) -> float:
    if not meeting.found:
        return 0.9
    return round(0.5 * min(max(min(one.sure for one in meeting.found), 0.2), 1.0), 2)


def _found_words(meeting: _Meeting) -> str:
    if not meeting.found:
        return ""
    by = dict.fromkeys(one.found_by for one in meeting.found)
    return f" (the cue sheet names no moment; found by {' and '.join(by)})"


def _frame(motion: Motion, at_s: float) -> int:
    return min(max(round(at_s * motion.sample_rate_hz), 0), motion.frames - 1)


def _span(meeting: _Meeting) -> FrameSpan:
    """From where the second should meet to where it does."""
    second, at_s = meeting.members[1].motion, meeting.moments[1].at_s
    frames = _frame(second, at_s), _frame(second, at_s - meeting.late_s)
    return FrameSpan(min(frames), max(frames))


def _parts(meeting: _Meeting) -> tuple[str, ...]:
    if meeting.points is None or not meeting.points[1].part:
        return ("clip",)
    return (meeting.points[1].part,)
