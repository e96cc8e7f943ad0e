"""How deep two parts of a skin lie in each other over frames."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.mesh_body import MeshBody, Solid, Volume
from kinelint.anatomy.mesh_points import Points
from kinelint.anatomy.mesh_posed import MEASURED, posed_depth
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.kinematics.grids import FAR_M, gradient, least_distance, sample
from kinelint.kinematics.skinning import moves, placed

# Frames that are placed at once: few, so that what is far from the solid can be left out.
_SPAN = 64


@dataclass(frozen=True, eq=False)
class MeshDepths:
    """Two parts on some frames.

    Attributes:
        depth_m: ``(frames,)`` the deepest point of either in the other; 0 where they are clear.
        at_rest_m: the same at the bind pose.
        second_in_first: ``(frames,)`` whether the deepest point is one of the second part.
        point: ``(frames,)`` which of that part's points.
        solid: ``(frames,)`` in which piece of the other.
    """

    depth_m: Floats
    at_rest_m: float
    second_in_first: Ints
    point: Ints
    solid: Ints


def volumes(body: MeshBody, parts: tuple[str, str]) -> tuple[Volume, Volume] | str:
    """The two, or why a pair cannot be measured."""
    found = [body.volume(part) for part in parts]
    for part, one in zip(parts, found, strict=True):
        if isinstance(one, str):
            return f"{part}: {one}"
    first, second = found
    assert isinstance(first, Volume)
    assert isinstance(second, Volume)
    return first, second


def depths(
    body: MeshBody, parts: tuple[str, str], positions_m: Floats, orientations: Floats
) -> MeshDepths | str:
    """Depths of two parts in each other, or why they cannot be measured.

    Args:
        body: the skin's volumes.
        parts: the two.
        positions_m: ``(joints, 3, frames)``.
        orientations: ``(joints, 4, frames)``.
    """
    pair = volumes(body, parts)
    if isinstance(pair, str):
        return pair
    at_rest = body.at_rest_m(parts, lambda: _at_rest(body, pair))
    depth, *where = _measured(pair, positions_m, orientations)
    return MeshDepths(depth, at_rest, *where)


def place(
    pair: tuple[Volume, Volume],
    found: MeshDepths,
    row: int,
    positions_m: Floats,
    orientations: Floats,
) -> tuple[Floats, Floats]:
    """Deepest point ``(3,)`` in the world, and the unit vector along which the first clears it.

    Zeros for the direction where the point lies as near to several sides. The pose is that of the
    frame that `row` of `found` is of: ``(joints, 3, 1)`` and ``(joints, 4, 1)``.
    """
    second_in_first = bool(found.second_in_first[row])
    volume, of = pair if second_in_first else pair[::-1]
    solid = volume.solids[int(found.solid[row])]
    moved = moves(of.points.joints, solid.carrier, positions_m, orientations)
    which = int(found.point[row])
    local = placed(of.points.terms[which : which + 1], moved)[0, :, 0]
    turn = orientations[solid.carrier]
    ways = np.stack((local, gradient(solid.grid, local)), axis=1)
    world = rotations.rotate(np.repeat(turn, 2, axis=1), ways)
    out = -world[:, 1] if second_in_first else world[:, 1]
    return world[:, 0] + positions_m[solid.carrier, :, 0], out


def exact(pair: tuple[Volume, Volume], positions_m: Floats, orientations: Floats) -> float:
    """Depth on the skin as it is posed in one frame: ``(joints, 3, 1)`` and ``(joints, 4, 1)``."""
    best = 0.0
    for of, volume in (pair, pair[::-1]):
        carrier = volume.solids[0].carrier
        outside = np.min(
            [_outside(of.points, one, positions_m, orientations) for one in volume.solids], axis=0
        )
        chosen = np.argsort(outside, kind="stable")[:MEASURED]
        chosen = chosen[outside[chosen] < volume.solids[0].grid.cell_m]
        pose = positions_m, orientations
        best = max(best, posed_depth(of.points, chosen, volume.surface, carrier, *pose))
    return best


def _outside(points: Points, solid: Solid, positions_m: Floats, orientations: Floats) -> Floats:
    moved = moves(points.joints, solid.carrier, positions_m, orientations)
    return sample(solid.grid, placed(points.terms, moved)[..., 0].T)


def _at_rest(body: MeshBody, pair: tuple[Volume, Volume]) -> float:
    pose = np.nan_to_num(body.bind_m)[..., None], np.nan_to_num(body.turns)[..., None]
    return exact(pair, *pose)


def _measured(
    pair: tuple[Volume, Volume], positions_m: Floats, orientations: Floats
) -> tuple[Floats, Ints, Ints, Ints]:
    """What `MeshDepths` holds but for the rest."""
    frames = positions_m.shape[-1]
    best, other, point, piece = np.zeros(frames), *np.zeros((3, frames), dtype=np.intp)
    for second_in_first, (of, volume) in enumerate((pair, pair[::-1])):
        for number, solid in enumerate(volume.solids):
            depth, which = _deepest(of.points, solid, positions_m, orientations)
            deeper = np.flatnonzero(depth > best)
            best[deeper], point[deeper] = depth[deeper], which[deeper]
            other[deeper], piece[deeper] = second_in_first, number
    return best, other, point, piece


def _deepest(
    points: Points, solid: Solid, positions_m: Floats, orientations: Floats
) -> tuple[Floats, Ints]:
    """``(frames,)`` depth of the deepest point, 0 or less outside, and which it is."""
    frames = positions_m.shape[-1]
    depth, which = np.full(frames, -FAR_M), np.zeros(frames, dtype=np.intp)
    if not len(points):
        return depth, which
    for start in range(0, frames, _SPAN):
        span = slice(start, min(start + _SPAN, frames))
        pose = positions_m[..., span], orientations[..., span]
        moved = moves(points.joints, solid.carrier, *pose)
        near, now = _near(points, solid, moved)
        if not near.size:
            continue
        flat = placed(points.terms[near], moved[..., now]).transpose(1, 0, 2).reshape(3, -1)
        outside = sample(solid.grid, flat).reshape(len(near), -1)
        least = np.argmin(outside, axis=0)
        which[start + now] = near[least]
        depth[start + now] = -outside[least, np.arange(len(now))]
    return depth, which


def _near(points: Points, solid: Solid, moved: Floats) -> tuple[Ints, Ints]:
    """Points, and frames, that may lie in the solid: groups that come near it."""
    middles = placed(points.terms[points.middles], moved)
    away = least_distance(solid.grid, middles.transpose(1, 0, 2).reshape(3, -1))
    close: Bools = np.asarray(away.reshape(len(middles), -1) < points.radii_m[:, None])
    has: Bools = np.asarray(close.any(axis=1))
    rows = np.flatnonzero(has[points.group])
    return rows, np.flatnonzero(close.any(axis=0))
