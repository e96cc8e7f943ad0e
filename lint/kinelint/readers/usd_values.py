"""Attribute values as arrays and names, whatever a damaged file holds in their place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from pxr import Vt

from kinelint.clip import LARGEST
from kinelint.errors import AssetError
from kinelint.kinematics.arrays import Floats, Ints

Fail = Callable[[str, str], AssetError]
"""Makes the error to raise from what is wrong and the place."""


def names(attribute: Any, fail: Fail) -> list[str]:
    """The names in a token array; none if it is not authored.

    Raises:
        AssetError: it holds something else.
    """
    value = attribute.Get() if attribute else None
    if value is None:
        return []
    if not isinstance(value, (Vt.TokenArray, Vt.StringArray)):
        raise fail("is no list of names", str(attribute.GetPath()))
    return [str(one) for one in value]


def numbers(value: Any, shape: tuple[int, ...], place: str, fail: Fail) -> Floats:
    """``(n, *shape)`` numbers; none if nothing is authored.

    Raises:
        AssetError: they have another shape, or are not finite, or larger than any length.
    """
    found: Floats = _array(value, np.float64, shape, place, fail)
    good = np.abs(found) <= LARGEST
    if not good.all():
        at = int(np.argmin(good.reshape(len(found), -1).all(axis=1)))
        raise fail(f"value {at} holds what is no number or no length", place)
    return found


def wholes(value: Any, place: str, fail: Fail) -> Ints:
    """``(n,)`` whole numbers; none if nothing is authored.

    Raises:
        AssetError: they have another shape.
    """
    found: Ints = _array(value, np.intp, (), place, fail)
    return found


def _array(value: Any, kind: Any, shape: tuple[int, ...], place: str, fail: Fail) -> Any:
    if value is None:
        return np.empty((0, *shape), dtype=kind)
    try:
        found = np.array(value, dtype=kind)
    except (TypeError, ValueError, OverflowError) as problem:
        raise fail("holds no numbers", place) from problem
    if not found.size:
        return np.empty((0, *shape), dtype=kind)
    if found.ndim < 1 or found.shape[1:] != shape:
        raise fail("holds values of another kind", place)
    return found
