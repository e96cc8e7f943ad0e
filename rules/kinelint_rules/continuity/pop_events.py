"""Jumps of joints and of the whole figure as events: graded, there and back, together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from kinelint.anatomy.parts import DIGITS
from kinelint.finding import Level
from kinelint.motion import Motion
from kinelint.rule import RuleSettings, setting
from kinelint_rules.continuity.jumps import Jumps, place_jumps, turn_jumps

PRACTICE = "common practice, no source"
MEASURED = PRACTICE + "; measured on 25 open recordings of people"
# The motion within this time of a jump tells how quick it is there.
_REACH_S = 0.15
_LEAST_REACH = 4


class PopSettings(RuleSettings):
    """Settings of `pop`."""

    note_deg: float = setting(
        8.0, gt=0, why="Smaller jumps drown in the noise of suits and gloves.", source=PRACTICE
    )
    warning_deg: float = setting(
        15.0, gt=0, why="A twitch that is seen when the clip is played.", source=PRACTICE
    )
    error_deg: float = setting(
        30.0, gt=0, why="A limb that flips over within one frame.", source=PRACTICE
    )
    note_mm: float = setting(20.0, gt=0, why="Of the whole figure.", source=PRACTICE)
    warning_mm: float = setting(
        35.0, gt=0, why="The figure twitches from its place.", source=PRACTICE
    )
    error_mm: float = setting(70.0, gt=0, why="The figure leaps within one frame.", source=PRACTICE)
    note_times: float = setting(
        3.0,
        gt=1,
        why="A jump is so many times what any other step within 0.15 s differs from those beside "
        "it: fast moves gather their speed over several frames, at 24 Hz as well.",
        source=MEASURED,
    )
    error_times: float = setting(
        5.0, gt=1, why="The same, for a finding of level error.", source=MEASURED
    )
    beside_times: float = setting(
        1.25, ge=1, why="And so many times the longest step right beside it.", source=MEASURED
    )
    error_beside_times: float = setting(
        3.5,
        ge=1,
        why="The same, for level error: an arm that was flung at 30 Hz came to 2.6.",
        source=MEASURED,
    )
    toes_times: float = setting(
        2.0,
        ge=1,
        why="Toes are slapped flat by the ground within a frame: their limits are so much higher.",
        source=MEASURED,
    )
    together_s: float = setting(
        0.1, ge=0, why="A pose that jumps and comes back within this is one pop.", source=PRACTICE
    )
    often_s: float = setting(
        1.0,
        ge=0,
        why="Pops of the same parts with less than this between them are one finding.",
        source=PRACTICE,
    )
    stylised_as_people: bool = setting(
        False,
        why="Figures that are not built like people are keyed to snap from pose to pose: at most "
        "a warning. Set it to hold them as people are held.",
        source=PRACTICE + "; two open packs of cartoon figures",
    )


@dataclass(frozen=True)
class Event:
    """One jump of one part: frames, size, the limit that it passed and its level."""

    part: str
    first: int
    last: int
    worst: int
    size: float
    limit: float
    setting: str
    level: Level
    unit: str
    off: tuple[float, float, float]
    sure: float

    @property
    def over(self) -> float:
        """Size in limits."""
        return self.size / self.limit


def _reach(motion: Motion) -> int:
    return max(_LEAST_REACH, round(_REACH_S * motion.sample_rate_hz))


def turns(motion: Motion, settings: PopSettings) -> Iterator[Event]:
    """Joints that jump against their parents."""
    joints = [
        (joint, part)
        for part, every in motion.figure.anatomy.joints.items()
        if motion.has(part)
        for joint in every
    ]
    if not joints:
        return
    rows = np.array([joint for joint, _ in joints])
    found = turn_jumps(motion.clip.rotations, rows, settings.note_deg, _reach(motion))
    limits = (settings.note_deg, settings.warning_deg, settings.error_deg)
    part_of = dict(joints)
    for row in np.unique(found.rows).tolist():
        part = part_of[row]
        times = settings.toes_times if part.endswith("toes") else 1.0
        # Of fingers a recording often has no more than a guess: at most a warning.
        finger = part.partition("_")[2] in DIGITS
        most = float("inf") if finger else times * limits[2]
        scaled = (times * limits[0], times * limits[1], most)
        yield from _events(found, row, part, scaled, "deg", settings, motion)


def places(motion: Motion, settings: PopSettings) -> Iterator[Event]:
    """The whole figure leaping from its place."""
    if not motion.has("pelvis"):
        return
    place = 1000.0 * motion.part("pelvis").position_m[None]
    found = place_jumps(place, settings.note_mm, _reach(motion))
    limits = (settings.note_mm, settings.warning_mm, settings.error_mm)
    yield from _events(found, 0, "pelvis", limits, "mm", settings, motion)


def _events(
    found: Jumps,
    row: int,
    part: str,
    limits: tuple[float, ...],
    unit: str,
    settings: PopSettings,
    motion: Motion,
) -> Iterator[Event]:
    """The jumps of one series that pass a limit; a step there and one back are one event."""
    usual = found.at_least(settings.note_times, settings.beside_times)
    strict = found.at_least(settings.error_times, settings.error_beside_times)
    jumps = []
    for i in np.flatnonzero(found.rows == row):
        graded = _graded(float(found.size[i]), limits, float(usual[i]), float(strict[i]))
        if graded is not None:
            level, limit = graded
            frame = int(found.frames[i])
            first = frame if found.single[i] else frame - 1
            x, y, z = (float(value) for value in found.off[i])
            sure = float(1.0 - usual[i] / found.size[i])
            name = f"{level.value}_{unit}"
            size = float(found.size[i])
            jumps.append(
                Event(part, first, frame, frame, size, limit, name, level, unit, (x, y, z), sure)
            )
    yield from _returned(jumps, settings.together_s * motion.sample_rate_hz)


def _graded(
    size: float, limits: tuple[float, ...], usual: float, strict: float
) -> tuple[Level, float] | None:
    """The worst level whose limit a jump passes, with that limit; None if it passes none.

    In a quick motion the limit is higher: what `usual` or `strict` ask for.
    """
    note, warning, error = limits
    for level, limit in (
        (Level.ERROR, max(error, strict)),
        (Level.WARNING, max(warning, usual)),
        (Level.NOTE, max(note, usual)),
    ):
        if size > limit:
            return level, limit
    return None


def _returned(jumps: list[Event], within: float) -> Iterator[Event]:
    """Jumps that the next one takes back become one event over the frames between."""
    left = sorted(jumps, key=lambda one: one.worst)
    while left:
        one = left.pop(0)
        if left and left[0].worst - one.worst <= within:
            back = left[0]
            rest = np.linalg.norm(np.add(one.off, back.off))
            if rest < 0.5 * one.size and one.first != one.last:
                worse = max(one, back, key=lambda event: event.over)
                left.pop(0)
                one = replace(worse, first=one.worst, last=back.worst - 1, worst=one.worst)
        yield one


def gathered(events: list[Event], settings: PopSettings, rate_hz: float) -> Iterator[list[Event]]:
    """Events at the same frames together, then repeats of the same parts."""
    by_place: dict[tuple[int, str], list[Event]] = defaultdict(list)
    for event in sorted(events, key=lambda one: (one.worst, one.unit)):
        near = [key for key in by_place if key[1] == event.unit and abs(key[0] - event.worst) <= 1]
        by_place[near[0] if near else (event.worst, event.unit)].append(event)
    groups: list[list[Event]] = []
    for _, group in sorted(by_place.items()):
        parts = {one.part for one in group}
        for other in reversed(groups):
            apart = min(e.first for e in group) - max(e.last for e in other)
            same = {one.part for one in other} == parts and other[0].unit == group[0].unit
            if same and apart <= settings.often_s * rate_hz:
                other += group
                break
        else:
            groups.append(group)
    yield from groups
