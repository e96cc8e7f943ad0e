"""How the planted part of a foot moves over its support while it bears.

A foot that rolls from heel to toe hands its weight on: heel, flat, ball. The path of a plant
follows whichever point bears. While both do, the foot may turn on any point of the sole, so the
point that moves least is followed: over the whole time where the foot hardly turns, and from
moment to moment where it does. A pivot turn is no slide.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from kinelint.anatomy.contacts import Contact, track_contacts
from kinelint.anatomy.feet import WINDOW_S, scale_of
from kinelint.anatomy.tracks import Track, tracks
from kinelint.finding import FrameSpan
from kinelint.frame_spans import spans
from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Bools, Floats, Ints, frozen
from kinelint.kinematics.contact import ContactLimits, Phase, horizontal_speed, runs, steps, trimmed
from kinelint.kinematics.slides import Excursion, extent, slides
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
        fine_m: ``(2, samples)`` the path at the rate of the foot's track.
        fine_rate_hz: of that.
        fine_first: the sample of the track that it begins at.
        steps: samples of the track for each frame.
    """

    side: str
    first: int
    last: int
    path_m: Floats
    at_m: Floats
    along: Floats
    fine_m: Floats
    fine_rate_hz: float
    fine_first: int
    steps: int

    def slides(self, rest_m_per_s: float, least_m: float) -> list[Excursion]:
        """How the foot slides; `first` and `last` are samples of `fine_m`."""
        return slides(self.fine_m, self.fine_rate_hz, rest_m_per_s, least_m)

    def in_frames(self, one: Excursion) -> Excursion:
        """The same, `first` and `last` being frames of `path_m`."""
        first = (one.first + self.fine_first) // self.steps - self.first
        last = -(-(one.last + self.fine_first) // self.steps) - self.first
        return replace(one, first=first, last=last)


def plants(motion: Motion, limits: ContactLimits | None = None) -> tuple[Plant, ...]:
    """Every plant of every foot, by side, in order of time.

    Raises:
        NotApplicable: there are no feet, or they were not captured.
    """
    scaled = (limits or ContactLimits()).scaled_by(scale_of(motion))
    every = motion.derive(track_contacts, *(() if limits is None else (limits,)))
    found: list[Plant] = []
    for side, track in motion.derive(tracks).items():
        bearing = np.zeros(track.length, dtype=np.bool_)
        down = {point: np.zeros(track.length, dtype=np.bool_) for point in ("heel", "ball")}
        for one in every:
            if one.side != side:
                continue
            bearing[one.first : one.last + 1] = True
            cut = _planted(track, one, scaled)
            if cut is not None:
                down[one.point][cut[0] : cut[1] + 1] = True
        on = ~_steps(track, bearing, scaled)
        found += _plants_of(track, scale_of(motion), down["heel"] & on, down["ball"] & on)
    return tuple(found)


def _planted(track: Track, one: Contact, limits: ContactLimits) -> Phase | None:
    """A contact without touching down and rolling off."""
    begins, ends = one.first == 0, one.last == track.length - 1
    if begins or ends:
        path, rate = track.travelled_m[one.point], track.sample_rate_hz
        rests = horizontal_speed(path, rate, limits.window_s) <= limits.enter_speed_m_per_s
        rests &= track.above_m[one.point] <= limits.enter_height_m
        begins, ends = bool(rests[0]), bool(rests[-1])
    span = (one.first, one.last)
    return trimmed(span, track.sample_rate_hz, limits.trim_s, track.length, (begins, ends))


def _steps(track: Track, bearing: Bools, limits: ContactLimits) -> Bools:
    speeds = [
        horizontal_speed(path, track.sample_rate_hz, limits.window_s)
        for path in track.travelled_m.values()
    ]
    points = tuple(track.above_m.values())
    lowest, limit = np.minimum(*points), (limits.moving_m_per_s, limits.lift_m)
    return steps(np.minimum(*speeds), lowest, bearing, *limit, points, limits.enter_height_m)


def _plants_of(track: Track, scale: float, heel: Bools, ball: Bools) -> Iterator[Plant]:
    ends = np.stack([track.travelled_m[point][[0, 2]] for point in ("heel", "ball")])
    velocity = rates.windowed_velocity(ends, track.sample_rate_hz, WINDOW_S)
    turning = np.linalg.norm(velocity[1] - velocity[0], axis=0) > _TURNS_M_PER_S * scale
    kind = np.where(heel & ball, np.where(turning, _TURN, _FLAT), heel * _HEEL + ball * _BALL)
    tilt_m = _tilt_m(track.above_m, heel & ball)
    risen_m = _RISEN_M * scale
    kind = np.where((kind == _FLAT) & (tilt_m > risen_m), _BALL, kind)
    kind = np.where((kind == _FLAT) & (tilt_m < -risen_m), _HEEL, kind)
    along = _bearing(kind, ends, velocity)
    step = np.diff(ends, axis=-1, prepend=ends[..., :1])
    # The step into a sample is that of the point which bears there, so a change of it is no jump.
    moved = (1.0 - along) * step[0] + along * step[1]
    for down in spans(kind > 0, min_frames=2):
        path = np.zeros((2, down.frames))
        np.cumsum(moved[:, down.first + 1 : down.last + 1], axis=1, out=path[:, 1:])
        yield _plant(track, down, path, along)


def _plant(track: Track, down: FrameSpan, path_m: Floats, along: Floats) -> Plant:
    first, last = down.first // track.steps, -(-down.last // track.steps)
    # Frames whose own sample lies just outside take the nearest one inside.
    here = np.clip(np.arange(first, last + 1) * track.steps, down.first, down.last)
    share = along[here]
    at_m = (1.0 - share) * track.at_m["heel"][:, here] + share * track.at_m["ball"][:, here]
    return Plant(
        track.side,
        first,
        last,
        frozen(path_m[:, here - down.first]),
        frozen(at_m),
        share,
        frozen(path_m),
        track.sample_rate_hz,
        down.first,
        track.steps,
    )


def _tilt_m(above: Mapping[str, Floats], both: Bools) -> Floats:
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
