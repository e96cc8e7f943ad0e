"""Signed-distance grids: baked once from a closed surface, then sampled by many points.

Plain arrays in and out, so that a compiled kernel can take its place. Distances are measured to
the given faces; which side a node is on is told by counting the crossings of grid lines with the
closed surface (its winding number). Caps close a volume without being its surface: the distance
falls to 0 at a cap, but within a short way of it only.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.kinematics.arrays import Bools, Floats, Ints, frozen
from kinelint.kinematics.triangles import squared_distance

# Nodes on the long side: 32 cells across the surface and a margin. A multiple of the block.
NODES, BLOCK = 36, 4
MARGIN = 1.5  # cells around the surface
# Inside, near a cap, the distance is this many times that to the cap: it runs through 0 there.
CAP_SLOPE = 4.0
FAR_M = 1e3  # what a point outside the grid is given
# Points and triangles measured at once: what a cache holds of their scratch.
_AT_ONCE = 1 << 15


@dataclass(frozen=True, eq=False)
class Grid:
    """Signed distances on the nodes of a box, negative inside.

    Attributes:
        values_m: ``(nx, ny, nz)``, float32: a tenth of a micrometre is enough.
        origin_m: ``(3,)`` of the first node.
        cell_m: between nodes.
        is_closed: whether every line along Z leaves the surface as often as it enters; a check
            of what was given, no proof: it does not see holes that face along X or Y.
    """

    values_m: np.ndarray[tuple[int, ...], np.dtype[np.float32]]
    origin_m: Floats
    cell_m: float
    is_closed: bool = True


def bake(points_m: Floats, faces: Ints, caps: Ints, nodes: int = NODES) -> Grid:
    """The signed distances to a surface.

    Args:
        points_m: ``(n, 3)`` vertices.
        faces: ``(m, 3)`` its triangles, at least one.
        caps: ``(k, 3)`` triangles that close it, where it was cut or has holes.
        nodes: on the long side.
    """
    low, high = points_m[faces].min(axis=(0, 1)), points_m[faces].max(axis=(0, 1))
    cell = max(float((high - low).max()) / (nodes - 1 - 2.0 * MARGIN), 1e-6)
    counts = np.ceil((high - low) / cell + 2.0 * MARGIN).astype(np.intp) + 1
    counts = -(-counts // BLOCK) * BLOCK
    origin = 0.5 * (low + high) - 0.5 * cell * (counts - 1)
    turns, is_closed = _windings(points_m[np.concatenate((faces, caps))], origin, cell, counts)
    inside = turns != 0
    distance = _distances(points_m[faces], origin, cell, inside)
    if len(caps):
        to_cap = _distances(points_m[caps], origin, cell, inside)
        distance = np.minimum(distance, np.where(inside, CAP_SLOPE * to_cap, to_cap))
    signed = np.where(inside, -distance, distance).astype(np.float32)
    return Grid(frozen(signed, np.float32), frozen(origin), cell, is_closed)


def sample(grid: Grid, points_m: Floats) -> Floats:
    """``(n,)`` distances at ``(3, n)`` points, trilinear; `FAR_M` outside the grid."""
    places, where = _inside(grid, points_m)
    out = np.full(points_m.shape[-1], FAR_M)
    if where.size:
        out[where] = _trilinear(grid, places)
    return out


def least_distance(grid: Grid, points_m: Floats) -> Floats:
    """``(n,)`` what points ``(3, n)`` are at least from the inside, within a cell or two."""
    last = grid.cell_m * (np.array(grid.values_m.shape) - 1.0)
    away = points_m - grid.origin_m[:, None]
    beyond = np.maximum(np.maximum(-away, away - last[:, None]), 0.0)
    out: Floats = np.sqrt(np.einsum("in,in->n", beyond, beyond))
    places, where = _inside(grid, points_m)
    if where.size:
        index = np.rint(places).astype(np.intp)
        out[where] = np.maximum(grid.values_m[tuple(index)] - 2.0 * grid.cell_m, 0.0)
    return out


def gradient(grid: Grid, point_m: Floats) -> Floats:
    """``(3,)`` unit vector away from the surface's inside at a point; zeros where none shows."""
    steps = grid.cell_m * 0.5 * np.eye(3)
    ends = np.concatenate((point_m + steps, point_m - steps)).T
    values = sample(grid, ends)
    if np.any(values >= FAR_M):
        return np.zeros(3)
    slope = values[:3] - values[3:]
    size = float(np.linalg.norm(slope))
    return np.asarray(slope / size if size > 1e-9 else np.zeros(3))


def _inside(grid: Grid, points_m: Floats) -> tuple[Floats, Ints]:
    """Places in cells ``(3, k)`` of the points inside the grid, and which they are."""
    places = (points_m - grid.origin_m[:, None]) / grid.cell_m
    last = np.array(grid.values_m.shape)[:, None] - 1.0
    where = np.flatnonzero(np.all((places >= 0.0) & (places < last), axis=0))
    return places[:, where], where


def _trilinear(grid: Grid, places: Floats) -> Floats:
    _, ny, nz = grid.values_m.shape
    whole = places.astype(np.intp)
    x, y, z = places - whole
    index = (whole[0] * ny + whole[1]) * nz + whole[2]
    flat = grid.values_m.reshape(-1)

    def along_z(start: Ints) -> Floats:
        low, high = flat[start], flat[start + 1]
        return np.asarray(low + z * (high - low))

    near, far = along_z(index), along_z(index + nz)
    front = near + y * (far - near)
    near, far = along_z(index + ny * nz), along_z(index + ny * nz + nz)
    back = near + y * (far - near)
    return np.asarray(front + x * (back - front))


