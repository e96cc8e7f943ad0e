"""Depth of two parts in one frame on the skin as it is posed there, bends and all.

Grids are rigid: near a bent elbow they are off by as much as the skin gives way. So the deepest
points that they name are measured once more on the posed surface, at some frames of an overlap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.mesh_points import Points
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.kinematics.skinning import moves, placed
from kinelint.kinematics.windings import depths_inside

# Points measured of each part, the deepest by the grids.
MEASURED = 32


@dataclass(frozen=True, eq=False)
class Surface:
    """The surface of a part, to be posed.

    Attributes:
        vertices: of the skin, as `Points`.
        faces: ``(m, 3)`` rows of the vertices.
        caps: ``(k, 2)`` rows of the vertices: edges that caps close.
        rings: ``(k,)`` ring of each, around whose middle caps are laid.
    """

    vertices: Points
    faces: Ints
    caps: Ints
    rings: Ints


def surface_triangles(
    surface: Surface, carrier: int, positions_m: Floats, orientations: Floats
) -> tuple[Floats, Floats]:
    """Skin ``(m, 3, 3)`` and caps ``(k, 3, 3)`` in the axes of the carrier, in one frame."""
    moved = moves(surface.vertices.joints, carrier, positions_m, orientations)
    at = placed(surface.vertices.terms, moved)[..., 0]
    edges = at[surface.caps]
    count = np.bincount(surface.rings)
    sums = np.zeros((len(count), 3))
    np.add.at(sums, surface.rings, edges.mean(axis=1))
    middles = sums / np.maximum(count, 1)[:, None]
    caps = np.concatenate((edges, middles[surface.rings][:, None]), axis=1)
    return at[surface.faces], caps


def posed_depth(
    points: Points,
    chosen: Ints,
    surface: Surface,
    carrier: int,
    positions_m: Floats,
    orientations: Floats,
) -> float:
    """Depth of the deepest of the chosen points in the surface, 0 if none is in.

    The pose is that of one frame: ``(joints, 3, 1)`` and ``(joints, 4, 1)``.
    """
    if not len(chosen):
        return 0.0
    skin, caps = surface_triangles(surface, carrier, positions_m, orientations)
    moved = moves(points.joints, carrier, positions_m, orientations)
    at = placed(points.terms[chosen], moved)[..., 0].T
    return float(depths_inside(at, skin, caps).max())
