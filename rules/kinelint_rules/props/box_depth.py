"""How deep capsules lie in an upright box, exactly: arrays in, arrays out."""

from __future__ import annotations

import numpy as np

from kinelint.kinematics.arrays import Floats


def box_depths(
    starts_m: Floats, ends_m: Floats, radius_m: float, half_m: Floats
) -> tuple[Floats, Floats]:
    """Depth of capsules in a box about the origin, and the way in which the box clears them.

    Args:
        starts_m: ``(3, n)`` one end of the capsules' axes, in the axes of the box.
        ends_m: ``(3, n)`` the other end.
        radius_m: of the capsules.
        half_m: ``(3,)`` half of the box's sides.

    Returns:
        ``(n,)`` depth in metres, negative where they are apart, and ``(3, n)`` unit vectors.
    """
    middle, arm = 0.5 * (starts_m + ends_m), 0.5 * (ends_m - starts_m)
    inside, way_in = _by_faces(middle, arm, half_m)
    point = _nearest(starts_m, ends_m - starts_m, half_m)
    out = point - np.clip(point, -half_m[:, None], half_m[:, None])
    apart = np.linalg.norm(out, axis=0)
    clear = apart > 1e-9
    depth = radius_m + np.where(clear, -apart, inside)
    return depth, np.where(clear, -out / np.maximum(apart, 1e-12), way_in)


def _by_faces(middle: Floats, arm: Floats, half: Floats) -> tuple[Floats, Floats]:
    """Depth of segments in the box: the faces of the box swept along the segment tell.

    These are its own, and those that its edges make with the segment.
    """
    best = np.full(middle.shape[1], np.inf)
    way = np.zeros_like(middle)
    for axis in range(3):
        edge = np.eye(3)[axis][:, None]
        for normal in (edge + 0.0 * arm, np.cross(edge + 0.0 * arm, arm, axis=0)):
            length = np.linalg.norm(normal, axis=0)
            flat = length <= 1e-9
            normal = normal / np.where(flat, 1.0, length)
            at = np.sum(middle * normal, axis=0)
            room = np.sum(half[:, None] * np.abs(normal), axis=0)
            depth = room + np.abs(np.sum(arm * normal, axis=0)) - np.abs(at)
            better = (depth < best) & ~flat
            best = np.where(better, depth, best)
            way = np.where(better, -np.where(at < 0.0, -1.0, 1.0) * normal, way)
    return best, way


def _nearest(start: Floats, along: Floats, half: Floats) -> Floats:
    """``(3, n)`` the points of segments nearest to the box.

    The squared distance along a segment is made of parabolas that meet where the segment passes
    a face's plane; its slope rises all the way, so the root lies between two of these places.
    """
    safe = np.where(np.abs(along) > 1e-12, along, np.inf)
    cuts = [np.clip((side * half[:, None] - start) / safe, 0.0, 1.0) for side in (-1.0, 1.0)]
    ends = np.zeros((1, start.shape[1])), np.ones((1, start.shape[1]))
    t = np.sort(np.concatenate((*cuts, *ends)), axis=0)
    slope = np.zeros_like(t)
    for axis in range(3):
        at = start[axis] + t * along[axis]
        slope += (at - np.clip(at, -half[axis], half[axis])) * along[axis]
    after = np.argmax(slope >= 0.0, axis=0)
    rising = np.any(slope >= 0.0, axis=0)
    low, columns = np.maximum(after - 1, 0), np.arange(start.shape[1])
    before_slope, after_slope = slope[low, columns], slope[after, columns]
    share = np.where(
        after_slope > before_slope,
        -before_slope / np.where(after_slope > before_slope, after_slope - before_slope, 1.0),
        0.0,
    )
    share = np.clip(share, 0.0, 1.0)
    root = t[low, columns] + share * (t[after, columns] - t[low, columns])
    root = np.where(rising, root, 1.0)
    return np.asarray(start + root * along)
