"""Every layer that a layer names: sublayers, references, payloads and value clips.

Looked up field by field. The library's own list of them ends the process on a damaged file.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from pxr import Sdf

from kinelint.errors import AssetError
from kinelint.readers.usd_value_clips import clip_paths
from kinelint.readers.usd_words import MEND

_ITEMS = ("explicitItems", "addedItems", "prependedItems", "appendedItems")


@dataclass(frozen=True, order=True)
class Arc:
    """One layer that is named.

    Attributes:
        named: the asset path as authored.
        place: the path of the prim that names it; "" for sublayers.
        is_clip: whether it is a value clip, which composition does not look for.
    """

    named: str
    place: str
    is_clip: bool = False


def arcs_of(layer: Any, path: str, place: str) -> list[Arc]:
    """All arcs of a layer to others, those of variants that are not selected included.

    Raises:
        AssetError: fields that hold something else than they should; as of `clip_paths`.
    """
    try:
        found = set(_arcs(layer, path, place))
    except (AttributeError, TypeError) as problem:
        what = "a damaged file: what its prims are composed of is no list of names"
        raise AssetError(what, path=path, place=place, mend=MEND) from problem
    # Without an asset path an arc leads to another prim of the same layer.
    return sorted(arc for arc in found if arc.named)


def _arcs(layer: Any, path: str, place: str) -> Iterator[Arc]:
    for one in layer.subLayerPaths:
        yield Arc(str(one), "")
    for at, spec in _prims(layer):
        for field in ("references", "payload"):
            if spec.HasInfo(field):
                listed = spec.GetInfo(field)
                for item in (item for name in _ITEMS for item in getattr(listed, name)):
                    yield Arc(str(item.assetPath), str(at))
        if spec.HasInfo("clips"):
            for one in clip_paths(spec.GetInfo("clips"), layer, path, f"{place}{at}"):
                yield Arc(one, str(at), is_clip=True)


def _prims(layer: Any) -> Iterator[tuple[Any, Any]]:
    """Path and spec of every prim and variant."""
    waiting = [Sdf.Path.absoluteRootPath]
    while waiting:
        at = waiting.pop()
        spec = layer.GetObjectAtPath(at)
        # A damaged file may list children that it does not hold.
        if at.isEmpty or spec is None:
            continue
        yield at, spec
        waiting += [at.AppendChild(name) for name in spec.GetInfo("primChildren")]
        for name in spec.GetInfo("variantSetChildren"):
            variants = layer.GetObjectAtPath(at.AppendVariantSelection(name, ""))
            for variant in variants.GetInfo("variantChildren") if variants else ():
                waiting.append(at.AppendVariantSelection(name, variant))
