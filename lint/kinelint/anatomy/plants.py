"""How the planted part of a foot moves over its support while it bears.

A foot that rolls from heel to toe hands its weight on: heel, flat, ball. The path of a plant
follows whichever point bears. A pivot turn is no slide.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from kinelint.anatomy.bearing_point import bearing_point, ends_of
from kinelint.anatomy.contacts import Contact, track_contacts
from kinelint.anatomy.feet import scale_of
from kinelint.anatomy.tracks import Track, tracks
from kinelint.kinematics.arrays import Bools, Floats, Ints, frozen, runs_of
from kinelint.kinematics.contact import ContactLimits, Phase, horizontal_speed, steps, trimmed
from kinelint.kinematics.slides import Excursion, slides
from kinelint.motion import Motion


@dataclass(frozen=True, eq=False)
class Plant:
    """One foot from the time it is down until it rolls off, without the ends of that.

    Attributes:
        track: of the foot.
        fine_first, fine_last: samples of the track.
        fine_m: ``(2, samples)`` (x, z) of the bearing point, put together without jumps.
        fine_along: ``(samples,)`` where it is: 0 the heel, 1 the ball.
    """

    track: Track
    fine_first: int
    fine_last: int
    fine_m: Floats
    fine_along: Floats

    @property
    def side(self) -> str:
        """Left or right."""
        return self.track.side

    @property
    def fine_rate_hz(self) -> float:
        """Of `fine_m`."""
        return self.track.sample_rate_hz

    @property
    def first(self) -> int:
        """First frame."""
        return self.fine_first // self.track.steps

    @property
    def last(self) -> int:
        """Last frame."""
        return -(-self.fine_last // self.track.steps)

    @property
    def along(self) -> Floats:
        """``(frames,)`` of `fine_along`."""
        return np.asarray(self.fine_along[self._samples])

    @property
    def path_m(self) -> Floats:
        """``(2, frames)`` of `fine_m`."""
        return np.asarray(self.fine_m[:, self._samples])

    @cached_property
    def at_m(self) -> Floats:
        """``(3, frames)`` the bearing point in the world."""
        here, at = self.fine_first + self._samples, self.track.at_m
        return np.asarray(
            frozen((1.0 - self.along) * at["heel"][:, here] + self.along * at["ball"][:, here])
        )

    @cached_property
    def _samples(self) -> Ints:
        # Frames whose own sample lies just outside take the nearest one inside.
        every = np.arange(self.first, self.last + 1) * self.track.steps
        return np.clip(every - self.fine_first, 0, self.fine_last - self.fine_first)

    def slides(self, rest_m_per_s: float, least_m: float) -> list[Excursion]:
        """How the foot slides; `first` and `last` are samples of `fine_m`."""
        return slides(self.fine_m, self.fine_rate_hz, rest_m_per_s, least_m)

    def in_frames(self, one: Excursion) -> Excursion:
        """The same, `first` and `last` being frames of `path_m`."""
        first = (one.first + self.fine_first) // self.track.steps - self.first
        last = -(-(one.last + self.fine_first) // self.track.steps) - self.first
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
    down, along = bearing_point(track, scale, heel, ball)
    ends = ends_of(track)
    step = np.diff(ends, axis=-1, prepend=ends[..., :1])
    # The step into a sample is that of the point which bears there, so a change of it is no jump.
    moved = step[0] + along * (step[1] - step[0])
    moved[:, ~down] = 0.0
    path = np.cumsum(moved, axis=1)
    for first, last in zip(*(one.tolist() for one in runs_of(down)), strict=True):
        if last > first:
            here = slice(first, last + 1)
            own = frozen(path[:, here] - path[:, first : first + 1])
            yield Plant(track, first, last, own, along[here])
