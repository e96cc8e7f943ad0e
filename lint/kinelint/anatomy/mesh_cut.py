"""A skin cut into the parts of a body, each piece closed by caps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kinelint.clip import Skin
from kinelint.kinematics.arrays import Bools, Floats, Ints

# Holes of the skin itself, closed by caps, may be this part of a piece's surface.
_HOLES = 0.25


@dataclass(frozen=True, eq=False)
class Mesh:
    """All skins of a figure as one surface.

    Attributes:
        points_m: ``(n, 3)`` at the bind pose.
        same: ``(n,)`` the first vertex at the same place: files split vertices at seams.
        triangles: ``(m, 3)``.
        joints: ``(n, influences)`` that each vertex hangs on.
        weights: ``(n, influences)``.
        owner: ``(m,)`` row of the part that most of a triangle's weight is on, -1 for none.
    """

    points_m: Floats
    same: Ints
    triangles: Ints
    joints: Ints
    weights: Floats
    owner: Ints


@dataclass(frozen=True, eq=False)
class Piece:
    """The surface of one part. `fault` says why it is no volume; empty if it is one."""

    faces: Ints
    points_m: Floats
    caps: Ints
    fault: str = ""


def mesh_of(skins: Sequence[Skin], scale: float, part_of: Ints) -> Mesh:
    """Joins skins.

    Args:
        skins: with at least one vertex.
        scale: metres per unit of theirs.
        part_of: ``(joints,)`` row of each joint's part, -1 for none.
    """
    points = np.concatenate([skin.vertices for skin in skins]) * scale
    starts = np.cumsum([0, *(len(skin.vertices) for skin in skins)])
    triangles = np.concatenate(
        [skin.triangles + start for skin, start in zip(skins, starts[:-1], strict=True)]
    )
    joints = np.concatenate([skin.joints for skin in skins])
    weights = np.concatenate([skin.weights for skin in skins])
    same = _welded(points)
    corners = same[triangles]
    flat = np.any(corners == np.roll(corners, 1, axis=1), axis=1)
    triangles = triangles[~flat]
    return Mesh(
        points, same, triangles, joints, weights, _owners(triangles, joints, weights, part_of)
    )


def rigid(mesh: Mesh, part: int) -> dict[int, Bools]:
    """Joint to ``(m,)`` the triangles of a part that follow it most, the largest piece first."""
    own = np.flatnonzero(mesh.owner == part)
    corners = mesh.triangles[own]
    sums = np.zeros((len(own), int(mesh.joints.max(initial=0)) + 1))
    row = np.arange(len(own))[:, None, None]
    np.add.at(sums, (row, mesh.joints[corners]), mesh.weights[corners] / 3.0)
    joint = sums.argmax(axis=1)
    found = {}
    for one in np.unique(joint).tolist():
        chosen = np.zeros(len(mesh.triangles), dtype=np.bool_)
        chosen[own[joint == one]] = True
        found[one] = chosen
    return dict(sorted(found.items(), key=lambda item: -int(item[1].sum())))


def piece(mesh: Mesh, chosen: Bools, fewest: int) -> Piece:
    """The chosen triangles as a volume, closed where they were cut from the others."""
    faces = mesh.same[mesh.triangles[chosen]]
    if len(np.unique(faces)) < fewest:
        return Piece(faces, mesh.points_m, np.empty((0, 3), np.intp), "too few vertices")
    edges = _open_edges(faces, len(mesh.points_m))
    own_holes = _open_edges(mesh.same[mesh.triangles], len(mesh.points_m))
    loop = _loops(edges)
    points = np.concatenate((mesh.points_m, _centres(mesh.points_m[edges], loop)))
    # A cap's edge runs against the open edge that it closes.
    caps = np.column_stack((edges[:, ::-1], len(mesh.points_m) + loop)).reshape(-1, 3)
    code = len(mesh.points_m)
    is_hole = np.isin(edges @ np.array([code, 1]), own_holes @ np.array([code, 1]))
    surface = _areas(points[faces]).sum()
    fault = ""
    if _areas(points[caps[is_hole]]).sum() > _HOLES * surface:
        fault = "it is not closed"
    return Piece(faces, points, caps, fault)


def joined_parts(mesh: Mesh) -> Ints:
    """Rows of the parts that the surface joins to another: a vertex is of triangles of both."""
    owned = mesh.owner >= 0
    vertex = mesh.same[mesh.triangles[owned]].reshape(-1)
    pairs = np.unique(np.column_stack((vertex, np.repeat(mesh.owner[owned], 3))), axis=0)
    _, where, count = np.unique(pairs[:, 0], return_inverse=True, return_counts=True)
    return np.unique(pairs[count[where.reshape(-1)] > 1, 1])


def _welded(points: Floats) -> Ints:
    size = float(np.abs(points).max()) or 1.0
    rounded = np.round(points / (1e-6 * size)).astype(np.int64)
    _, first, inverse = np.unique(rounded, axis=0, return_index=True, return_inverse=True)
    return np.asarray(first[inverse.reshape(-1)], dtype=np.intp)


def _owners(triangles: Ints, joints: Ints, weights: Floats, part_of: Ints) -> Ints:
    parts = part_of[joints[triangles]]
    sums = np.zeros((len(triangles), int(part_of.max(initial=0)) + 2))
    row = np.broadcast_to(np.arange(len(triangles))[:, None, None], parts.shape)
    np.add.at(sums, (row, parts + 1), weights[triangles])
    return np.asarray(np.argmax(sums, axis=1) - 1)


def _open_edges(faces: Ints, count: int) -> Ints:
    """``(k, 2)`` directed edges that no face runs against, each as often as it is left open."""
    edges = np.concatenate([faces[:, [i, (i + 1) % 3]] for i in range(3)])
    low, high = edges.min(axis=1), edges.max(axis=1)
    code, where = np.unique(low * count + high, return_inverse=True)
    net = np.bincount(where, np.where(edges[:, 0] == low, 1, -1), len(code)).astype(np.intp)
    ends = np.stack(np.divmod(code, count), axis=1)
    ends = np.where((net > 0)[:, None], ends, ends[:, ::-1])
    return np.repeat(ends, np.abs(net), axis=0)


def _loops(edges: Ints) -> Ints:
    """``(k,)`` number of the connected ring that each edge is of."""
    _, ends = np.unique(edges, return_inverse=True)
    ends = ends.reshape(-1, 2)
    ring = np.arange(ends.max(initial=-1) + 1)
    while len(ring):
        least = np.minimum(ring[ends[:, 0]], ring[ends[:, 1]])
        new = ring.copy()
        np.minimum.at(new, ends[:, 0], least)
        np.minimum.at(new, ends[:, 1], least)
        new = new[new]
        if np.array_equal(new, ring):
            break
        ring = new
    _, loop = np.unique(ring[ends[:, 0]], return_inverse=True)
    return np.asarray(loop.reshape(-1), dtype=np.intp)


def _centres(edges: Floats, loop: Ints) -> Floats:
    """``(loops, 3)`` middle of the ends ``(k, 2, 3)`` of each ring's edges."""
    sums = np.zeros((loop.max(initial=-1) + 1, 3))
    np.add.at(sums, loop, edges.mean(axis=1))
    return np.asarray(sums / np.bincount(loop, minlength=len(sums))[:, None])


def _areas(triangles: Floats) -> Floats:
    if not len(triangles):
        return np.zeros(0)
    sides = np.diff(triangles, axis=1)
    return np.asarray(0.5 * np.linalg.norm(np.cross(sides[:, 0], sides[:, 1]), axis=1))
