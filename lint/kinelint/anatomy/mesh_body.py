"""A figure's own skin as volumes: grids of each part, and points on its surface.

Made where it is asked for, once in each process: figures cross processes without it. Grids are
baked part by part, when a pair is first measured.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from kinelint.anatomy.mesh_cut import Mesh, Piece, joined_parts, mesh_of, piece, rigid
from kinelint.anatomy.mesh_points import Points, points_on, vertices_of
from kinelint.anatomy.mesh_posed import Surface
from kinelint.anatomy.parts import DIGITS, SIDES
from kinelint.anatomy.skin_fit import owners, scale_of
from kinelint.clip import Skeleton, Skin
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.kinematics.grids import Grid, bake

if TYPE_CHECKING:
    from kinelint.anatomy.figure import Figure

FEWEST_VERTICES = 8
# Grids take some 0.6 MB a figure; a run holds few skinned figures at a time.
_KEPT = 4
_MADE: OrderedDict[bytes, MeshBody | None] = OrderedDict()


@dataclass(frozen=True, eq=False)
class Solid:
    """A rigid piece of a part: the joint that carries it, and its grid in that joint's axes."""

    carrier: int
    grid: Grid


@dataclass(frozen=True, eq=False)
class Volume:
    """One part: its rigid pieces, the largest first, points all over its surface, and that."""

    solids: tuple[Solid, ...]
    points: Points
    surface: Surface


@dataclass(eq=False)
class MeshBody:
    """The volumes of a figure's parts; those that are none say why.

    Attributes:
        mesh: all skins at the bind pose, metres.
        parts: names of the parts, as `mesh.owner` counts them.
        bind_m: ``(joints, 3)`` and `turns` ``(joints, 4)`` at the bind pose, NaN where unbound.
        spacing_m: points of the surface are no further apart.
    """

    mesh: Mesh
    parts: tuple[str, ...]
    bind_m: Floats
    turns: Floats
    spacing_m: float
    _volumes: dict[str, Volume | str] = field(default_factory=dict)
    _faults: dict[str, str] = field(default_factory=dict)
    _at_rest_m: dict[tuple[str, str], float] = field(default_factory=dict)

    def volume(self, part: str) -> Volume | str:
        """The part's volume, or why it has none."""
        if part not in self._volumes:
            self._volumes[part] = self._made(part)
        return self._volumes[part]

    @cached_property
    def is_whole(self) -> bool:
        """Whether the skin joins most of its parts; else it is a figure of rigid pieces.

        Such pieces overlap where they meet, and one often stands for several parts: what lies in
        what by right cannot be told from the parts.
        """
        own = np.unique(self.mesh.owner[self.mesh.owner >= 0])
        return len(joined_parts(self.mesh)) > 0.5 * len(own)

    def fault(self, part: str) -> str:
        """Why the part is no volume, as far as can be told without baking it; empty if it is."""
        known = self._volumes.get(part)
        if isinstance(known, Volume):
            return ""
        if known is None and part not in self._faults:
            self._faults[part] = self._cut(part)[0]
        return known or self._faults[part]

    def at_rest_m(self, parts: tuple[str, str], measure: Callable[[], float]) -> float:
        """How deep two parts lie in each other at the bind pose, measured once."""
        if parts not in self._at_rest_m:
            self._at_rest_m[parts] = measure()
        return self._at_rest_m[parts]

    def _made(self, part: str) -> Volume | str:
        fault, pieces = self._cut(part)
        made = [one for joint, cut in pieces if (one := self._solid(cut, joint)) is not None]
        if fault or not made:
            return fault or "it is not closed"
        row = self.parts.index(part)
        points = points_on(self.mesh, row, self.bind_m, self.turns, self.spacing_m)
        return Volume(tuple(made), points, self._surface(row))

    def _surface(self, row: int) -> Surface:
        whole = piece(self.mesh, self.mesh.owner == row, FEWEST_VERTICES)
        used, faces = np.unique(whole.faces, return_inverse=True)
        edges = np.searchsorted(used, whole.caps[:, :2])
        rings = whole.caps[:, 2] - len(self.mesh.points_m)
        vertices = vertices_of(self.mesh, used, self.bind_m, self.turns)
        return Surface(vertices, faces.reshape(-1, 3).astype(np.intp), edges, rings)

    def _cut(self, part: str) -> tuple[str, list[tuple[int, Piece]]]:
        """Why the part is no volume, and its rigid pieces with their joints."""
        if part not in self.parts:
            return "the mesh has nothing there", []
        cuts = [
            (joint, piece(self.mesh, chosen, FEWEST_VERTICES))
            for joint, chosen in rigid(self.mesh, self.parts.index(part)).items()
            if np.isfinite(self.bind_m[joint, 0])
        ]
        good = [(joint, cut) for joint, cut in cuts if not cut.fault]
        if good:
            return "", good
        return next((cut.fault for _, cut in cuts), "too few vertices"), []

    def _solid(self, cut: Piece, carrier: int) -> Solid | None:
        turn = self.turns[carrier][:, None]
        local = rotations.unrotate(turn, (cut.points_m - self.bind_m[carrier]).T).T
        grid = bake(local, cut.faces, cut.caps)
        return Solid(carrier, grid) if grid.is_closed and np.any(grid.values_m < 0.0) else None


