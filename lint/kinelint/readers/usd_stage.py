"""A USD file composed to a stage, and what the stage says of lengths, axes and time."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pxr import Tf, Usd, UsdGeom

from kinelint.errors import AssetError
from kinelint.finding import Note
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd_layers import Layers
from kinelint.readers.usd_sniff import CRATE
from kinelint.readers.usd_words import MEND, plain, translated

_MOST_PRIMS = 1_000_000
# Instances within instances multiply: few lines can stand for any number of prims.
_MOST_COPIES = 50_000
_SKELETAL = ("SkelRoot", "Skeleton", "SkelAnimation")
_BROKEN_ARCS = {
    "ErrorArcCycle",
    "ErrorArcPermissionDenied",
    "ErrorArcToProhibitedChild",
    "ErrorCapacityExceeded",
    "ErrorInvalidAssetPath",
    "ErrorInvalidPrimPath",
    "ErrorInvalidSublayerPath",
    "ErrorMutedAssetPath",
    "ErrorSublayerCycle",
    "ErrorUnresolvedPrimPath",
    "ErrorVariableExpressionError",
}


@dataclass(frozen=True, eq=False)
class Scene:
    """A composed file.

    Attributes:
        path: of the file, for errors.
        layers: that it is composed of.
        stage: all of it, payloads included.
        codes_per_second: time codes to seconds.
        metres_per_unit, up_axis: as `Clip` has them.
        media: "usda", "usdc" or "usdz", by content.
        notes: what was assumed.
    """

    path: Path
    layers: Layers
    stage: Any
    codes_per_second: float
    metres_per_unit: float | None
    up_axis: str | None
    media: str
    notes: list[Note] = field(default_factory=list)

    def error(self, what: str, place: str = "", mend: str = MEND) -> AssetError:
        """An error that names the file and the prim."""
        return AssetError(what, path=str(self.path), place=place, mend=mend)

    def prims(self) -> Iterator[Any]:
        """Every active, loaded and defined prim; of instances those that hold something skeletal.

        Raises:
            AssetError: there are too many.
        """
        every = iter(Usd.PrimRange.Stage(self.stage, Usd.TraverseInstanceProxies()))
        bony: dict[str, bool] = {}
        copies = 0
        for count, prim in enumerate(every):
            copies += prim.IsInstanceProxy()
            if count >= _MOST_PRIMS or copies > _MOST_COPIES:
                what = f"is composed of more than {_MOST_PRIMS} prims, or than {_MOST_COPIES}"
                raise self.error(f"{what} in instances", mend="Split or flatten it.")
            if prim.IsInstance() and not _is_bony(prim.GetPrototype(), bony):
                every.PruneChildren()
            yield prim


def _is_bony(prototype: Any, known: dict[str, bool]) -> bool:
    """Whether a prototype, or one of an instance in it, holds a skeleton or an animation."""
    path = str(prototype.GetPath())
    if path not in known:
        known[path] = False
        known[path] = any(
            str(prim.GetTypeName()) in _SKELETAL
            or (prim.IsInstance() and _is_bony(prim.GetPrototype(), known))
            for prim in Usd.PrimRange(prototype)
        )
    return known[path]


def open_scene(path: Path, options: ReadOptions) -> Scene:
    """Open and compose a file.

    Raises:
        AssetError: as of `Layers.open`; an arc that leads nowhere or round in a circle; time codes
            that no second can be told from.
    """
    layers = Layers(path, options)
    layers.open()
    try:
        stage = Usd.Stage.Open(layers.root, None)
    except Tf.ErrorException as problem:
        raise translated(problem, str(path)) from problem
    for broken in stage.GetCompositionErrors():
        if type(broken).__name__ in _BROKEN_ARCS:
            what = f"cannot be composed: {plain(str(broken), str(path))}"
            mend = "Mend or remove that reference, or flatten the stage."
            raise AssetError(what, path=str(path), place=str(broken.rootSite.path), mend=mend)
    layers.check_used(stage)
    notes: list[Note] = []
    rate = _codes_per_second(stage, path, notes)
    unit, axis = _metres_per_unit(stage, notes), _up_axis(stage, notes)
    return Scene(path, layers, stage, rate, unit, axis, _media(layers.root), notes)


def _media(layer: Any) -> str:
    if layer.fileExtension == "usdz":
        return "usdz"
    with Path(layer.realPath).open("rb") as file:
        return "usdc" if file.read(len(CRATE)) == CRATE else "usda"


def _codes_per_second(stage: Any, path: Path, notes: list[Note]) -> float:
    rate = float(stage.GetTimeCodesPerSecond())
    if not (math.isfinite(rate) and rate > 0.0):
        what = f"timeCodesPerSecond is {rate:g}: no time can be told from it"
        raise AssetError(what, path=str(path), mend="Set it to the rate of the time codes.")
    layer = stage.GetRootLayer()
    if not (layer.HasTimeCodesPerSecond() or layer.HasFramesPerSecond()):
        text = f"timeCodesPerSecond is not authored; it was taken as {rate:g}, USD's default"
        notes.append(Note("time", text))
    return rate


def _metres_per_unit(stage: Any, notes: list[Note]) -> float | None:
    unit = float(UsdGeom.GetStageMetersPerUnit(stage))
    if not UsdGeom.StageHasAuthoredMetersPerUnit(stage):
        text = f"metersPerUnit is not authored; it was taken as {unit:g}, USD's default"
        notes.append(Note("unit", text))
    elif not (math.isfinite(unit) and unit > 0.0):
        notes.append(Note("unit", f"metersPerUnit is {unit:g}, which is no length; it is not used"))
        return None
    return unit


def _up_axis(stage: Any, notes: list[Note]) -> str | None:
    axis = str(UsdGeom.GetStageUpAxis(stage))
    if not stage.HasAuthoredMetadata("upAxis"):
        notes.append(Note("up-axis", f"upAxis is not authored; it was taken as {axis}"))
    elif axis.lower() not in ("x", "y", "z"):
        notes.append(Note("up-axis", f"upAxis is {axis!r}, which is no axis; it is not used"))
        return None
    return axis.lower()
