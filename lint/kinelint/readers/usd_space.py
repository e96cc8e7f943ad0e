"""The transform that takes a skeleton into the world: its prim's own and its ancestors'."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from pxr import Usd, UsdGeom

from kinelint.clip import LARGEST
from kinelint.errors import AssetError
from kinelint.kinematics.arrays import Floats
from kinelint.readers.gltf_nodes import SCALE_NOISE, decompose

_SAME = 1e-9
_MOST_SPLINE_CODES = 1_000_000


@dataclass(frozen=True, eq=False)
class Space:
    """Where a skeleton stands in the world.

    Attributes:
        prim: of the skeleton.
        codes: ``(keys,)`` time codes at which the transform is keyed; empty if it never changes.
        rest: ``(4, 4)`` to the world at the earliest time, for column vectors.
    """

    prim: Any
    codes: Floats
    rest: Floats

    @property
    def moves(self) -> bool:
        """Whether the transform changes over time."""
        return bool(len(self.codes))

    @property
    def is_identity(self) -> bool:
        """Whether the skeleton's own space is the world, always."""
        return not self.moves and bool(np.all(np.abs(self.rest - np.eye(4)) <= _SAME))

    def at(self, codes: Floats) -> Floats:
        """``(frames, 4, 4)`` to the world at each time code."""
        # USD interpolates each transform op in its own way, and only it can say the result.
        cache = UsdGeom.XformCache()
        found = np.empty((len(codes), 4, 4))
        for frame, code in enumerate(codes.tolist()):
            cache.SetTime(Usd.TimeCode(code))
            found[frame] = cache.GetLocalToWorldTransform(self.prim)
        return found.transpose(0, 2, 1)


def space_of(prim: Any) -> Space:
    """The space of a Skeleton prim.

    Raises:
        AssetError: a transform at rest that is not finite.
    """
    cache = UsdGeom.XformCache(Usd.TimeCode.EarliestTime())
    rest = np.array(cache.GetLocalToWorldTransform(prim), dtype=np.float64).T
    if not np.all(np.abs(rest) <= LARGEST):
        mend = "Mend the transform of the prim or of those above it."
        what = "its transform holds what is no number or no length"
        raise AssetError(what, place=str(prim.GetPath()), mend=mend)
    return Space(prim, _codes(prim), rest)


def parts(matrices: Floats) -> tuple[Floats, Floats, Floats, int]:
    """``(n, 4, 4)`` as translations, quaternions and scales; how many had a shear that was lost.

    All three are NaN where a matrix holds what is no number or no length.
    """
    good = np.all(np.abs(matrices) <= LARGEST, axis=(1, 2))
    turned, scales = np.full((len(matrices), 4), np.nan), np.full((len(matrices), 3), np.nan)
    turned[good], scales[good], lost = decompose(matrices[good, :3, :3])
    scales[np.abs(scales - 1.0) <= SCALE_NOISE] = 1.0
    shifts = np.where(good[:, None], matrices[:, :3, 3], np.nan)
    return shifts, turned, scales, int(np.sum(lost))


def _codes(prim: Any) -> Floats:
    """Sorted time codes at which the prim's or an ancestor's transform is keyed."""
    codes: set[float] = set()
    while prim and not prim.IsPseudoRoot():
        xformable = UsdGeom.Xformable(prim)
        if xformable:
            ops = xformable.GetOrderedXformOps()
            if xformable.TransformMightBeTimeVarying():
                for op in ops:
                    codes.update(op.GetTimeSamples())
                    codes.update(_spline_codes(op.GetAttr()))
            if xformable.GetResetXformStack():
                break
        prim = prim.GetParent()
    found = np.array(sorted(codes))
    return found if len(found) > 1 else np.empty(0)


def _spline_codes(attribute: Any) -> list[float]:
    """Whole time codes along a spline, which is no straight line between its knots."""
    # Older releases of usd-core have no splines.
    if not hasattr(attribute, "HasSpline") or not attribute.HasSpline():
        return []
    knots = sorted(float(one) for one in attribute.GetSpline().GetKnots())
    if len(knots) < 2 or knots[-1] - knots[0] > _MOST_SPLINE_CODES:
        return knots
    return [*knots, *np.arange(np.ceil(knots[0]), knots[-1]).tolist()]
