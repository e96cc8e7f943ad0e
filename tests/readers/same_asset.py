"""Whether two assets say the same, to the last bit."""

from __future__ import annotations

import dataclasses

import numpy as np

from kinelint.clip import Asset, Clip, LongTurns, Skeleton, Skin, Source

_KINDS = (Asset, Clip, LongTurns, Skeleton, Skin, Source)


def differences(one: object, other: object, where: str = "asset") -> list[str]:
    """Where they differ; empty if they are the same."""
    if type(one) is not type(other):
        return [f"{where}: {type(one).__name__} and {type(other).__name__}"]
    if isinstance(one, _KINDS):
        names = [field.name for field in dataclasses.fields(one)]
        pairs = [(getattr(one, name), getattr(other, name), f"{where}.{name}") for name in names]
        return [found for pair in pairs for found in differences(*pair)]
    if isinstance(one, np.ndarray):
        same = one.shape == other.shape and one.dtype == other.dtype
        return [] if same and one.tobytes() == other.tobytes() else [where]
    if isinstance(one, tuple):
        if len(one) != len(other):
            return [f"{where}: {len(one)} and {len(other)}"]
        numbered = enumerate(zip(one, other, strict=True))
        return [found for n, pair in numbered for found in differences(*pair, f"{where}[{n}]")]
    return [] if one == other else [f"{where}: {one!r} and {other!r}"]
