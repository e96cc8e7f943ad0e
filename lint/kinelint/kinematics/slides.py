"""How far a planted point strays over its support, and when."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Floats, frozen
from kinelint.kinematics.contact import Phase, runs

_DIRECTIONS = 24
# A point at rest moves less than this over this time: a long stand falls apart into slides and
# rests, and fast slides keep their slow ends. Common practice, no source.
REST_WINDOW_S = 0.2
REST_M_PER_S = 0.02
# A slide begins and ends slower than that: it takes this in on both sides.
SLOW_ENDS_S = 0.1
# What strays less than this share of a slide just before or after it is its slow end.
_OWN_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class Excursion:
    """How far a path strays, and when.

    Attributes:
        size: its greatest extent, in the path's unit.
        direction: (x, z) unit vector from where it was first to where it went.
        first, last: frames of the path between which it goes (and comes back).
    """

    size: float
    direction: tuple[float, float]
    first: int
    last: int


def extent(path: Floats) -> Floats:
    """The greatest extent of paths ``(..., 2, frames)`` over the floor.

    It is the extent along the widest of 24 directions: at least 0.997 of the true diameter.
    """
    along = directions() @ path
    return np.asarray((along.max(axis=-1) - along.min(axis=-1)).max(axis=-1))


def excursion(path: Floats) -> Excursion:
    """The same with its way and its frames."""
    axes = directions()
    along = axes @ path
    sizes = along.max(axis=1) - along.min(axis=1)
    widest = int(np.argmax(sizes))
    size = float(sizes[widest])
    if size < 1e-12:
        return Excursion(0.0, (1.0, 0.0), 0, path.shape[1] - 1)
    share = (along[widest] - along[widest].min()) / size
    first, last, forwards = _crossings(share)
    x, z = axes[widest] if forwards else -axes[widest]
    return Excursion(size, (float(x), float(z)), first, last)


@cache
def directions(count: int = _DIRECTIONS) -> Floats:
    """``(count, 2)`` unit vectors (x, z) over half a turn."""
    angles = np.arange(count) * np.pi / count
    return np.asarray(frozen(np.stack((np.cos(angles), np.sin(angles)), axis=1)))


def slides(
    path: Floats,
    sample_rate_hz: float,
    rest_m_per_s: float = REST_M_PER_S,
    least: float = 0.0,
) -> list[Excursion]:
    """Every slide of a planted point ``(2, frames)``: its excursions between rests, in order.

    What it creeps while at rest makes one more, over all of its frames, at the end.

    Args:
        path: over the floor.
        sample_rate_hz: frames a second.
        rest_m_per_s: slower is at rest.
        least: smaller ones are left out.
    """
    # Nothing strays further than the box about it is wide.
    if np.hypot(*np.ptp(path, axis=1)) <= least:
        return []
    step = np.diff(path, axis=1, prepend=path[:, :1])
    velocity = rates.windowed_velocity(path, sample_rate_hz, REST_WINDOW_S)
    found = []
    moving = np.hypot(*velocity) > rest_m_per_s
    for first, last in _widened(runs(moving), round(SLOW_ENDS_S * sample_rate_hz), moving.size):
        found += _strokes(path, first, last, least)
        step[:, first : last + 1] = 0.0
    creep = np.cumsum(step, axis=1)
    return [*found, excursion(creep)] if extent(creep) > least else found


def parts_of(path: Floats, first: int, last: int, size: float) -> Iterator[Phase]:
    """Parts of ``(2, frames)`` between two frames that go as far as `size`, each by itself.

    The shortest, and those before and after it.
    """
    found = _shortest(path[:, first : last + 1], size)
    if found is not None:
        start, end = first + found[0], first + found[1]
        yield start, end
        yield from parts_of(path, first, start, size)
        yield from parts_of(path, end, last, size)


def _shortest(path: Floats, size: float) -> Phase | None:
    """Along the best of 24 directions, there or back."""
    frames = np.arange(path.shape[1])
    found: Phase | None = None
    for along in directions() @ path:
        for way in (along, -along):
            ends = np.searchsorted(np.maximum.accumulate(way), way + size)
            took = np.where((ends > frames) & (ends < way.size), ends - frames, way.size)
            start = int(np.argmin(took))
            if took[start] < (way.size if found is None else found[1] - found[0]):
                found = start, int(ends[start])
    return found


def _strokes(path: Floats, first: int, last: int, least: float) -> list[Excursion]:
    """The greatest excursion of a stretch without rest, and those before and after it."""
    part = path[:, first : last + 1]
    if last <= first or extent(part) <= least:
        return []
    one = excursion(part)
    one = replace(one, first=one.first + first, last=one.last + first)
    if (one.first, one.last) == (first, last):
        return [one]
    least = max(least, _OWN_SHARE * one.size)
    before = _strokes(path, first, one.first, least)
    return [*before, one, *_strokes(path, one.last, last, least)]


def _widened(phases: list[Phase], by: int, frames: int) -> Iterator[Phase]:
    """Phases longer by so many frames on both sides; two that would meet share the gap."""
    before = -1 - 2 * by
    for number, (first, last) in enumerate(phases):
        after = phases[number + 1][0] if number + 1 < len(phases) else frames + 2 * by
        longer = min(by, (first - before - 1) // 2), min(by, (after - last - 1) // 2)
        yield max(first - longer[0], 0), min(last + longer[1], frames - 1)
        before = last


def _crossings(share: Floats) -> tuple[int, int, bool]:
    """First and last frame of all ways between 0.1 and 0.9, and whether the first goes up."""
    marks = np.where(share <= 0.1, -1, np.where(share >= 0.9, 1, 0))
    places = np.flatnonzero(marks)
    turns = np.flatnonzero(np.diff(marks[places]) != 0)
    first, last = int(places[turns[0]]), int(places[turns[-1] + 1])
    return first, last, bool(marks[first] < 0)
