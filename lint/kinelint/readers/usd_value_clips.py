"""Value clips: the layers that prims name in their metadata to take time samples from.

Source: OpenUSD documentation, "Sequencing of Value Clips".
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from kinelint.errors import AssetError

_MOST_STEPS = 10_000
_HASHES = re.compile(r"^(?P<head>[^#]*)(?P<whole>#+)(?:\.(?P<part>#+))?(?P<tail>[^#]*)$")


def clip_paths(clips: Any, layer: Any, path: str, place: str) -> set[str]:
    """The asset paths of all value clips in a prim's metadata, as authored.

    Raises:
        AssetError: a template that stands for too many files, or cannot be looked up safely.
    """
    sets = clips.values() if isinstance(clips, Mapping) else ()
    return {named for one in sets for named in _of_set(one, layer, path, place)} - {""}


def _of_set(one: Any, layer: Any, path: str, place: str) -> Iterator[str]:
    if not isinstance(one, Mapping):
        return
    listed = one.get("assetPaths") or ()
    for asset in (*(listed if hasattr(listed, "__iter__") else ()), one.get("manifestAssetPath")):
        if asset is not None:
            yield str(getattr(asset, "path", asset))
    template = one.get("templateAssetPath")
    if template is not None:
        yield from _of_template(str(template), one, layer, path, place)


def _of_template(
    template: str, one: Mapping[str, Any], layer: Any, path: str, place: str
) -> Iterator[str]:
    def error(what: str) -> AssetError:
        mend = "Name the clips by assetPaths, or flatten the stage."
        return AssetError(what, path=path, place=place, mend=mend)

    match = _HASHES.match(template)
    if not template.startswith("./") or ".." in template or match is None or "/" in match["tail"]:
        raise error(f"the template {template!r} of value clips is not of the form ./name.###.usd")
    names = ("templateStartTime", "templateEndTime", "templateStride")
    start, end, stride = (_number(one.get(name), math.nan) for name in names)
    # Written so that a NaN is refused too.
    if not (stride > 0.0 and 0.0 <= (end - start) / stride <= _MOST_STEPS):
        raise error(f"value clips from {start:g} to {end:g} by {stride:g} are too many, or none")
    folder, _, first = match["head"].rpartition("/")
    number = r"-?\d+" + (r"\.\d+" if match["part"] else "")
    wanted = re.compile(re.escape(first) + number + re.escape(match["tail"]))
    beside = Path(layer.identifier).parent / folder
    if not Path(layer.identifier).is_absolute() or not beside.is_dir():
        raise error(f"there is no folder for the value clips {template!r}")
    for file in beside.iterdir():
        if wanted.fullmatch(file.name):
            yield f"{folder}/{file.name}"


def _number(value: Any, otherwise: float) -> float:
    return float(value) if isinstance(value, (int, float)) else otherwise
