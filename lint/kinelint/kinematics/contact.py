"""When a point of the sole bears on its support.

Thresholds are metres, metres a second and seconds, never frames. They hold for a leg of 0.88 m
and scale with the leg, so that a child's or a giant's feet are judged alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Bools, Floats, runs_of

# Leg for which limits are given.
REFERENCE_LEG_M = 0.88
# A foot that rocks as it slides is higher halfway, but not by more than this times the limit.
_ROCK_SHARE = 1.5
# A foot pauses between two strokes if it slows to this share of the speed of the slower one.
_PAUSE_SHARE = 0.65
# A foot has slowed below this times the speed that is moving.
_SLOWED = 2.0
# First and last frame, both included.
Phase: TypeAlias = tuple[int, int]


@dataclass(frozen=True, slots=True)
class ContactLimits:
    """What makes a contact, for a leg of 0.88 m.

    A contact begins below both enter limits and ends above either leave limit; loose leave limits
    keep a foot that slides fast in contact. Chosen by trial on real walks and on seeded slides;
    strict speeds (0.15 and 0.3 m/s) miss exactly the fast slides.

    Attributes:
        enter_height_m, leave_height_m: of the point above its support.
        enter_speed_m_per_s, leave_speed_m_per_s: along the support.
        window_s: the speed is the change over this time.
        bridge_s: contacts no further apart are one, unless the point rises between them ...
        bridge_rise_m: ... by more than this over the higher of its two neighbours.
        min_s: shorter contacts do not count.
        trim_s: what a planted phase leaves out at each end: touching down and rolling off.
        moving_m_per_s, lift_m: a foot that moves faster and rises more meanwhile makes a step.
    """

    enter_height_m: float = 0.030
    leave_height_m: float = 0.050
    enter_speed_m_per_s: float = 0.4
    leave_speed_m_per_s: float = 0.8
    window_s: float = 0.1
    bridge_s: float = 0.2
    bridge_rise_m: float = 0.010
    min_s: float = 0.1
    trim_s: float = 0.08
    moving_m_per_s: float = 0.12
    lift_m: float = 0.008

    def scaled_by(self, k: float) -> ContactLimits:
        """For a leg `k` times as long: lengths and speeds scale, times stay."""
        return ContactLimits(
            self.enter_height_m * k,
            self.leave_height_m * k,
            self.enter_speed_m_per_s * k,
            self.leave_speed_m_per_s * k,
            self.window_s,
            self.bridge_s,
            self.bridge_rise_m * k,
            self.min_s,
            self.trim_s,
            self.moving_m_per_s * k,
            self.lift_m * k,
        )


def hysteresis(enter: Bools, leave: Bools) -> Bools:
    """``(frames,)`` true from a frame of `enter` until the next frame of `leave`.

    A frame of `leave` is never true, whatever `enter` says.
    """
    marks = np.where(leave, -1, np.where(enter, 1, 0))
    last = np.maximum.accumulate(np.where(marks != 0, np.arange(marks.size), -1))
    return np.asarray((last >= 0) & (marks[np.maximum(last, 0)] == 1))


def horizontal_speed(point: Floats, sample_rate_hz: float, window_s: float) -> Floats:
    """``(frames,)`` m/s over the floor (x and z) of a path ``(3, frames)``, over a fixed window."""
    velocity = rates.windowed_velocity(point[[0, 2]], sample_rate_hz, window_s)
    return np.asarray(np.hypot(velocity[0], velocity[1]))


def contact_phases(
    point: Floats, height: Floats, sample_rate_hz: float, limits: ContactLimits
) -> list[Phase]:
    """The spans of frames in which a point bears on its support.

    Args:
        point: ``(3, frames)`` path in the world, Y up.
        height: ``(frames,)`` above the support.
        sample_rate_hz: frames a second.
        limits: scaled to the leg.
    """
    speed = horizontal_speed(point, sample_rate_hz, limits.window_s)
    enter = (height <= limits.enter_height_m) & (speed <= limits.enter_speed_m_per_s)
    leave = (height > limits.leave_height_m) | (speed > limits.leave_speed_m_per_s)
    joined = _bridged(runs(hysteresis(enter, leave)), height, sample_rate_hz, limits)
    # A phase ends between two frames: on average it lasts a frame longer than from first to last.
    least = limits.min_s * sample_rate_hz - 1.0 - 1e-9
    return [one for one in joined if one[1] - one[0] >= least]


def steps(
    speed: Floats,
    height: Floats,
    bearing: Bools,
    moving_m_per_s: float,
    rise_m: float,
    points: Sequence[Floats] = (),
    flat_m: float = np.inf,
) -> Bools:
    """``(frames,)`` true where a foot moves over its support and is lifted as it does.

    A low step of a few millimetres' clearance is below every height that a contact allows, but a
    foot that slides is not lifted and put down. A stretch of frames in which it moves is a step
    if it rises by more than `rise_m` over the line between its two ends; where it comes from or
    goes to the air, over the lower of them.

    Args:
        speed: ``(frames,)`` of the slowest point of the foot.
        height: ``(frames,)`` of its lowest point.
        bearing: ``(frames,)`` true where any of its points bears.
        moving_m_per_s: faster is moving.
        rise_m: higher is lifted.
        points: heights of its points. A flat foot that rocks from one to the other as it slides
            is a little higher halfway, at its lowest; it is lifted only if every point rises.
        flat_m: a foot with a higher point is not flat.
    """
    stepping = np.zeros(speed.size, dtype=np.bool_)
    for first, last in _strokes(speed, height, moving_m_per_s, rise_m):
        before, after = max(first - 1, 0), min(last + 1, speed.size - 1)
        between = height[before : after + 1]
        if bearing[before : after + 1].all():
            rises = _over_its_ends(between)
            whole = [one[before : after + 1] for one in points]
            if rises.max() <= _ROCK_SHARE * rise_m and all(one.max() <= flat_m for one in whole):
                each = [_over_its_ends(one) for one in whole]
                rises = np.min([rises, *each], axis=0)
        else:
            rises = between - min(between[0], between[-1])
            high = np.flatnonzero(rises > rise_m)
            if high.size:
                # What it glides once it has come down and slowed is no step.
                down = before + int(high[-1])
                slow = np.flatnonzero(speed[down : last + 1] < _SLOWED * moving_m_per_s)
                landed = bool(bearing[after]) and slow.size > 0
                stepping[first : (down + int(slow[0]) if landed else last) + 1] = True
            continue
        stepping[first : last + 1] = rises.max() > rise_m
    return stepping


def _over_its_ends(height: Floats) -> Floats:
    """How high it is over the line between its two ends."""
    return np.asarray(height - np.linspace(height[0], height[-1], height.size))


def _strokes(
    speed: Floats, height: Floats, moving_m_per_s: float, rise_m: float
) -> Iterator[Phase]:
    """Stretches of moving, parted where a foot that is down all but stops and then goes on."""
    for first, last in runs(speed > moving_m_per_s):
        part = speed[first : last + 1]
        # The highest speed so far, and still to come.
        peak = np.minimum(np.maximum.accumulate(part), np.maximum.accumulate(part[::-1])[::-1])
        low = height[first : last + 1] <= min(height[first], height[last]) + rise_m
        pauses = (part < _PAUSE_SHARE * peak) & (part < _SLOWED * moving_m_per_s) & low
        start = first
        for begins, ends in runs(pauses):
            slowest = first + begins + int(np.argmin(part[begins : ends + 1]))
            if slowest > start:
                yield start, slowest - 1
            start = slowest
        yield start, last


def runs(mask: Bools) -> list[Phase]:
    """First and last frame of each stretch of true."""
    starts, ends = runs_of(mask)
    return list(zip(starts.tolist(), ends.tolist(), strict=True))


def _bridged(
    runs: list[Phase], height: Floats, sample_rate_hz: float, limits: ContactLimits
) -> list[Phase]:
    """Contacts that only a fast slide parts are one: the point stays down between them."""
    joined: list[Phase] = []
    for first, last in runs:
        # As above: on average a gap is a frame shorter than from contact to contact.
        if joined and first - joined[-1][1] - 1 <= limits.bridge_s * sample_rate_hz + 1e-9:
            between = height[joined[-1][1] : first + 1]
            if between.max() - max(between[0], between[-1]) <= limits.bridge_rise_m:
                joined[-1] = (joined[-1][0], last)
                continue
        joined.append((first, last))
    return joined


def trimmed(
    phase: Phase,
    sample_rate_hz: float,
    trim_s: float,
    frames: int,
    planted_at_ends: tuple[bool, bool] = (True, True),
) -> Phase | None:
    """The phase without `trim_s` at each end; None if nothing is left.

    Nothing is cut where the clip itself begins or ends, as the foot is planted there already;
    unless `planted_at_ends` says that it is touching down or rolling off as the clip does so.
    """
    cut = round(trim_s * sample_rate_hz)
    begins, ends = planted_at_ends
    first = phase[0] + (cut if phase[0] > 0 or not begins else 0)
    last = phase[1] - (cut if phase[1] < frames - 1 or not ends else 0)
    return (first, last) if last > first else None
