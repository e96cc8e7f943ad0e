"""Whether points lie inside a closed surface of triangles, however it is posed.

Source: the solid angle of a triangle after Van Oosterom A, Strackee J (1983), IEEE Transactions
on Biomedical Engineering 30(2):125-126 (from memory; checked against a mesh library).
"""

from __future__ import annotations

import numpy as np

from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.triangles import squared_distance


def winding_numbers(points: Floats, triangles: Floats) -> Floats:
    """``(n,)`` how often the surface ``(m, 3, 3)`` winds around each point ``(3, n)``."""
    corners = triangles.transpose(1, 2, 0)[..., None] - points[:, None, :]
    a, b, c = corners
    la, lb, lc = (np.sqrt(_dot(one, one)) for one in corners)
    cross = np.stack(
        (b[1] * c[2] - b[2] * c[1], b[2] * c[0] - b[0] * c[2], b[0] * c[1] - b[1] * c[0])
    )
    volume = _dot(a, cross)
    rest = la * lb * lc + _dot(a, b) * lc + _dot(b, c) * la + _dot(c, a) * lb
    return np.asarray(np.arctan2(volume, rest).sum(axis=0) / (2.0 * np.pi))


def depths_inside(points: Floats, skin: Floats, caps: Floats) -> Floats:
    """``(n,)`` distance of points ``(3, n)`` from the skin where they are inside, else 0.

    Args:
        points: where.
        skin: ``(m, 3, 3)`` triangles to which the distance is measured, at least one.
        caps: ``(k, 3, 3)`` triangles that close it.
    """
    out = np.zeros(points.shape[1])
    closed = np.concatenate((skin, caps))
    inside = np.flatnonzero(np.abs(winding_numbers(points, closed)) > 0.5)
    if inside.size:
        spread = np.broadcast_to(points[:, None, inside], (3, len(skin), inside.size))
        out[inside] = np.sqrt(squared_distance(spread, skin[..., None]).min(axis=0))
    return out


def _dot(u: Floats, v: Floats) -> Floats:
    return np.asarray(u[0] * v[0] + u[1] * v[1] + u[2] * v[2])
