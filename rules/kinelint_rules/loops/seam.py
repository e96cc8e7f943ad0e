"""The seam of a loop: from its last frame back to its first, measured joint by joint."""

from __future__ import annotations

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
        jump_mm_per_s: ``(m,)`` change of velocity at the seam beyond the largest that the joint
            or its mirror makes anywhere in the clip in the same time.
        clear: ``(m, 3)`` where each joint would have to go in the last frame, metres.
    """

    repeats_first: bool
    joints: Ints
    gap_deg: Floats
    gap_mm: Floats
    jump_mm_per_s: Floats
    clear: Floats


def seam(motion: Motion, joints: tuple[int, ...], weighted: tuple[int, ...]) -> Seam:
    """The seam at `joints`, after the best alignment of the `weighted` ones."""
    which = np.array(joints, dtype=np.intp)
    ends = motion.positions_m[..., _ENDS]
    points, measured = ends[list(weighted)], ends[which]
    over = _align_most(points[..., 0], points[..., -1])
    repeats = _repeats_first(motion, which, over.turn)
    if not repeats:
        over = _align_most(points[..., 0], _next(points, over.turn))
    end = measured[..., -1] if repeats else _next(measured, over.turn)
    gap = measured[..., 0] - over.apply(end[..., None])[..., 0]
    return Seam(
        repeats_first=repeats,
        joints=which,
        gap_deg=_turn_gap_deg(motion, which, over.turn, repeats),
        gap_mm=1000.0 * np.linalg.norm(gap, axis=1),
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


def _repeats_first(motion: Motion, which: Ints, turn: Floats) -> bool:
    """Turns decide, most joints against a stray few: they see neither travel nor heading."""
    closed = _turn_gap_deg(motion, which, turn, repeats=True)
    short = _turn_gap_deg(motion, which, turn, repeats=False)
    return bool(np.sum(np.sqrt(closed)) <= np.sum(np.sqrt(short)))


def _turn_gap_deg(motion: Motion, which: Ints, turn: Floats, repeats: bool) -> Floats:
    """Turns against the parent do not see the alignment; those of a root are aligned first."""
    local = motion.clip.rotations[..., _ENDS][which]
    root = motion.clip.skeleton.parents[which] < 0
    world = motion.orientations[..., _ENDS][which[root]]
    local[root, :, :2] = world[..., :2]
    local[root, :, 2:] = rotations.multiply(turn, world[..., -2:])
    first, second, before, last = (local[..., i] for i in range(4))
    if not repeats:
        step = 0.5 * (_between(before, last) + _between(first, second))
        last = _turned(step, last)
    return np.asarray(np.degrees(np.linalg.norm(_between(last, first), axis=1)))


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
    beyond = np.linalg.norm(jump, axis=1) - share * largest
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
