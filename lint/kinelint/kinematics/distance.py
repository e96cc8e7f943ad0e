"""How deep capsules lie in each other, for many pairs over many frames.

Plain arrays in and out, so that a compiled kernel can take its place. Bounding spheres throw out
what is far apart; only the rest is worked out in closed form, a chunk of frames at a time.

Source of the closed form: Ericson C (2005), Real-Time Collision Detection, section 5.1.9, the
closest points of two segments (from memory; checked against two collision libraries).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from kinelint.kinematics.arrays import Floats, Ints, frozen
from kinelint.kinematics.forward import turned, turning

# Ends are laid out for many frames at a time, pairs are tested for as few as the cache holds.
CHUNK, SPAN = 4096, 1024
BLOCK = 8  # frames that are thrown out together
_TINY = 1e-24  # squared metres: shorter segments are points, nearer axes touch


Arms: TypeAlias = tuple[list[int], list[int], Floats]


@dataclass(frozen=True, eq=False)
class Capsules:
    """Segments with a radius, each end fixed to a joint.

    Attributes:
        joints: ``(caps, 2)`` the joint that each end follows.
        offsets_m: ``(caps, 2, 3)`` each end in the axes of its joint.
        radii_m: ``(caps,)``.
    """

    joints: Ints
    offsets_m: Floats
    radii_m: Floats

    def __post_init__(self) -> None:
        put = object.__setattr__
        put(self, "joints", frozen(self.joints, np.intp))
        put(self, "offsets_m", frozen(self.offsets_m))
        put(self, "radii_m", frozen(self.radii_m))
        count = len(self.radii_m)
        if self.joints.shape != (count, 2) or self.offsets_m.shape != (count, 2, 3):
            raise ValueError(f"{count} radii need ({count}, 2) joints and ({count}, 2, 3) offsets")

    def __len__(self) -> int:
        return len(self.radii_m)

    @cached_property
    def arms(self) -> dict[int, Arms]:
        """Joint to the ends that do not lie on it: their sides, capsules, and what turns them."""
        off_joint = np.any(self.offsets_m != 0.0, axis=2)
        found = {}
        for joint in np.unique(self.joints[off_joint]).tolist():
            caps, sides = np.nonzero(off_joint & (self.joints == joint))
            found[joint] = sides.tolist(), caps.tolist(), turning(self.offsets_m[caps, sides])
        return found


@dataclass(frozen=True, eq=False)
class Overlaps:
    """Where capsules lie in each other: one entry for each pair and frame, sorted by both.

    Attributes:
        pair: ``(m,)`` row of the pair.
        frame: ``(m,)``.
        depth_m: ``(m,)`` how far the first must move to be clear of the second.
        point_m: ``(3, m)`` the middle of the overlap.
        direction: ``(3, m)`` unit vector along which the first clears the second soonest.
    """

    pair: Ints
    frame: Ints
    depth_m: Floats
    point_m: Floats
    direction: Floats

    def __len__(self) -> int:
        return len(self.pair)


def end_points(
    capsules: Capsules, positions_m: Floats, orientations: Floats
) -> tuple[Floats, Floats]:
    """Both ends of each capsule in the world, ``(caps, 3, frames)`` twice.

    Args:
        capsules: fixed to the joints.
        positions_m: ``(joints, 3, frames)``.
        orientations: ``(joints, 4, frames)``.
    """
    ends = np.empty((2, len(capsules), 3, positions_m.shape[-1]))
    _place(capsules, capsules.arms, positions_m, orientations, ends)
    return ends[0], ends[1]


def _place(
    capsules: Capsules, arms: dict[int, Arms], positions: Floats, orientations: Floats, out: Floats
) -> None:
    """Writes the ends into ``(2, caps, 3, frames)``."""
    for side in range(2):
        for cap, joint in enumerate(capsules.joints[:, side].tolist()):
            out[side, cap] = positions[joint]
    for joint, (sides, caps, sums) in arms.items():
        shifts = turned(orientations[joint], sums)
        for side, cap, shift in zip(sides, caps, shifts, strict=True):
            out[side, cap] += shift


def overlaps(
    capsules: Capsules,
    pairs: Ints,
    positions_m: Floats,
    orientations: Floats,
    min_depth_m: ArrayLike = 0.0,
) -> Overlaps:
    """The overlaps deeper than `min_depth_m`, one number or one a pair.

    Args:
        capsules: fixed to the joints.
        pairs: ``(pairs, 2)`` capsules to test against each other.
        positions_m: ``(joints, 3, frames)``.
        orientations: ``(joints, 4, frames)``.
        min_depth_m: what is not deeper is left out; 0 leaves out what only touches.
    """
    frames = positions_m.shape[-1]
    ends = np.empty((2, len(capsules), 3, min(CHUNK, frames)))
    found = []
    for first in range(0, frames, CHUNK):
        span = slice(first, min(first + CHUNK, frames))
        here = ends[..., : span.stop - first]
        _place(capsules, capsules.arms, positions_m[..., span], orientations[..., span], here)
        for start in range(0, span.stop - first, SPAN):
            few = here[..., start : start + SPAN]
            part = overlaps_of(few[0], few[1], capsules.radii_m, pairs, min_depth_m)
            if len(part):
                found.append((part, first + start))
    return _joined(found)


def overlaps_of(
    starts: Floats, ends: Floats, radii_m: Floats, pairs: Ints, min_depth_m: ArrayLike = 0.0
) -> Overlaps:
    """The same for a few frames of capsules whose ends are known, ``(caps, 3, frames)`` each."""
    pairs = np.asarray(pairs, dtype=np.intp).reshape(-1, 2)
    least = np.broadcast_to(np.asarray(min_depth_m, dtype=np.float64), (len(pairs),))
    reach = radii_m[pairs[:, 0]] + radii_m[pairs[:, 1]] - least
    starts = np.ascontiguousarray(starts)
    along = ends - starts
    pair, frame = _near(starts, along, reach, pairs)
    first, second = pairs[pair, 0], pairs[pair, 1]
    p1, d1 = _taken(starts, first, frame), _taken(along, first, frame)
    p2, d2 = _taken(starts, second, frame), _taken(along, second, frame)
    apart, s, _ = _closest(p1, d1, p2, d2)
    squared = np.einsum("in,in->n", apart, apart)
    deep = np.flatnonzero(squared < np.square(np.maximum(reach, 0.0))[pair])
    pair, frame, apart = pair[deep], frame[deep], apart[:, deep]
    distance = np.sqrt(squared[deep])
    direction = _directions(apart, distance, d1[:, deep], d2[:, deep])
    r1, r2 = radii_m[pairs[pair, 0]], radii_m[pairs[pair, 1]]
    # The overlap reaches from the first's surface (r1 against the direction) to the second's.
    middle = p1[:, deep] + s[deep] * d1[:, deep] + direction * ((r2 - distance - r1) / 2.0)
    return Overlaps(pair, frame, r1 + r2 - distance, middle, direction)


def segment_distance(p1: Floats, q1: Floats, p2: Floats, q2: Floats) -> tuple[Floats, ...]:
    """Distance of segments p1 q1 and p2 q2, ``(3, n)`` each, and where: (distance, s, t).

    The closest points are ``p1 + s (q1 - p1)`` and ``p2 + t (q2 - p2)``. Parallel segments have
    many closest points, of which one is given; a segment may be a point.
    """
    apart, s, t = _closest(p1, q1 - p1, p2, q2 - p2)
    return np.sqrt(np.einsum("in,in->n", apart, apart)), s, t


def _near(starts: Floats, along: Floats, reach: Floats, pairs: Ints) -> tuple[Ints, Ints]:
    """Pairs and frames that may overlap, ``(m,)`` each: spheres around blocks of frames touch."""
    frames = starts.shape[-1]
    middles = starts + 0.5 * along
    # Seen from the middle of all, limbs move little even if the figure runs.
    middles -= middles.mean(axis=0)
    halves = 0.5 * np.sqrt(np.einsum("cin,cin->cn", along, along).max(axis=1, initial=0.0))
    limits = reach + halves[pairs[:, 0]] + halves[pairs[:, 1]]
    whole = frames - frames % BLOCK
    pair, frame = _near_blocks(middles[..., :whole], limits, pairs, BLOCK)
    if whole < frames:
        rest = _near_blocks(middles[..., whole:], limits, pairs, frames - whole)
        pair, frame = np.concatenate((pair, rest[0])), np.concatenate((frame, rest[1] + whole))
    apart = _taken(middles, pairs[pair, 0], frame)
    apart -= _taken(middles, pairs[pair, 1], frame)
    near = np.flatnonzero(_dot(apart, apart) <= np.square(np.maximum(limits, 0.0))[pair])
    return pair[near], frame[near]


def _near_blocks(middles: Floats, limits: Floats, pairs: Ints, length: int) -> tuple[Ints, Ints]:
    """The same for blocks of `length` frames: one sphere holds all the middles of a block."""
    blocks = middles.reshape(*middles.shape[:2], -1, length)
    centres = blocks[..., length // 2]
    away = blocks - centres[..., None]
    np.square(away, out=away)
    spread = np.sqrt(away.sum(axis=1).max(axis=-1))
    first, second = pairs[:, 0], pairs[:, 1]
    apart = centres[first]
    apart -= centres[second]
    np.square(apart, out=apart)
    room = spread[first]
    room += spread[second]
    room += limits[:, None]
    pair, block = np.nonzero(apart.sum(axis=1) <= np.square(np.maximum(room, 0.0, out=room)))
    frame = (block[:, None] * length + np.arange(length)).reshape(-1)
    return np.repeat(pair, length), frame


def _taken(paths: Floats, cap: Ints, frame: Ints) -> Floats:
    """``(3, m)`` of the chosen capsules and frames of ``(caps, 3, frames)``."""
    frames = paths.shape[-1]
    index = cap * (3 * frames) + frame
    flat, out = paths.reshape(-1), np.empty((3, len(index)))
    for row in range(3):
        np.take(flat[row * frames :], index, out=out[row], mode="clip")
    return out


def _closest(p1: Floats, d1: Floats, p2: Floats, d2: Floats) -> tuple[Floats, Floats, Floats]:
    """From the closest point of segment 2 to that of segment 1 ``(3, n)``, with s and t."""
    r = p1 - p2
    a, e, b = _dot(d1, d1), _dot(d2, d2), _dot(d1, d2)
    c, f = _dot(d1, r), _dot(d2, r)
    # A divisor of 1 stands in wherever a segment is a point; its numerator is 0 then.
    a_safe = np.where(a > _TINY, a, 1.0)
    e_safe = np.where(e > _TINY, e, 1.0)
    slant = a * e - b * b
    crossing = slant > 1e-14 * a * e
    s = np.where(crossing, b * f - c * e, 0.0) / np.where(crossing, slant, 1.0)
    np.clip(s, 0.0, 1.0, out=s)
    t = np.clip((b * s + f) / e_safe, 0.0, 1.0)
    # The best s for this t: the same s where t was not clamped.
    s = np.clip((b * t - c) / a_safe, 0.0, 1.0)
    return r + s * d1 - t * d2, s, t


def _dot(u: Floats, v: Floats) -> Floats:
    return np.asarray(np.einsum("in,in->n", u, v))


def _directions(apart: Floats, distance: Floats, d1: Floats, d2: Floats) -> Floats:
    """Unit vectors along `apart`; across both axes where these touch."""
    touching = np.flatnonzero(distance * distance <= _TINY)
    direction = apart / np.where(distance * distance <= _TINY, 1.0, distance)
    if touching.size:
        direction[:, touching] = _across(d1[:, touching], d2[:, touching])
    return direction


def _across(d1: Floats, d2: Floats) -> Floats:
    """Unit vectors across both; across the longer one where they are parallel or points."""
    normal = np.cross(d1, d2, axis=0)
    longer = np.where(_dot(d1, d1) >= _dot(d2, d2), d1, d2)
    size = np.abs(longer)
    least = np.eye(3)[np.argmin(size, axis=0)].T
    other = np.cross(longer, least, axis=0)
    parallel = _dot(normal, normal) <= 1e-14 * _dot(d1, d1) * _dot(d2, d2)
    normal = np.where(parallel, other, normal)
    length = np.sqrt(_dot(normal, normal))
    point = length <= np.sqrt(_TINY)
    return np.where(point, least, normal / np.where(point, 1.0, length))


def _joined(found: list[tuple[Overlaps, int]]) -> Overlaps:
    parts = list(_shifted(found))
    if not parts:
        none = np.zeros(0, np.intp)
        return Overlaps(none, none, np.zeros(0), np.zeros((3, 0)), np.zeros((3, 0)))
    pair = np.concatenate([one.pair for one in parts])
    frame = np.concatenate([one.frame for one in parts])
    order = np.lexsort((frame, pair))
    return Overlaps(
        pair[order],
        frame[order],
        np.concatenate([one.depth_m for one in parts])[order],
        np.concatenate([one.point_m for one in parts], axis=1)[:, order],
        np.concatenate([one.direction for one in parts], axis=1)[:, order],
    )


def _shifted(found: list[tuple[Overlaps, int]]) -> Iterator[Overlaps]:
    for part, first in found:
        yield Overlaps(part.pair, part.frame + first, part.depth_m, part.point_m, part.direction)
