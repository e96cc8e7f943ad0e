"""Array types, and the one way to freeze an array."""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.intp]
Bools: TypeAlias = NDArray[np.bool_]


def frozen(values: ArrayLike, dtype: Any = np.float64) -> Any:
    """A read-only, contiguous array of `values`; copies only if it must."""
    array = np.ascontiguousarray(values, dtype=dtype)
    if array.flags.writeable:
        array = array.view()
        array.flags.writeable = False
    return array


def runs_of(mask: ArrayLike) -> tuple[Ints, Ints]:
    """First and last index of each run of true in ``(n,)``."""
    flags = np.asarray(mask, dtype=np.bool_)
    if not flags.any():
        none = np.empty(0, dtype=np.intp)
        return none, none
    edges = np.flatnonzero(flags[1:] != flags[:-1]) + 1
    if flags[0]:
        edges = np.concatenate(([0], edges))
    if flags[-1]:
        edges = np.concatenate((edges, [flags.size]))
    return edges[::2], edges[1::2] - 1
