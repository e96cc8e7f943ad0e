"""Smooth curves through keys, for everything that a body does."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike

from making.turns import Array


def times(seconds: float, rate_hz: float) -> Array:
    """Frame times from 0 to `seconds`, both included."""
    return np.arange(round(seconds * rate_hz) + 1) / rate_hz


def ease(t: Array) -> Array:
    """0 to 1 with no speed and no acceleration at either end."""
    s = np.clip(t, 0.0, 1.0)
    return np.asarray(s**3 * (10.0 - 15.0 * s + 6.0 * s**2))


def keyed(t: Array, keys: Sequence[tuple[float, ArrayLike]]) -> Array:
    """Eases from key to key and rests at each: (frames,) or (frames, n)."""
    values = np.array([np.atleast_1d(np.asarray(value, dtype=np.float64)) for _, value in keys])
    at = np.array([time for time, _ in keys])
    out = np.tile(values[0], (len(t), 1))
    for i in range(len(at) - 1):
        share = ease((t - at[i]) / (at[i + 1] - at[i]))
        out += share[:, None] * (values[i + 1] - values[i])
    return out[:, 0] if np.ndim(keys[0][1]) == 0 else out


def bump(t: Array, start: float, end: float, ramp: float) -> Array:
    """0, up to 1 in `ramp` seconds, 1, and back to 0 at `end`."""
    return ease((t - start) / ramp) * ease((end - t) / ramp)