def _distances(triangles: Floats, origin: Floats, cell: float, inside: Bools) -> Floats:
    """``(nx, ny, nz)`` unsigned: exact inside and near the surface, about right far outside.

    Blocks of nodes are held against the triangles near them only.
    """
    blocks = np.array(inside.shape) // BLOCK
    corner = BLOCK * _places(blocks)
    centres = origin + cell * (corner + 0.5 * (BLOCK - 1))
    reach = cell * 0.5 * (BLOCK - 1) * np.sqrt(3.0)
    block, triangle, least = _near(centres, reach, triangles)
    matters = inside.reshape(*(n for count in blocks for n in (count, BLOCK))).any(axis=(1, 3, 5))
    matters = matters.reshape(-1) | (least < reach + 2.0 * cell)
    best = np.repeat(least[:, None], BLOCK**3, axis=1)
    best[matters] = np.inf
    kept = matters[block]
    inner = _places(np.full(3, BLOCK))
    nodes = origin + cell * (corner[:, None] + inner)
    _fill(best, nodes, block[kept], triangles[triangle[kept]])
    shaped = best.reshape(*blocks, BLOCK, BLOCK, BLOCK)
    return np.asarray(shaped.transpose(0, 3, 1, 4, 2, 5).reshape(inside.shape))


def _places(counts: Ints) -> Ints:
    return np.stack(np.meshgrid(*map(np.arange, counts), indexing="ij"), -1).reshape(-1, 3)


def _fill(best: Floats, nodes: Floats, block: Ints, triangles: Floats) -> None:
    """Lowers ``(blocks, nodes of a block)`` to the distances of these blocks and triangles.

    In single precision about the middle: as fine as the grid's values, and twice as fast.
    """
    middle = nodes.mean(axis=(0, 1))
    places = (nodes - middle).astype(np.float32).transpose(2, 0, 1)
    corners = (triangles - middle).astype(np.float32)[..., None]
    step = max(_AT_ONCE // nodes.shape[1], 1)
    for first in range(0, len(block), step):
        mine = block[first : first + step]
        squares = squared_distance(places[:, mine], corners[first : first + step])
        starts = np.flatnonzero(np.r_[True, mine[1:] != mine[:-1]])
        least = np.sqrt(np.minimum.reduceat(squares, starts, axis=0))
        best[mine[starts]] = np.minimum(best[mine[starts]], least)


def _near(centres: Floats, reach: float, triangles: Floats) -> tuple[Ints, Ints, Floats]:
    """Blocks and triangles, sorted by block, of which a node's nearest triangle is one.

    Also ``(blocks,)`` the distance of each block's centre.
    """
    middles = triangles.mean(axis=1)
    sizes = np.linalg.norm(triangles - middles[:, None], axis=2).max(axis=1)
    squares = np.sum(centres**2, 1)[:, None] + np.sum(middles**2, 1) - 2.0 * centres @ middles.T
    away = np.sqrt(np.maximum(squares, 0.0))
    limit = away.min(axis=1) + 2.0 * reach + 1e-9
    block, triangle = np.nonzero(away - sizes <= limit[:, None])
    exact = np.sqrt(squared_distance(centres[block].T, triangles[triangle]))
    starts = np.flatnonzero(np.r_[True, block[1:] != block[:-1]])
    least = np.minimum.reduceat(exact, starts)
    kept = exact <= least[block] + 2.0 * reach
    return block[kept], triangle[kept], least


def _windings(triangles: Floats, origin: Floats, cell: float, counts: Ints) -> tuple[Ints, bool]:
    """``(nx, ny, nz)`` how often the surface winds around each node, and whether it is closed.

    Lines along Z go through the nodes, a hair beside them so that none runs along an edge.
    """
    places = (triangles - origin) / cell - np.array([1.234e-5, 2.718e-5, 0.0])
    first = np.maximum(np.ceil(places[..., :2].min(axis=1)), 0).astype(np.intp)
    last = np.floor(places[..., :2].max(axis=1)).astype(np.intp)
    spans = np.maximum(np.minimum(last, counts[:2] - 1) - first + 1, 0)
    number = spans[:, 0] * spans[:, 1]
    which = np.repeat(np.arange(len(triangles)), number)
    within = np.arange(len(which)) - np.repeat(np.cumsum(number) - number, number)
    column = first[which] + np.stack(np.divmod(within, np.maximum(spans[which, 1], 1)), 1)
    height, sign = _crossings(places[which], column.astype(np.float64))
    hit = np.flatnonzero(sign)
    layer = np.clip(np.ceil(height[hit]), 0, counts[2]).astype(np.intp)
    change = np.zeros((*counts[:2], counts[2] + 1), dtype=np.intp)
    np.add.at(change, (column[hit, 0], column[hit, 1], layer), sign[hit])
    turns = np.cumsum(change, axis=2)
    return turns[..., :-1], not turns[..., -1].any()


def _crossings(triangles: Floats, lines: Floats) -> tuple[Floats, Ints]:
    """Where a line along Z meets its triangle: height, and 1 going in, -1 out, 0 if it misses."""
    a, b, c = (triangles[:, i, :2] - lines for i in range(3))
    shares = np.stack([p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0] for p, q in ((b, c), (c, a), (a, b))])
    area = shares.sum(axis=0)
    ahead, behind = np.all(shares > 0.0, axis=0), np.all(shares < 0.0, axis=0)
    sign = behind.astype(np.intp) - ahead.astype(np.intp)
    safe = np.where(sign != 0, area, 1.0)
    height = np.einsum("in,ni->n", shares, triangles[:, :, 2]) / safe
    return np.where(sign != 0, height, 0.0), sign
