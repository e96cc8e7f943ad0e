"""Slow trends: what a quantity does from one end of a take to the other, whatever else it does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.kinematics.arrays import Bools, Floats

_LEAST_WINDOWS = 6


@dataclass(frozen=True)
class Trend:
    """A straight line through the medians of equal windows.

    Attributes:
        total: change from the first frame to the last, in the unit of the values.
        spread: median distance of the windows from the line.
        steady: share of pairs of windows that change in the line's own direction, 0.5 to 1.
    """

    total: float
    spread: float
    steady: float


def trend(
    values: Floats, sample_rate_hz: float, window_s: float, use: Bools | None = None
) -> Trend | None:
    """The trend of ``(frames,)``, robust against what happens in between (Theil-Sen).

    Args:
        values: over the frames.
        sample_rate_hz: of the frames.
        window_s: length of a window.
        use: frames that count; windows of which less than a fifth does are left out.

    Returns:
        None if there are fewer than six windows.
    """
    size = max(round(window_s * sample_rate_hz), 1)
    count = values.size // size
    if count < _LEAST_WINDOWS:
        return None
    shaped = values[: count * size].reshape(count, size)
    if use is None:
        middles, kept = np.median(shaped, axis=1), np.arange(count)
    else:
        allowed = use[: count * size].reshape(count, size)
        kept = np.flatnonzero(allowed.mean(axis=1) >= 0.2)
        middles = np.array([np.median(shaped[i][allowed[i]]) for i in kept])
    if len(kept) < _LEAST_WINDOWS:
        return None
    first, second = np.triu_indices(len(kept), 1)
    slopes = (middles[second] - middles[first]) / (kept[second] - kept[first])
    slope = float(np.median(slopes))
    level = float(np.median(middles - slope * kept))
    spread = float(np.median(np.abs(middles - slope * kept - level)))
    steady = float(np.mean(np.sign(slopes) == np.sign(slope))) if slope else 0.5
    return Trend(slope * (values.size - 1) / size, spread, steady)
