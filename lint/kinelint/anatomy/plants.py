"""How the planted part of a foot moves over its support while it bears.

A foot that rolls from heel to toe hands its weight on: heel, flat, ball. The path of a plant
follows whichever point bears; while both do, the foot may turn about any point of the sole, so
the one that moves least is taken: a pivot turn is no slide.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.contacts import contacts, heights
from kinelint.anatomy.feet import scale_of
from kinelint.anatomy.sole import Sole, soles
from kinelint.anatomy.travel import travelled
from kinelint.kinematics.arrays import Bools, Floats, frozen
from kinelint.kinematics.contact import ContactLimits, excursion, horizontal_speed, steps
from kinelint.motion import Motion

# Points tried between heel (0) and ball (1).
_ALONG = (0.0, 0.25, 0.5, 0.75, 1.0)


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
    found = []
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
    return steps(np.minimum(*speeds), lowest, limits.moving_m_per_s, limits.lift_m)


def _plants_of(motion: Motion, sole: Sole, heel: Bools, ball: Bools) -> list[Plant]:
    state = heel.astype(np.int8) + 2 * ball.astype(np.int8)
    cuts = np.flatnonzero(np.diff(state)) + 1
    starts = np.concatenate(([0], cuts))
    ends = np.concatenate((cuts, [motion.frames])) - 1
    ends_m = [travelled(motion, sole.heel_m), travelled(motion, sole.ball_m)]
    runs: list[list[tuple[int, int]]] = [[]]
    for first, last in zip(starts.tolist(), ends.tolist(), strict=True):
        if state[first]:
            runs[-1].append((first, last))
        elif runs[-1]:
            runs.append([])
    return [_plant(sole, ends_m, state, run) for run in runs if run and run[-1][1] > run[0][0]]


def _plant(sole: Sole, ends_m: list[Floats], state: Bools, run: list[tuple[int, int]]) -> Plant:
    first, last = run[0][0], run[-1][1]
    steps = np.zeros((2, last - first + 1))
    at = np.zeros((3, last - first + 1))
    along = np.zeros(last - first + 1)
    for start, end in run:
        # The step into a segment belongs to it: start one frame early where there is one.
        lead = max(start - 1, first)
        share = _bearing(ends_m, int(state[start]), lead, end)
        here = slice(start - first, end - first + 1)
        path = _between(ends_m, share, lead, end)
        steps[:, start - first + (start == lead) : end - first + 1] = np.diff(path[[0, 2]], axis=1)
        own = [sole.heel_m, sole.ball_m]
        at[:, here] = _between(own, share, start, end)
        along[here] = share
    path_m = np.cumsum(steps, axis=1)
    return Plant(sole.side, first, last, frozen(path_m), frozen(at), frozen(along))


def _bearing(ends_m: list[Floats], state: int, first: int, last: int) -> float:
    """Where the sole bears over a segment: 0 at the heel to 1 at the ball."""
    if state != 3:
        return 0.0 if state == 1 else 1.0
    sizes = [excursion(_between(ends_m, s, first, last)[[0, 2]]).size for s in _ALONG]
    return _ALONG[int(np.argmin(sizes))]


def _between(ends_m: list[Floats], share: float, first: int, last: int) -> Floats:
    span = slice(first, last + 1)
    return np.asarray((1.0 - share) * ends_m[0][:, span] + share * ends_m[1][:, span])
