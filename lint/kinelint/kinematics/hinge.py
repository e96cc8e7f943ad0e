"""Joints that bend about one axis: how far they bend, to which side, and about what axis.

All from directions of the two segments, never from a joint's own axes: rest poses are bent, and
joint axes differ from rig to rig.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.kinematics.forward import squares_of, turned, turning
from kinelint.kinematics.vectors import cross, dot, length, unit

# A bend plane is known only from clear bends; below this the noise of a straight limb rules it.
CLEAR_BEND_RAD = float(np.radians(20.0))
# The plane must be one and the same in this share of the evidence (largest eigenvalue).
LEAST_SHARE = 0.9
# And must have been seen for this long.
LEAST_SECONDS = 0.25
# Frames that are worked on at a time: what the cache holds of a hand's joints.
CHUNK = 4096


def bend(proximal: Floats, distal: Floats) -> Floats:
    """The angle between two directions ``(..., 3, frames)``, radians in [0, pi], no side."""
    return np.asarray(np.arctan2(length(cross(proximal, distal)), dot(proximal, distal)))


def bend_about(axis: Floats, proximal: Floats, distal: Floats) -> Floats:
    """The turn about unit `axis` that takes `proximal` to `distal`, radians in (-pi, pi].

    What lies out of the plane of the hinge (a carrying angle, a knocked knee) does not count.
    All ``(..., 3, frames)``, the latter two of any length; NaN where one of them has none or lies
    nearly along the axis.
    """
    along_p, along_d = dot(axis, proximal), dot(axis, distal)
    turn = np.arctan2(dot(axis, cross(proximal, distal)), dot(proximal, distal) - along_p * along_d)
    for along, line in ((along_p, proximal), (along_d, distal)):
        size = dot(line, line)
        # Written so that a NaN in a line is caught as well.
        along *= along
        turn[~((along <= 0.81 * size) & (size > 1e-18))] = np.nan
    return turn


def bends_of_many(
    positions: Floats, chains: Ints, axes: Floats | None, orientations: Floats, frames_of: Ints
) -> Floats:
    """The bends of many hinges at once, ``(hinges, frames)`` radians: for hands full of them.

    Args:
        positions: ``(joints, 3, frames)``.
        chains: ``(hinges, 3)`` joints: where the upper segment begins, the hinge, its far end.
        axes: ``(hinges, 3)`` unit, as `bend_about` takes them; None for bends without a side.
        orientations: ``(joints, 4, frames)``.
        frames_of: ``(hinges,)`` the joint in whose axes each axis is given.
    """
    frames = positions.shape[-1]
    bends = np.empty((len(chains), frames))
    start, middle, end = chains.T
    arms = None if axes is None else turning(axes)
    for first in range(0, frames, CHUNK):
        span = slice(first, first + CHUNK)
        at = positions[middle, :, span]
        proximal, distal = at - positions[start, :, span], positions[end, :, span] - at
        if arms is None:
            bends[:, span] = bend(unit(proximal), unit(distal))
            continue
        axis = np.empty(at.shape)
        for joint in set(frames_of.tolist()):
            here = frames_of == joint
            axis[here] = turned(orientations[joint, :, span], arms[here])
        bends[:, span] = bend_about(axis, proximal, distal)
    return bends


def bends_of_rigid(
    local: Floats, hinges: Ints, proximal: Floats, distal: Floats, axes: Floats
) -> Floats:
    """The bends of hinges whose segments keep their lengths, ``(hinges, frames)`` radians.

    As `bend_about`, at a third of its cost: seen from the joint above, only the hinge's own
    rotation moves the lower segment.

    Args:
        local: ``(joints, 4, frames)`` rotations of joints to those above them.
        hinges: ``(hinges,)`` which of them.
        proximal: ``(hinges, 3)`` from the joint above to the hinge, in the axes of that joint.
        distal: ``(hinges, 3)`` from the hinge to the joint below, in its own axes.
        axes: ``(hinges, 3)`` unit, in the axes of the joint above.
    """
    frames = local.shape[-1]
    along_p = np.einsum("hi,hi->h", axes, proximal)
    across = proximal - along_p[:, None] * axes
    rows = np.stack((np.cross(axes, proximal), across, axes), axis=1)
    sums = np.einsum("hri,hik->hrk", rows, turning(distal))
    level = along_p**2 <= 0.81 * np.einsum("hi,hi->h", proximal, proximal)
    most = 0.9 * np.linalg.norm(distal, axis=1)
    bends = np.empty((len(hinges), frames))
    products = np.empty((10, min(CHUNK, frames)))
    for first in range(0, frames, CHUNK):
        span = slice(first, min(first + CHUNK, frames))
        here = products[:, : span.stop - first]
        for row, hinge in enumerate(hinges.tolist()):
            squares_of(local[hinge, :, span], here)
            sine, cosine, along = sums[row] @ here
            turn = np.arctan2(sine, cosine, out=bends[row, span])
            turn[~((np.abs(along) <= most[row]) & (most[row] > 1e-9) & level[row])] = np.nan
    return bends


@dataclass(frozen=True, eq=False)
class BendPlanes:
    """Evidence of a hinge's axis: normals of its bend plane, in the proximal segment's axes.

    Attributes:
        outer: ``(3, 3)`` sum of the normals' outer products, each weighted by its seconds.
        toward: ``(3,)`` sum of the normals themselves, so weighted: the side it bends to.
        seconds: of clear bend.
    """

    outer: Floats
    toward: Floats
    seconds: float

    def axis(self) -> Floats | None:
        """``(3, 1)`` unit axis about which the bend is positive; None if it is not one axis."""
        if self.seconds < LEAST_SECONDS:
            return None
        values, vectors = np.linalg.eigh(self.outer)
        if values[-1] < LEAST_SHARE * values.sum():
            return None
        best = vectors[:, -1:]
        return np.asarray(best if float(best[:, 0] @ self.toward) >= 0 else -best)


def bend_planes(normals: Floats, bends_rad: Floats, frame_s: float) -> BendPlanes:
    """The evidence in one motion.

    Args:
        normals: ``(3, frames)`` proximal cross distal, in the proximal segment's axes.
        bends_rad: ``(frames,)``.
        frame_s: seconds that a frame stands for.
    """
    clear: Bools = (bends_rad > CLEAR_BEND_RAD) & (bends_rad < np.pi - CLEAR_BEND_RAD)
    planes = unit(normals[:, clear])
    seconds = float(clear.sum()) * frame_s
    return BendPlanes(planes @ planes.T * frame_s, planes.sum(axis=1) * frame_s, seconds)


def merged(several: Iterable[BendPlanes]) -> BendPlanes:
    """The evidence of several motions of one skeleton together."""
    outer, toward, seconds = np.zeros((3, 3)), np.zeros(3), 0.0
    for one in several:
        outer = outer + one.outer
        toward = toward + one.toward
        seconds += one.seconds
    return BendPlanes(outer, toward, seconds)
