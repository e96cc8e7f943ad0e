"""The seam of a loop: from its last frame back to its first, measured joint by joint."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.parts import mirrored
from kinelint.kinematics import rotations
from kinelint.kinematics.alignment import Alignment, align
from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.kinematics.rates import at_times, shifted
from kinelint.motion import Motion
from kinelint_rules.loops.missing_frame import (
    EVEN_M,
    EVEN_RAD,
    Left,
    Steps,
    between,
    place_steps,
    places_left,
    turn_steps,
    turned,
    turns_left,
)

# Velocities at the seam are taken over this long, so that the frame rate does not matter.
VELOCITY_WINDOW_S = 1.0 / 30.0
# Points that fit this well are all alike to the alignment.
NEAR_M = 0.001
# Gaps smaller than these pass any limit: whether they are usual need not be asked.
_WORTH_DEG, _WORTH_MM = 1.0, 4.0
# A change of velocity of more than this many times the largest elsewhere is no part of the motion:
# feet that land on the seam of recorded and of hand-keyed walks reached 1.2.
_TIMES_USUAL = 1.3
# A gap where a frame is missing, by what the joint leaves over elsewhere in the clip: from the
# first on likely no part of the motion, from the second on surely none. Of recorded walks that were
# cut at the best place of a cycle, at 24 Hz, a third reach the first, none the second.
_LIKELY, _SURE = 1.35, 1.8
# A seam that takes less of an ordinary step than this takes none. Cycles of recorded walks took
# 0.00 closed, and 0.2 to 1.4, mostly near 1, with their last frame cut off.
_REPEATS = 0.15
_STILL = 1e-12
# The frames on both sides of the seam: the last three and the first three.
_ENDS = [-3, -2, -1, 0, 1, 2]
# Frames that are worked on at a time: what the cache holds.
_CHUNK = 4096


@dataclass(frozen=True)
class Seam:
    """What a viewer sees when the clip starts over, travel and turn taken away.

    Attributes:
        repeats_first: the last frame is meant to equal the first; else it stops a frame short.
        joints: ``(m,)`` the joints measured.
        gap_deg: ``(m,)`` turn of each joint against its parent that is left over at the seam.
        gap_mm: ``(m,)`` distance of each joint that is left over at the seam.
        usual_deg, usual_mm: ``(m,)`` what is left over elsewhere in the clip where it leaves out a
            frame: what the joint does the same way; 0 if the first is repeated.
        turn: ``(4, 1)`` from the last frame's travel to the first's, about the vertical.
        clear: ``(m, 3)`` where each joint would have to go in the last frame, metres.
    """

    repeats_first: bool
    joints: Ints
    gap_deg: Floats
    gap_mm: Floats
    usual_deg: Floats
    usual_mm: Floats
    turn: Floats
    clear: Floats

    @property
    def unusual(self) -> tuple[Floats, Floats]:
        """``(m,)`` degrees and mm of the gaps that are likely no part of the motion, else 0."""
        return self._beyond(_LIKELY)

    @property
    def surely_unusual(self) -> tuple[Floats, Floats]:
        """The same of those that surely are none."""
        return self._beyond(_SURE)

    def _beyond(self, times: float) -> tuple[Floats, Floats]:
        return (
            np.where(self.gap_deg > times * self.usual_deg, self.gap_deg, 0.0),
            np.where(self.gap_mm > times * self.usual_mm, self.gap_mm, 0.0),
        )


def weighed(gaps: Floats, usual: Floats, limit: float) -> Floats:
    """Gaps by their limit, or by what is usual of the joint where that is more."""
    return np.asarray(gaps / np.maximum(limit, _SURE * usual))


def seam(motion: Motion, joints: tuple[int, ...], weighted: tuple[int, ...]) -> Seam:
    """The seam at `joints`, after the best alignment of the `weighted` ones."""
    which = np.array(joints, dtype=np.intp)
    ends = motion.positions_m[..., _ENDS]
    points, measured = ends[list(weighted)], ends[which]
    over = _align_most(points[..., 3], points[..., 2])
    repeats = _repeats_first(motion, which, over)
    if not repeats:
        over = _align_most(points[..., 3], _next(points, over.turn))
    end = measured[..., 2] if repeats else _next(measured, over.turn)
    gap = measured[..., 3] - over.apply(end[..., None])[..., 0]
    clear = np.asarray(rotations.unrotate(over.turn, gap[:, :, None])[..., 0])
    by_turn = _turn_gap(_end_turns(motion, which, over.turn), repeats)
    gap_deg, gap_mm = np.degrees(_sizes(by_turn)), 1000.0 * _sizes(gap)
    usual_deg, usual_mm = np.zeros(len(which)), np.zeros(len(which))
    if not repeats:
        usual_deg = _usual_deg(motion, which, over.turn, by_turn)
        usual_mm = _usual_mm(motion, which, over.turn, clear)
    return Seam(
        repeats_first=repeats,
        joints=which,
        gap_deg=gap_deg,
        gap_mm=gap_mm,
        usual_deg=usual_deg,
        usual_mm=usual_mm,
        turn=over.turn,
        clear=clear,
    )


def _align_most(target: Floats, points: Floats) -> Alignment:
    """The alignment that fits most points: one stray arm must not turn the whole figure."""
    weights = np.ones(len(points))
    for _ in range(8):
        over = align(target, points, weights)
        off = np.linalg.norm(target - over.apply(points[..., None])[..., 0], axis=1)
        weights = 1.0 / np.maximum(off, NEAR_M)
    return over


def _next(points: Floats, turn: Floats) -> Floats:
    """``(m, 3)`` where the frame after the last would be, by the steps on both sides."""
    return np.asarray(points[..., 2] + _place_steps(points, turn).foretold)


def _place_steps(points: Floats, turn: Floats) -> Steps:
    """The steps of ``(m, 3, 6)`` around the seam, in the axes of the last frame."""
    after = rotations.unrotate(turn, points[..., 3:])
    return place_steps((*(points[..., i] for i in range(3)), *(after[..., i] for i in range(3))))


def _repeats_first(motion: Motion, which: Ints, over: Alignment) -> bool:
    """Whether the last frame is the first again, or one ordinary step before it.

    Each joint says how much of its ordinary step the seam takes: none in the first case, all of
    it in the second. Both its turn and its place are asked, travel taken away; what moves most
    counts most, and a stray few are outvoted.
    """
    turns = _end_turns(motion, which, over.turn)
    by_turn = between(turns[2], turns[3]), turn_steps(turns).foretold
    at = motion.positions_m[..., _ENDS][which]
    gap = at[..., 3] - over.apply(at[..., 2:3])[..., 0]
    step = over.apply(_next(at, over.turn)[..., None])[..., 0] - over.apply(at[..., 2:3])[..., 0]
    step[:, [0, 2]] -= np.median(step[:, [0, 2]], axis=0)
    shares, weights = zip(_share_taken(*by_turn), _share_taken(gap, step), strict=True)
    taken, weight = np.concatenate(shares), np.concatenate(weights)
    order = np.argsort(taken)
    middle = np.searchsorted(np.cumsum(weight[order]), 0.5 * weight.sum())
    return bool(taken[order[middle]] < _REPEATS)


def _share_taken(gap: Floats, step: Floats) -> tuple[Floats, Floats]:
    """``(m,)`` how much of its step each joint takes, and its weight, 1 in all.

    What moves more says more; a joint whose gap is neither none nor one step says little: it may be
    the defect itself.
    """
    length = _sizes(step)
    taken = np.sum(gap * step, axis=1) / np.maximum(length**2, _STILL)
    off = np.minimum(_sizes(gap), _sizes(gap - step))
    weight = np.sqrt(length) * (length / np.maximum(length + off, _STILL)) ** 2
    return taken, weight / max(float(weight.sum()), _STILL)


def _end_turns(motion: Motion, which: Ints, turn: Floats) -> tuple[Floats, ...]:
    """``(m, 4)`` turns in the last three frames, then in the first three.

    Those against the parent do not see the alignment; those of a root are aligned first.
    """
    local = motion.clip.rotations[..., _ENDS][which]
    root = motion.clip.skeleton.parents[which] < 0
    world = motion.orientations[..., _ENDS][which[root]]
    local[root, :, :3] = rotations.multiply(turn, world[..., :3])
    local[root, :, 3:] = world[..., 3:]
    return tuple(local[..., i] for i in range(6))


def _turn_gap(turns: tuple[Floats, ...], repeats: bool) -> Floats:
    """``(m, 3)`` to the first frame, from the last or from where it leads."""
    last = turns[2] if repeats else turned(turn_steps(turns).foretold, turns[2])
    return between(last, turns[3])


def _usual_deg(motion: Motion, which: Ints, turn: Floats, gap: Floats) -> Floats:
    """``(m,)`` how far joints turn aside elsewhere; 0 where the gap is not worth asking."""
    uneven = turn_steps(_end_turns(motion, which, turn)).uneven(EVEN_RAD)
    worth = np.degrees(_sizes(gap)) > _WORTH_DEG
    return np.degrees(_usual(motion, which, gap, uneven, worth, turns_left))


def _usual_mm(motion: Motion, which: Ints, turn: Floats, gap: Floats) -> Floats:
    """The same of where they are."""
    uneven = _place_steps(motion.positions_m[..., _ENDS][which], turn).uneven(EVEN_M)
    worth = 1000.0 * _sizes(gap) > _WORTH_MM
    return 1000.0 * _usual(motion, which, gap, uneven, worth, places_left)


def _usual(
    motion: Motion,
    which: Ints,
    gap: Floats,
    uneven: Floats,
    worth: Bools,
    left_at: Callable[[Motion, int], Left],
) -> Floats:
    """``(m,)`` what each joint or its mirror leaves over elsewhere, radians or metres."""
    usual, mirrors = np.zeros(len(which)), _mirrors(motion, which)
    for row in np.flatnonzero(worth):
        left = left_at(motion, int(which[row]))
        usual[row] = left.usual(gap[row], float(uneven[row]))
        if mirrors[row] != row:
            other = left_at(motion, int(which[mirrors[row]]))
            usual[row] = max(usual[row], other.midway(float(uneven[row])))
    return usual


def _sizes(vectors: Floats) -> Floats:
    return np.asarray(np.linalg.norm(vectors, axis=1))


def jump_mm_per_s(motion: Motion, found: Seam) -> Floats:
    """``(m,)`` change of velocity at the seam well beyond what happens elsewhere.

    The largest that the joint or its mirror makes anywhere in the clip in the same time counts 1.3
    times.
    """
    which, turn, repeats = found.joints, found.turn, found.repeats_first
    rate = motion.sample_rate_hz
    window = min(max(VELOCITY_WINDOW_S, 1.0 / rate), motion.clip.duration_s / 2.0)
    end = motion.clip.duration_s
    edge = np.array([end - window, end, 0.0, window])
    at_edge = np.stack([at_times(motion.positions_m[joint], rate, edge) for joint in which])
    before = (at_edge[..., 1] - at_edge[..., 0]) / window
    after = (at_edge[..., 3] - at_edge[..., 2]) / window
    jump = after - rotations.rotate(turn, before[..., None])[..., 0]
    # Many cycles start where a foot lands: its mirror lands in the middle of the clip.
    largest = np.array([_largest_change(motion.positions_m[j], window * rate) for j in which])
    largest /= window
    largest = np.maximum(largest, largest[_mirrors(motion, which)])
    # A loop that stops a frame short has one more step between the two windows.
    share = 1.0 if repeats else 1.0 + 1.0 / (rate * window)
    beyond = np.linalg.norm(jump, axis=1) - _TIMES_USUAL * share * largest
    return np.asarray(1000.0 * np.maximum(beyond, 0.0))


def _largest_change(path: Floats, lag: float) -> float:
    """The largest second difference of a path ``(3, frames)`` over places `lag` frames apart."""
    count = int(np.floor(path.shape[1] - 1 - 2.0 * lag + 1e-6)) + 1
    most = 0.0
    for first in range(0, count, _CHUNK):
        last = min(first + _CHUNK, count)
        change = shifted(path, lag, first, last)
        change *= -2.0
        change += path[:, first:last]
        change += shifted(path, 2.0 * lag, first, last)
        most = max(most, float(np.einsum("in,in->n", change, change).max()))
    return float(np.sqrt(most))


def _mirrors(motion: Motion, which: Ints) -> Ints:
    """``(m,)`` row of each joint's mirror; its own row where there is none."""
    anatomy = motion.figure.anatomy
    row_of = {int(joint): row for row, joint in enumerate(which)}
    rows = np.arange(len(which))
    for row, joint in enumerate(which.tolist()):
        part = anatomy.part_of[joint]
        place = anatomy.joints[part].index(joint)
        others = anatomy.joints.get(mirrored(part), ())
        if place < len(others) and others[place] in row_of:
            rows[row] = row_of[others[place]]
    return rows
