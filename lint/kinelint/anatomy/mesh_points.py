"""Points all over the surface of a part, each a fixed share of the skin's vertices."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.mesh_cut import Mesh
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.kinematics.skinning import terms

_FINEST = 8  # steps along the side of a triangle
# A large part's points are no closer than this share of it: depths read a few millimetres less.
_COARSEST = 1.0 / 24.0
_CUBE = 1.0 / 6.0  # groups of a large part, by its size
_BENDS = 1.5  # a bent skin draws points apart by less


@dataclass(frozen=True, eq=False)
class Points:
    """Points of a surface, to be skinned.

    Attributes:
        joints: ``(k,)`` that they hang on.
        terms: ``(n, k, 4)`` as `kinelint.kinematics.skinning` has them.
        group: ``(n,)`` points that lie together have one number.
        middles: ``(groups,)`` a point in the middle of each group.
        radii_m: ``(groups,)`` the others are this near to it, however the skin bends.
    """

    joints: Ints
    terms: Floats
    group: Ints
    middles: Ints
    radii_m: Floats

    def __len__(self) -> int:
        return len(self.terms)


def points_on(mesh: Mesh, row: int, bind_m: Floats, turns: Floats, spacing_m: float) -> Points:
    """The vertices of a part and, between those further apart, points of its triangles."""
    corners, shares = _spread(mesh, mesh.triangles[mesh.owner == row], spacing_m)
    bound = np.isfinite(bind_m[mesh.joints[corners], 0]) | (mesh.weights[corners] == 0.0)
    kept = bound.all(axis=(1, 2))
    corners, shares = corners[kept], shares[kept]
    at = np.einsum("nk,nki->ni", shares, mesh.points_m[corners])
    hung = hung_on(mesh, corners, shares, bind_m, turns)
    starts, middles, radii_m = _groups(at, spacing_m)
    return Points(*hung, starts, middles, radii_m)


def vertices_of(mesh: Mesh, which: Ints, bind_m: Floats, turns: Floats) -> Points:
    """These vertices, not grouped."""
    hung = hung_on(mesh, which[:, None], np.ones((len(which), 1)), bind_m, turns)
    none = np.zeros(0, dtype=np.intp)
    return Points(*hung, none, none, np.zeros(0))


def hung_on(
    mesh: Mesh, corners: Ints, shares: Floats, bind_m: Floats, turns: Floats
) -> tuple[Ints, Floats]:
    """Joints and terms of points between vertices, as `Points` has them."""
    weights = mesh.weights[corners]
    # An influence without weight may name any joint.
    heaviest = np.take_along_axis(mesh.joints[corners], weights.argmax(2)[..., None], 2)
    joints = np.where(weights > 0.0, mesh.joints[corners], heaviest)
    used, slots = np.unique(joints, return_inverse=True)
    matrices = rotations.to_matrix(np.nan_to_num(turns[used]).T).transpose(2, 0, 1)
    slots = slots.reshape(joints.shape).astype(np.intp)
    places = np.nan_to_num(bind_m[used])
    sums = terms(mesh.points_m[corners], slots, weights, shares, places, matrices)
    return np.asarray(used, dtype=np.intp), sums


def _groups(at: Floats, spacing_m: float) -> tuple[Ints, Ints, Floats]:
    """Points in cubes: their group, the point in the middle of each, and how far they reach."""
    size_m = float(np.linalg.norm(np.ptp(at, axis=0))) if len(at) else 0.0
    cubes = np.floor(at / max(3.0 * spacing_m, _CUBE * size_m)).astype(np.int64)
    _, group = np.unique(cubes, axis=0, return_inverse=True)
    group = group.reshape(-1)
    count = np.bincount(group)
    means = np.stack([np.bincount(group, at[:, i]) / count for i in range(3)], axis=1)
    off = np.linalg.norm(at - means[group], axis=1)
    order = np.lexsort((off, group))
    middles = order[np.flatnonzero(np.r_[True, np.diff(group[order]) > 0])] if len(at) else order
    radii = np.zeros(len(count))
    np.maximum.at(radii, group, np.linalg.norm(at - at[middles[group]], axis=1))
    return group, middles, _BENDS * radii


def _spread(mesh: Mesh, triangles: Ints, spacing_m: float) -> tuple[Ints, Floats]:
    """``(n, 3)`` vertices and their shares: each corner once, and what lies between."""
    placed = mesh.points_m[triangles]
    size_m = float(np.linalg.norm(np.ptp(placed.reshape(-1, 3), axis=0)))
    spacing_m = max(spacing_m, _COARSEST * size_m)
    longest = np.linalg.norm(placed - np.roll(placed, 1, axis=1), axis=2).max(axis=1)
    steps = np.clip(np.ceil(longest / spacing_m), 1, _FINEST).astype(np.intp)
    alone = np.unique(triangles)
    _, first = np.unique(mesh.same[alone], return_index=True)
    corners = [np.repeat(alone[first][:, None], 3, axis=1)]
    shares = [np.tile([1.0, 0.0, 0.0], (len(first), 1))]
    for count in np.unique(steps[steps > 1]).tolist():
        which = triangles[steps == count]
        inner = _inner(count)
        corners.append(np.repeat(which, len(inner), axis=0))
        shares.append(np.tile(inner, (len(which), 1)))
    return _thinned(mesh, np.concatenate(corners), np.concatenate(shares), spacing_m, len(first))


def _thinned(
    mesh: Mesh, corners: Ints, shares: Floats, spacing_m: float, vertices: int
) -> tuple[Ints, Floats]:
    """All vertices, and one in each cube of what lies between: long triangles are dense."""
    places = np.einsum("nk,nki->ni", shares, mesh.points_m[corners])
    cubes = np.floor(places / (0.8 * spacing_m)).astype(np.int64)
    _, first = np.unique(cubes, axis=0, return_index=True)
    kept = np.union1d(np.arange(vertices), first)
    return corners[kept], shares[kept]


def _inner(steps: int) -> Floats:
    """Shares of the three corners at all places of a division but the corners themselves."""
    a, b = np.meshgrid(np.arange(steps + 1), np.arange(steps + 1), indexing="ij")
    c = steps - a - b
    places = np.stack((a, b, c), axis=-1).reshape(-1, 3)
    kept = (places.min(axis=1) >= 0) & (places.max(axis=1) < steps)
    return np.asarray(places[kept] / steps)