def mesh_body(figure: Figure, skeleton: Skeleton, rest_positions_m: Floats) -> MeshBody | None:
    """The volumes of a figure's skins, made once for the same skins; None without any."""
    skins = [skin for skin in figure.skins if len(skin.vertices) and len(skin.triangles)]
    if not skins:
        return None
    key = _key(skins, figure, rest_positions_m)
    if key not in _MADE:
        _MADE[key] = _built(skins, figure, skeleton, rest_positions_m)
        while len(_MADE) > _KEPT:
            _MADE.popitem(last=False)
    _MADE.move_to_end(key)
    return _MADE[key]


def _key(skins: Sequence[Skin], figure: Figure, rest_positions_m: Floats) -> bytes:
    digest = hashlib.sha256(repr(sorted(figure.anatomy.part_of.items())).encode())
    digest.update(np.ascontiguousarray(rest_positions_m).tobytes())
    for skin in skins:
        arrays = (skin.vertices, skin.joints, skin.weights, skin.bind_positions)
        for array in (*arrays, skin.bind_rotations, skin.triangles):
            digest.update(np.ascontiguousarray(array).tobytes())
    return digest.digest()


def _built(
    skins: Sequence[Skin], figure: Figure, skeleton: Skeleton, rest_positions_m: Floats
) -> MeshBody | None:
    bind, turns = _union_bind(skins, len(skeleton))
    scale = scale_of(bind, skeleton, rest_positions_m)
    if scale is None:
        return None
    owner = {joint: _whole(part) for joint, part in owners(skeleton, figure.anatomy).items()}
    parts = tuple(sorted(set(owner.values())))
    code: Ints = np.full(len(skeleton), -1, dtype=np.intp)
    for joint, part in owner.items():
        code[joint] = parts.index(part)
    # A sixtieth of stature: 29 mm on a grown person, thinner than a wrist.
    spacing_m = (figure.stature_m if np.isfinite(figure.stature_m) else 1.75) / 60.0
    return MeshBody(mesh_of(skins, scale, code), parts, bind * scale, turns, spacing_m)


def _union_bind(skins: Sequence[Skin], joints: int) -> tuple[Floats, Floats]:
    """``(joints, 3)`` and ``(joints, 4)`` of all skins, the first that binds a joint."""
    places, turns = np.full((joints, 3), np.nan), np.full((joints, 4), np.nan)
    for skin in skins:
        new = np.isfinite(skin.bind_positions).all(axis=1) & np.isnan(places[:, 0])
        places[new], turns[new] = skin.bind_positions[new], skin.bind_rotations[new]
    return places, turns


def _whole(part: str) -> str:
    """Fingers count to the hand."""
    side, _, base = part.partition("_")
    return f"{side}_hand" if side in SIDES and base in DIGITS else part
