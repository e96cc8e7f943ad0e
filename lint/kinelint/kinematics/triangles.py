"""Distance of points from triangles.

Source: the point of a triangle nearest to another is its projection where that falls inside,
else on an edge (Ericson C 2005, Real-Time Collision Detection, section 5.1.5, from memory;
checked against a mesh library).
"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

AnyFloats: TypeAlias = NDArray[np.floating[Any]]

_TINY = 1e-30


def squared_distance(points: AnyFloats, triangles: AnyFloats) -> Any:
    """Squared distances of points from triangles.

    Args:
        points: ``(3, n)``, or ``(3, n, k)``: k points for each triangle.
        triangles: ``(n, 3, 3)``, or ``(n, 3, 3, 1)`` for k points each; corners, then X, Y, Z.

    Returns:
        ``(n,)`` or ``(n, k)``, in the precision of what is given.
    """
    corners = np.ascontiguousarray(np.moveaxis(triangles, 0, 2))
    from_corner = [points - corner for corner in corners]
    edges = corners[[1, 2, 0]] - corners
    best = np.minimum.reduce([_to_edge(r, e) for r, e in zip(from_corner, edges, strict=True)])
    normal = _cross(edges[0], edges[1])
    size = _dot(normal, normal)
    inside = size > _TINY
    for r, e in zip(from_corner, edges, strict=True):
        inside = inside & (_dot(r, _cross(normal, e)) >= 0.0)
    plane = _dot(from_corner[0], normal) ** 2 / np.where(inside, size, 1.0)
    return np.asarray(np.where(inside, plane, best))


def _to_edge(from_corner: AnyFloats, edge: AnyFloats) -> AnyFloats:
    square = _dot(edge, edge)
    share = np.clip(_dot(from_corner, edge) / np.maximum(square, _TINY), 0.0, 1.0)
    apart = from_corner - share * edge
    return _dot(apart, apart)


def _dot(u: AnyFloats, v: AnyFloats) -> AnyFloats:
    return np.asarray(u[0] * v[0] + u[1] * v[1] + u[2] * v[2])


def _cross(u: AnyFloats, v: AnyFloats) -> AnyFloats:
    return np.stack(
        (
            u[1] * v[2] - u[2] * v[1],
            u[2] * v[0] - u[0] * v[2],
            u[0] * v[1] - u[1] * v[0],
        )
    )
