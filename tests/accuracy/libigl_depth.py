"""Depth of two parts of a posed skin by libigl, with the skin posed by SciPy: an outside check."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from kinelint.anatomy.mesh_body import MeshBody
from kinelint.anatomy.mesh_cut import Piece, piece

Array = NDArray[np.float64]


def posed(body: MeshBody, positions_m: Array, orientations: Array) -> Array:
    """``(vertices, 3)`` with joints at ``(joints, 3)`` turned by ``(joints, 4)``."""
    mesh, places = body.mesh, np.zeros_like(body.mesh.points_m)
    for joint in np.unique(mesh.joints[mesh.weights > 0.0]):
        weight = np.where(mesh.joints == joint, mesh.weights, 0.0).sum(axis=1)[:, None]
        turned = _turn(orientations[joint]) * _turn(body.turns[joint]).inv()
        places += weight * (turned.apply(mesh.points_m - body.bind_m[joint]) + positions_m[joint])
    return places


def depth_mm(
    body: MeshBody, parts: tuple[str, str], positions_m: Array, orientations: Array
) -> float:
    """The deepest point of either part in the other, of vertices and 2,000 more; 0 if clear."""
    places = posed(body, positions_m, orientations)
    cuts = [piece(body.mesh, body.mesh.owner == body.parts.index(part), 8) for part in parts]
    return 1000.0 * max(_depth(places, *cuts), _depth(places, *cuts[::-1]))


def _turn(q: Array) -> Rotation:
    return Rotation.from_quat(q[[1, 2, 3, 0]])


def _depth(places: Array, mine: Piece, other: Piece) -> float:
    import igl
    import trimesh

    rings = np.unique(other.caps[:, 2])
    middles = [places[other.caps[other.caps[:, 2] == ring][:, :2]].mean((0, 1)) for ring in rings]
    whole = np.concatenate((places, np.reshape(middles, (-1, 3))))
    surface = trimesh.Trimesh(places, mine.faces, process=False)
    more = trimesh.sample.sample_surface(surface, 2000, seed=1)[0]
    points = np.concatenate((places[np.unique(mine.faces)], more))
    low, high = whole[other.faces].min((0, 1)), whole[other.faces].max((0, 1))
    points = points[np.all((points >= low) & (points <= high), axis=1)]
    if not len(points):
        return 0.0
    turns = igl.winding_number(whole, np.concatenate((other.faces, other.caps)), points)
    points = points[np.abs(turns) > 0.5]
    if not len(points):
        return 0.0
    squares = igl.point_mesh_squared_distance(points, places, other.faces)[0]
    return float(np.sqrt(squares.max()))
