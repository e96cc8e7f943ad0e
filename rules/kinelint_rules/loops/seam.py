"""The seam of a loop: from its last frame back to its first, measured joint by joint."""

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

# Velocities at the seam are taken over this long, so that the frame rate does not matter.
VELOCITY_WINDOW_S = 1.0 / 30.0
# Points that fit this well are all alike to the alignment.
NEAR_M = 0.001
# Gaps smaller than these pass any limit: whether they are usual need not be asked.
_WORTH_DEG, _WORTH_MM = 1.0, 4.0
# More than this many times what the joint does elsewhere is no part of the motion: feet that land
# on the seam of recorded and of hand-keyed walks reached 1.2.
_TIMES_USUAL = 1.3
_MOST_FRAMES = 0.97
# A seam that takes less of an ordinary step than this takes none. Cycles of 14 recorded walks took
# 0.00 closed, and 0.2 to 1.4, mostly near 1, with their last frame cut off.
_REPEATS = 0.25
_STILL = 1e-12
# The frames on both sides of the seam: the first two and the last two.
_ENDS = [0, 1, -2, -1]
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
        turned_deg: ``(m,)`` as `gap_deg`, with what the joint does elsewhere in the clip as well.
        jump_mm_per_s: ``(m,)`` change of velocity at the seam well beyond the largest that the
            joint or its mirror makes anywhere in the clip in the same time: 1.3 times that.
        clear: ``(m, 3)`` where each joint would have to go in the last frame, metres.
    """

    repeats_first: bool
    joints: Ints
    gap_deg: Floats
    gap_mm: Floats
    turned_deg: Floats
    jump_mm_per_s: Floats
    clear: Floats


def seam(motion: Motion, joints: tuple[int, ...], weighted: tuple[int, ...]) -> Seam:
    """The seam at `joints`, after the best alignment of the `weighted` ones."""
    which = np.array(joints, dtype=np.intp)
    ends = motion.positions_m[..., _ENDS]
    points, measured = ends[list(weighted)], ends[which]
    over = _align_most(points[..., 0], points[..., -1])
    repeats = _repeats_first(motion, which, over)
    if not repeats:
        over = _align_most(points[..., 0], _next(points, over.turn))
    end = measured[..., -1] if repeats else _next(measured, over.turn)
    gap = measured[..., 0] - over.apply(end[..., None])[..., 0]
    turned_deg = gap_deg = _turn_gap_deg(motion, which, over.turn, repeats)
    gap_mm = 1000.0 * np.linalg.norm(gap, axis=1)
    if not repeats:
        gap_deg = _unusual(motion, which, gap_deg, _WORTH_DEG, _turns_aside_deg)
        gap_mm = _unusual(motion, which, gap_mm, _WORTH_MM, _strays_mm)
    return Seam(
        repeats_first=repeats,
        joints=which,
        gap_deg=gap_deg,
        gap_mm=gap_mm,
        turned_deg=turned_deg,
        jump_mm_per_s=1000.0 * _velocity_jump(motion, which, over.turn, repeats),
        clear=np.asarray(rotations.unrotate(over.turn, gap[:, :, None])[..., 0]),
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
    begin = points[..., 1] - points[..., 0]
    step = rotations.unrotate(turn, begin[..., None])[..., 0] + points[..., -1] - points[..., -2]
    return np.asarray(points[..., -1] + 0.5 * step)


def _repeats_first(motion: Motion, which: Ints, over: Alignment) -> bool:
    """Whether the last frame is the first again, or one ordinary step before it.

    Each joint says how much of its ordinary step the seam takes: none in the first case, all of
    it in the second. Both its turn and its place are asked, travel taken away; what moves most
    counts most, and a stray few are outvoted.
    """
    first, second, before, last = _end_turns(motion, which, over.turn)
    turns = _between(last, first), 0.5 * (_between(before, last) + _between(first, second))
    at = motion.positions_m[..., _ENDS][which]
    gap = at[..., 0] - over.apply(at[..., -1:])[..., 0]
    step = over.apply(_next(at, over.turn)[..., None])[..., 0] - over.apply(at[..., -1:])[..., 0]
    step[:, [0, 2]] -= np.median(step[:, [0, 2]], axis=0)
    shares, weights = zip(_share_taken(*turns), _share_taken(gap, step), strict=True)
    taken, weight = np.concatenate(shares), np.concatenate(weights)
    order = np.argsort(taken)
    middle = np.searchsorted(np.cumsum(weight[order]), 0.5 * weight.sum())
    return bool(taken[order[middle]] < _REPEATS)


def _share_taken(gap: Floats, step: Floats) -> tuple[Floats, Floats]:
    """``(m,)`` how much of its step each joint takes, and its weight, 1 in all."""
    length = np.linalg.norm(step, axis=1)
    taken = np.sum(gap * step, axis=1) / np.maximum(length**2, _STILL)
    return taken, length / max(float(length.sum()), _STILL)


def _turn_gap_deg(motion: Motion, which: Ints, turn: Floats, repeats: bool) -> Floats:
    first, second, before, last = _end_turns(motion, which, turn)
    if not repeats:
        last = _onward(before, last, first, second)
    return np.asarray(np.degrees(np.linalg.norm(_between(last, first), axis=1)))


def _end_turns(motion: Motion, which: Ints, turn: Floats) -> tuple[Floats, ...]:
    """``(m, 4)`` turns in the first, second, last but one and last frame.

    Those against the parent do not see the alignment; those of a root are aligned first.
    """
    local = motion.clip.rotations[..., _ENDS][which]
    root = motion.clip.skeleton.parents[which] < 0
    world = motion.orientations[..., _ENDS][which[root]]
    local[root, :, :2] = world[..., :2]
    local[root, :, 2:] = rotations.multiply(turn, world[..., -2:])
    return tuple(local[..., i] for i in range(4))


def _onward(before: Floats, last: Floats, first: Floats, second: Floats) -> Floats:
    """``(m, 4)`` turns one step after `last`, by the steps on both sides of the seam."""
    return _turned(0.5 * (_between(before, last) + _between(first, second)), last)


def _unusual(
    motion: Motion,
    which: Ints,
    gap: Floats,
    worth: float,
    elsewhere: Callable[[Motion, int], float],
) -> Floats:
    """The gaps that are larger than what the joint or its mirror does within the clip.

    Where a loop stops a frame short, the step over the seam is foretold by its neighbours. A foot
    that lands belies that by several degrees at 30 frames a second, wherever the seam lies.
    """
    mirrors, kept = _mirrors(motion, which), np.array(gap)
    for row in np.flatnonzero(gap > worth):
        pair = {int(which[row]), int(which[mirrors[row]])}
        if gap[row] <= _TIMES_USUAL * max(elsewhere(motion, joint) for joint in pair):
            kept[row] = 0.0
    return kept


def _turns_aside_deg(motion: Motion, joint: int) -> float:
    """How far a joint turns from where its steps before and after would have it, by and large.

    Single frames of a noisy capture do not count: 3 in 100 are left out.
    """
    q = motion.clip.rotations[joint].T
    if len(q) < 4:
        return 0.0
    foretold = _onward(q[:-3], q[1:-2], q[2:-1], q[3:])
    off = np.linalg.norm(_between(foretold, q[2:-1]), axis=1)
    return float(np.degrees(np.quantile(off, _MOST_FRAMES)))


def _strays_mm(motion: Motion, joint: int) -> float:
    """The same of where it is."""
    x = motion.positions_m[joint]
    if x.shape[1] < 4:
        return 0.0
    off = 1.5 * (x[:, 2:-1] - x[:, 1:-2]) - 0.5 * (x[:, 3:] - x[:, :-3])
    return 1000.0 * float(np.quantile(np.linalg.norm(off, axis=0), _MOST_FRAMES))


def _between(a: Floats, b: Floats) -> Floats:
    """``(m, 3)`` rotation vectors from ``(m, 4)`` to ``(m, 4)``, in the parent's axes."""
    q = rotations.multiply(b[..., None], rotations.conjugate(a[..., None]))[..., 0]
    q = np.where(q[:, :1] < 0, -q, q)
    sine = np.linalg.norm(q[:, 1:], axis=1, keepdims=True)
    angle = 2.0 * np.arctan2(sine, q[:, :1])
    return np.asarray(q[:, 1:] * angle / np.where(sine > 1e-12, sine, 1.0))


def _turned(by: Floats, q: Floats) -> Floats:
    """``(m, 4)`` rotations turned on by ``(m, 3)`` rotation vectors."""
    angle = np.linalg.norm(by, axis=1)
    axis = by / np.where(angle > 1e-12, angle, 1.0)[:, None]
    step = rotations.from_axis_angle(axis[..., None], angle[:, None])
    return np.asarray(rotations.multiply(step, q[..., None])[..., 0])


def _velocity_jump(motion: Motion, which: Ints, turn: Floats, repeats: bool) -> Floats:
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
    return np.asarray(np.maximum(beyond, 0.0))


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
