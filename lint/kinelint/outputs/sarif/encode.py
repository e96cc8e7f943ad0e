"""Values to JSON bytes; no lone surrogate and no NaN gets through."""

from __future__ import annotations

import math
from typing import Any

import orjson


def encoded(value: Any) -> bytes:
    """Minified JSON. Characters that UTF-8 cannot hold become U+FFFD."""
    try:
        return orjson.dumps(value)
    except orjson.JSONEncodeError:
        return orjson.dumps(_mended(value))


def _mended(value: Any) -> Any:
    if isinstance(value, str):
        return value.encode("utf-16", "surrogatepass").decode("utf-16", "replace")
    if isinstance(value, dict):
        return {_mended(key): _mended(one) for key, one in value.items()}
    if isinstance(value, list | tuple):
        return [_mended(one) for one in value]
    return value


def finite(value: float | None) -> bool:
    """Whether it is a number that JSON can hold."""
    return value is not None and math.isfinite(value)


def plain_value(value: Any) -> Any:
    """A setting's value for a property bag: JSON as it is, other things as text."""
    if isinstance(value, float):
        return value if math.isfinite(value) else str(value)
    if isinstance(value, dict):
        return {str(key): plain_value(one) for key, one in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain_value(one) for one in value]
    return value if value is None or isinstance(value, str | int | bool) else str(value)
