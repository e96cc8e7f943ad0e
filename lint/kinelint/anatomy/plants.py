"""How the planted part of a foot moves over its support while it bears.

A foot that rolls from heel to toe hands its weight on: heel, flat, ball. The path of a plant
follows whichever point bears. While both do, the foot may turn on any point of the sole, so the
point that moves least is followed: over the whole time where the foot hardly turns, and from
moment to moment where it does. A pivot turn is no slide.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.contacts import contacts, heights, stance
from kinelint.anatomy.feet import WINDOW_S, scale_of
from kinelint.anatomy.sole import Sole, soles
from kinelint.anatomy.travel import travelled
from kinelint.frame_spans import spans
from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Bools, Floats, Ints, frozen
from kinelint.kinematics.contact import ContactLimits, horizontal_speed, runs, steps
from kinelint.kinematics.slides import extent
from kinelint.motion import Motion

# Points tried between heel (0) and ball (1).
_ALONG = (0.0, 0.25, 0.5, 0.75, 1.0)
# A sole turns on the spot if its ends move this differently (some 40 degrees a second).
_TURNS_M_PER_S = 0.15
# A sole reaches a little behind its heel point and, with the toes, before its ball.
_REACH = (-0.15, 1.3)
# An end of the sole that has risen this much over the other, against the flat foot, bears nothing.
_RISEN_M = 0.012
_HEEL, _BALL, _FLAT, _TURN = 1, 2, 3, 4


@dataclass(frozen=True, eq=False)
class Plant:
    """One foot from the time it is down until it rolls off, without the ends of that.

    Attributes:
        side: "left" or "right".
        first, last: frames.
        path_m: ``(2, frames)`` (x, z) of the bearing point, put together without jumps.
        at_m: ``(3, frames)`` that point in the world.
        along: ``(frames,)`` where it is: 0 the heel, 1 the ball.
    """

    side: str
    first: int
    last: int
    path_m: Floats
    at_m: Floats
    along: Floats


def plants(motion: Motion, limits: ContactLimits | None = None) -> tuple[Plant, ...]:
    """Every plant of every foot, by side, in order of time.

    Raises:
        NotApplicable: there are no feet, or they were not captured.
    """
    scaled = (limits or ContactLimits()).scaled_by(scale_of(motion))
    found: list[Plant] = []
    for side, sole in motion.derive(soles).items():
        down = {point: np.zeros(motion.frames, dtype=np.bool_) for point in ("heel", "ball")}
        for one in motion.derive(contacts, *(() if limits is None else (limits,))):
            span = one.planted(motion, scaled.trim_s) if one.side == side else None
            if span is not None:
                down[one.point][span[0] : span[1] + 1] = True
        on = ~_steps(motion, sole, scaled)
        found += _plants_of(motion, sole, down["heel"] & on, down["ball"] & on)
    return tuple(found)


def _steps(motion: Motion, sole: Sole, limits: ContactLimits) -> Bools:
    above = motion.derive(heights, sole.side)
    speeds = [
        horizontal_speed(travelled(motion, path), motion.sample_rate_hz, limits.window_s)
        for path in (sole.heel_m, sole.ball_m)
    ]
    lowest = np.minimum(above["heel"], above["ball"])
    bearing = stance(motion, sole.side)
    return steps(np.minimum(*speeds), lowest, bearing, limits.moving_m_per_s, limits.lift_m)


def _plants_of(motion: Motion, sole: Sole, heel: Bools, ball: Bools) -> Iterator[Plant]:
    ends = np.stack(
        [travelled(motion, sole.heel_m)[[0, 2]], travelled(motion, sole.ball_m)[[0, 2]]]
    )
    velocity = rates.windowed_velocity(ends, motion.sample_rate_hz, WINDOW_S)
    turning = np.linalg.norm(velocity[1] - velocity[0], axis=0) > _TURNS_M_PER_S * scale_of(motion)
    kind = np.where(heel & ball, np.where(turning, _TURN, _FLAT), heel * _HEEL + ball * _BALL)
    tilt_m = _tilt_m(motion.derive(heights, sole.side), heel & ball)
    risen_m = _RISEN_M * scale_of(motion)
    kind = np.where((kind == _FLAT) & (tilt_m > risen_m), _BALL, kind)
    kind = np.where((kind == _FLAT) & (tilt_m < -risen_m), _HEEL, kind)
    along = _bearing(kind, ends, velocity)
    step = np.diff(ends, axis=-1, prepend=ends[..., :1])
    # The step into a frame is that of the point which bears there, so a change of it is no jump.
    moved = (1.0 - along) * step[0] + along * step[1]
    at_m = (1.0 - along) * sole.heel_m + along * sole.ball_m
    for down in spans(kind > 0, min_frames=2):
        here = slice(down.first, down.last + 1)
        path = np.zeros((2, down.frames))
        np.cumsum(moved[:, down.first + 1 : down.last + 1], axis=1, out=path[:, 1:])
        yield Plant(
            sole.side, down.first, down.last, frozen(path), frozen(at_m[:, here]), along[here]
        )


def _tilt_m(above: dict[str, Floats], both: Bools) -> Floats:
    """``(frames,)`` how much higher the heel is than the ball, against the flat foot.

    A heel is near the floor long after it has left it, and swings about the ball meanwhile: it
    would hide the slide of the ball.
    """
    tilt_m = above["heel"] - above["ball"]
    return np.asarray(tilt_m - np.median(tilt_m[both])) if both.any() else 0.0 * tilt_m


def _bearing(kind: Ints, ends: Floats, velocity: Floats) -> Floats:
    """``(frames,)`` where the sole bears: 0 at the heel to 1 at the ball."""
    along = np.where(kind == _BALL, 1.0, 0.0)
    turning = kind == _TURN
    # The point of a rigid sole that moves least at each moment.
    heel = velocity[0][:, turning]
    apart = velocity[1][:, turning] - heel
    nearest = -np.sum(heel * apart, axis=0) / np.maximum(np.sum(apart * apart, axis=0), 1e-12)
    along[turning] = np.clip(nearest, *_REACH)
    share = np.array(_ALONG)[:, None, None]
    for first, last in runs(kind == _FLAT):
        here = slice(first, last + 1)
        tried = (1.0 - share) * ends[0, :, here] + share * ends[1, :, here]
        along[here] = _ALONG[int(np.argmin(extent(tried)))]
    return np.asarray(frozen(along))
