"""Arrays of a SkelAnimation over time, each value as USD gives it at that moment.

Source: OpenUSD documentation, UsdSkelAnimation: translations, rotations and scales of the joints
that the animation lists; blend shape weights of the shapes that it lists.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from pxr import Usd, Vt

from kinelint.clip import LARGEST
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.readers.usd_values import Fail, names

JOINT_ARRAYS = {"translations": 3, "rotations": 4, "scales": 3}
_TYPES = {
    "translations": "Vec3fArray",
    "rotations": "QuatfArray",
    "scales": "Vec3hArray",
    "blendShapeWeights": "FloatArray",
}
Singles: TypeAlias = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Source:
    """One SkelAnimation prim.

    Attributes:
        prim: the prim.
        error: makes the error to raise.
        odd_types: arrays met so far that have another type than the schema's.
    """

    prim: Any
    error: Fail
    odd_types: list[str] = field(default_factory=list)

    @cached_property
    def path(self) -> str:
        """Of the prim."""
        return str(self.prim.GetPath())

    @cached_property
    def joints(self) -> list[str]:
        """Tokens of the joints that it moves."""
        return names(self.prim.GetAttribute("joints"), self.error)

    @cached_property
    def shapes(self) -> list[str]:
        """Names of the blend shapes that it weighs."""
        return names(self.prim.GetAttribute("blendShapes"), self.error)

    @cached_property
    def missing(self) -> list[str]:
        """Which of translations, rotations and scales are not authored."""
        return [name for name in JOINT_ARRAYS if not self.prim.GetAttribute(name).HasValue()]

    def codes(self) -> Floats:
        """``(keys,)`` sorted time codes of all arrays; those of one alone if none changes."""
        found: set[float] = set()
        for name in (*JOINT_ARRAYS, "blendShapeWeights"):
            found.update(self.prim.GetAttribute(name).GetTimeSamples() or ())
        return np.array(sorted(found))

    def joint_array(self, name: str, codes: Floats) -> tuple[Singles, Bools]:
        """``(frames or 1, joints, components)``, and at which frames nothing is authored.

        Raises:
            AssetError: an array of another length than the joints; absurd numbers.
        """
        return self._sampled(name, codes, len(self.joints), JOINT_ARRAYS[name])

    def weights(self, codes: Floats) -> Floats:
        """``(shapes, frames or 1)`` blend shape weights; 0 where nothing is authored."""
        values, blocked = self._sampled("blendShapeWeights", codes, len(self.shapes), 1)
        return np.where(blocked[:, None], 0.0, values[..., 0]).T.astype(np.float64)

    def _sampled(self, name: str, codes: Floats, count: int, width: int) -> tuple[Singles, Bools]:
        query = Usd.AttributeQuery(self.prim, name)
        if not query.ValueMightBeTimeVarying():
            codes = codes[:1]
        found = np.zeros((len(codes), count, width), dtype=np.float32)
        rows = found if width > 1 else found[..., 0]
        blocked = np.zeros(len(codes), dtype=np.bool_)
        usual = getattr(Vt, _TYPES[name])
        # One call a frame: only USD knows how value clips, blocks and layers mix in between.
        for frame, code in enumerate(codes.tolist()):
            value = query.Get(code)
            if type(value) is usual and len(value) == count:
                rows[frame] = value
            elif value is None:
                blocked[frame] = True
            else:
                rows[frame] = self._odd(value, name, code, rows.shape[1:])
        if max(found.max(initial=0.0), -found.min(initial=0.0)) > LARGEST:
            what = f"{name} hold a number that no motion has"
            raise self.error(what, f"{self.path}.{name}")
        return found, blocked

    def _odd(self, value: Any, name: str, code: float, shape: tuple[int, ...]) -> Singles:
        """An array of another type than the schema's, if it fits all the same."""
        kind, place = type(value).__name__, f"{self.path}.{name}"
        said = f"{name} are a {kind}"
        if kind != _TYPES[name] and said not in self.odd_types:
            self.odd_types.append(said)
        try:
            array = np.atleast_1d(np.asarray(value, dtype=np.float32))
        except (TypeError, ValueError) as problem:
            raise self.error(f"{said} at time {code:g}", place) from problem
        if len(array) != shape[0]:
            what = f"{shape[0]} joints have {len(array)} {name} at time {code:g}"
            if name == "blendShapeWeights":
                what = f"{shape[0]} blend shapes have {len(array)} weights at time {code:g}"
            raise self.error(what, place)
        if array.shape != shape:
            raise self.error(f"{said} at time {code:g}", place)
        return array
