"""The seam between two clips: where the one ends and the next begins, joint by joint."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.parts import mirrored
from kinelint.kinematics import rotations
from kinelint.kinematics.alignment import Alignment, align
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.kinematics.rates import at_times, shifted
from kinelint.motion import Motion
from kinelint_rules.groups.pairing import Pairs
from kinelint_rules.loops.missing_frame import (
    EVEN_M,
    EVEN_RAD,
    Left,
    between,
    place_steps,
    places_left,
    turn_steps,
    turned,
    turns_left,
)

# Velocities are taken over this long, so that the frame rate does not matter.
WINDOW_S = 1.0 / 30.0
# Points that fit this well are all alike to the alignment.
_NEAR_M = 0.001
# The seam may repeat a frame, take a step from one to the next, or anything between.
_SHARES = (0.0, 0.25, 0.5, 0.75, 1.0, 1.25)
# A change of velocity of this many times the largest elsewhere is no part of the motion.
_TIMES_USUAL = 1.3
_ALIKE_DEG, _ALIKE_M = 1.0, 0.004
# A gap of so many times what the joint leaves over elsewhere is likely, or surely, no part of the
# motion: as `loop-seam` found for recorded walks.
LIKELY, SURE = 1.35, 1.6
# Gaps smaller than these pass any limit: whether they are usual need not be asked.
_WORTH_RAD, _WORTH_M = 0.02, 0.004
# Of fewer frames nothing can be told.
_LEAST_TOLD = 6


@dataclass(frozen=True, eq=False)
class Seam:
    """What a viewer sees when the second clip begins, travel and turn taken away.

    Attributes:
        share: how much of a step from frame to frame lies between the clips.
        gap_deg, gap_mm: ``(m,)`` what each joint is off.
        usual_deg, usual_mm: ``(m,)`` what the joint leaves over within the clips where a frame is
            left out: a step between the clips may belie its forecast by as much.
        jump_mm_per_s: ``(m,)`` change of velocity beyond what the clips do within themselves.
        over: from the first clip's world to the second's.
        clear: ``(m, 3)`` where each joint would have to go in the second clip, metres.
    """

    share: float
    gap_deg: Floats
    gap_mm: Floats
    usual_deg: Floats
    usual_mm: Floats
    jump_mm_per_s: Floats
    over: Alignment
    clear: Floats

    def beyond(self, times: float) -> tuple[Floats, Floats]:
        """``(m,)`` degrees and mm of the gaps of so many times what is usual, else 0."""
        return (
            np.where(self.gap_deg > times * self.usual_deg, self.gap_deg, 0.0),
            np.where(self.gap_mm > times * self.usual_mm, self.gap_mm, 0.0),
        )


def chain_seam(first: Motion, second: Motion, found: Pairs) -> Seam:
    """The seam from the end of `first` to the start of `second`, at their paired joints."""
    step_s = 1.0 / second.sample_rate_hz
    places, turns = _places(first, second, found, step_s), _turns(first, second, found, step_s)
    tries = [_at_share(places, turns, found, share) for share in _SHARES]
    costs = [_cost(gap_deg, gap_m) for _, gap_deg, gap_m in tries]
    best = int(np.argmin(costs))
    over, gap_deg, gap_m = tries[best]
    share = _SHARES[best]
    aligned = _after_in_before(places, over)
    usual_deg, usual_mm = np.zeros(len(gap_deg)), np.zeros(len(gap_deg))
    if share:
        six = turns(over)
        turn_gap = between(turned(share * turn_steps(six).foretold, six[2]), six[3])
        uneven_m = place_steps(aligned).uneven(EVEN_M)
        uneven_rad = turn_steps(six).uneven(EVEN_RAD)
        # In the axes of the first clip, where its own left-overs are told.
        back = rotations.unrotate(over.turn, gap_m[..., None])[..., 0]
        asked = (first, second, found)
        usual_deg = np.degrees(_usual(*asked, turn_gap, uneven_rad, turns_left, _WORTH_RAD))
        usual_mm = 1000.0 * _usual(*asked, back, uneven_m, places_left, _WORTH_M)
    return Seam(
        share,
        gap_deg,
        1000.0 * np.linalg.norm(gap_m, axis=1),
        share * usual_deg,
        share * usual_mm,
        _jump_mm_per_s(first, second, found, over, share * step_s),
        over,
        -gap_m,
    )


def _usual(
    first: Motion,
    second: Motion,
    found: Pairs,
    gap: Floats,
    uneven: Floats,
    left_at: Callable[[Motion, int], Left],
    worth: float,
) -> Floats:
    """``(m,)`` what each joint or its mirror leaves over within the clips; 0 of small gaps."""
    row_of = {part: row for row, part in reversed(list(enumerate(found.parts)))}
    usual = np.zeros(len(gap))
    for row in np.flatnonzero(np.linalg.norm(gap, axis=1) > worth):
        twin = row_of.get(mirrored(found.parts[row]), row)
        for motion, joints in ((first, found.first), (second, found.second)):
            if motion.frames < _LEAST_TOLD:
                continue
            own = motion.derive(left_at, int(joints[row])).usual(gap[row], float(uneven[row]))
            usual[row] = max(usual[row], own)
            if twin != row:
                # The mirror does the same at another time, the other way round.
                other = motion.derive(left_at, int(joints[twin]))
                image = gap[row] * np.array([1.0, -1.0, 1.0])
                for way in (gap[row], image):
                    usual[row] = max(usual[row], other.usual(way, float(uneven[row])))
    return usual


def align_most(target: Floats, points: Floats) -> Alignment:
    """The alignment that fits most points: one stray arm must not turn the whole figure."""
    weights = np.ones(len(points))
    for _ in range(8):
        over = align(target, points, weights)
        off = np.linalg.norm(target - over.apply(points[..., None])[..., 0], axis=1)
        weights = 1.0 / np.maximum(off, _NEAR_M)
    return over


def _cost(gap_deg: Floats, gap_m: Floats) -> float:
    """Of a share: by most joints, so that a stray few do not choose it."""
    off = gap_deg / _ALIKE_DEG + np.linalg.norm(gap_m, axis=1) / _ALIKE_M
    return float(np.mean(np.sqrt(off)))


def _end_times_s(motion: Motion, step_s: float, at_end: bool) -> Floats:
    last = (motion.frames - 1) / motion.sample_rate_hz
    step_s = min(step_s, last / 2.0)
    if at_end:
        return last - step_s * np.array([2.0, 1.0, 0.0])
    return step_s * np.array([0.0, 1.0, 2.0])


def _places(first: Motion, second: Motion, found: Pairs, step_s: float) -> tuple[Floats, ...]:
    """``(m, 3)`` at three times before the seam and three after it."""
    one = at_places(first, found.first, _end_times_s(first, step_s, True))
    other = at_places(second, found.second, _end_times_s(second, step_s, False))
    return (*(one[..., i] for i in range(3)), *(other[..., i] for i in range(3)))


def at_places(motion: Motion, joints: Ints, times_s: Floats) -> Floats:
    """``(m, 3, times)`` where joints are, the travel of an in-place clip put back."""
    places = at_times(motion.positions_m[joints], motion.sample_rate_hz, times_s)
    travel = motion.cue.travel_m_per_s
    if motion.cue.in_place and travel is not None:
        places = places + np.array(travel)[:, None] * times_s
    return places


class _Turns:
    """Turns at three times before the seam and three after it, roots as the alignment has them."""

    def __init__(self, first: Motion, second: Motion, found: Pairs, step_s: float) -> None:
        self.roots = roots(first, second, found)
        ends, starts = _end_times_s(first, step_s, True), _end_times_s(second, step_s, False)
        self.one = turns_at(first, found.first, ends, self.roots)
        self.other = turns_at(second, found.second, starts, self.roots)

    def __call__(self, over: Alignment) -> tuple[Floats, ...]:
        one = self.one.copy()
        one[self.roots] = rotations.multiply(over.turn, one[self.roots])
        return (*(one[..., i] for i in range(3)), *(self.other[..., i] for i in range(3)))


def _turns(first: Motion, second: Motion, found: Pairs, step_s: float) -> _Turns:
    return _Turns(first, second, found, step_s)


def roots(first: Motion, second: Motion, found: Pairs) -> Ints:
    """Rows whose turns are told in the world: in one of the two nothing paired is above them."""
    above = first.clip.skeleton.parents[found.first]
    other = second.clip.skeleton.parents[found.second]
    return np.flatnonzero(~np.isin(above, found.first) | ~np.isin(other, found.second))


def turns_at(motion: Motion, joints: Ints, times_s: Floats, outer: Ints) -> Floats:
    """``(m, 4, times)`` turns against what is above; those of the `outer` rows in the world."""
    local = motion.clip.rotations[joints]
    place = np.clip(times_s * motion.sample_rate_hz, 0.0, motion.frames - 1.0)
    low = np.minimum((place + 1e-9).astype(np.intp), max(motion.frames - 2, 0))
    high = np.minimum(low + 1, motion.frames - 1)
    share = np.clip(place - low, 0.0, 1.0)
    out = rotations.slerp(local[..., low], local[..., high], share)
    world = motion.orientations[joints[outer]]
    out[outer] = rotations.slerp(world[..., low], world[..., high], share)
    return np.asarray(out)


def _after_in_before(places: tuple[Floats, ...], over: Alignment) -> tuple[Floats, ...]:
    """The places before the seam brought over to those after it."""
    moved = (over.apply(one[..., None])[..., 0] for one in places[:3])
    return (*moved, *places[3:])


def _at_share(
    places: tuple[Floats, ...], turns: _Turns, found: Pairs, share: float
) -> tuple[Alignment, Floats, Floats]:
    """The alignment, ``(m,)`` degrees and ``(m, 3)`` metres off, for a share of a step between.

    First the alignment of the frames themselves, to tell steps after the seam in the axes of
    those before it; then that of where the first clip would be by now.
    """
    target, points, big = places[3], places[2], found.large
    over = align_most(target[big], points[big])
    if share:
        moved = _after_in_before(places, over)
        step = rotations.unrotate(over.turn, place_steps(moved).foretold[..., None])[..., 0]
        points = points + share * step
        over = align_most(target[big], points[big])
    gap_m = over.apply(points[..., None])[..., 0] - target
    six = turns(over)
    expected = turned(share * turn_steps(six).foretold, six[2]) if share else six[2]
    gap_deg = np.degrees(np.linalg.norm(between(expected, six[3]), axis=1))
    return over, gap_deg, gap_m


def _jump_mm_per_s(
    first: Motion, second: Motion, found: Pairs, over: Alignment, between_s: float
) -> Floats:
    """``(m,)`` change of velocity at the seam beyond 1.3 times the largest elsewhere."""
    window = max(WINDOW_S, 1.0 / first.sample_rate_hz, 1.0 / second.sample_rate_hz)
    ends = first.clip.duration_s, second.clip.duration_s
    window = min(window, ends[0] / 2.0, ends[1] / 2.0)
    before = at_places(first, found.first, np.array([ends[0] - window, ends[0]]))
    after = at_places(second, found.second, np.array([0.0, window]))
    if either_stays(first, second):
        before, after = against_middle(before), against_middle(after)
    velocity = rotations.rotate(over.turn, before[..., 1:] - before[..., :1])[..., 0] / window
    jump = (after[..., 1] - after[..., 0]) / window - velocity
    largest = np.array(
        [
            max(largest_change(first, int(a), window), largest_change(second, int(b), window))
            for a, b in zip(found.first, found.second, strict=True)
        ]
    )
    # A foot that lands at the seam may not land again, but the other does.
    row_of = {part: row for row, part in reversed(list(enumerate(found.parts)))}
    twins = [row_of.get(mirrored(part), row) for row, part in enumerate(found.parts)]
    usual = np.maximum(largest, largest[twins])
    # The two windows lie further apart where a step lies between the clips.
    usual *= 1.0 + between_s / window
    beyond = np.linalg.norm(jump, axis=1) - _TIMES_USUAL * usual
    return np.asarray(1000.0 * np.maximum(beyond, 0.0))


def either_stays(first: Motion, second: Motion) -> bool:
    """Whether one of them walks in place and the sheet does not say how fast it would travel."""
    return any(one.cue.in_place and one.cue.travel_m_per_s is None for one in (first, second))


def against_middle(places: Floats) -> Floats:
    """``(m, 3, times)`` against the middle of the joints on the floor."""
    out = places.copy()
    out[:, [0, 2]] -= np.median(places[:, [0, 2]], axis=0)
    return out


def largest_change(motion: Motion, joint: int, window_s: float) -> float:
    """The largest change of a joint's velocity, m/s, from one window to the next in a clip."""
    lag = window_s * motion.sample_rate_hz
    count = int(np.floor(motion.frames - 1 - 2.0 * lag + 1e-6)) + 1
    if count < 1:
        return 0.0
    path = motion.positions_m[joint]
    change = path[:, :count] - 2.0 * shifted(path, lag, 0, count)
    change = change + shifted(path, 2.0 * lag, 0, count)
    return float(np.sqrt(np.max(np.sum(change**2, axis=0)))) / window_s
