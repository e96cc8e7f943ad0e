"""Rates of change. The rate at frame f is the change from f-1 to f; frame 0 repeats frame 1."""

from __future__ import annotations

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats


def rate(values: Floats, sample_rate_hz: float) -> Floats:
    """Change of ``(..., frames)`` a second; zero everywhere if there is one frame only."""
    if values.shape[-1] < 2:
        return np.zeros_like(values)
    change = np.diff(values, axis=-1) * sample_rate_hz
    return np.concatenate((change[..., :1], change), axis=-1)


def turn_rate(q: Floats, sample_rate_hz: float) -> Floats:
    """How fast rotations ``(..., 4, frames)`` turn, rad/s, ``(..., frames)``; never negative."""
    if q.shape[-1] < 2:
        return np.zeros((*q.shape[:-2], q.shape[-1]))
    turned = rotations.angle_between(q[..., :-1], q[..., 1:]) * sample_rate_hz
    return np.concatenate((turned[..., :1], turned), axis=-1)


def windowed_velocity(values: Floats, sample_rate_hz: float, window_s: float) -> Floats:
    """Central change over a window of fixed length in seconds: ``(..., frames)`` a second.

    The window is the same time at every frame rate, so that a threshold on it gives the same
    verdict at 30, 60 and 120 Hz; near the ends it is cut to what there is.
    """
    frames = values.shape[-1]
    if frames < 2:
        return np.zeros_like(values)
    half = window_s / 2.0
    times = np.arange(frames) / sample_rate_hz
    before = np.clip(times - half, 0.0, times[-1])
    after = np.clip(times + half, 0.0, times[-1])
    change = at_times(values, sample_rate_hz, after) - at_times(values, sample_rate_hz, before)
    return np.asarray(change / (after - before))


def at_times(values: Floats, sample_rate_hz: float, times_s: Floats) -> Floats:
    """``(..., frames)`` read at times from the first frame, linearly between frames."""
    place = np.clip(np.asarray(times_s) * sample_rate_hz, 0.0, values.shape[-1] - 1.0)
    low = np.minimum(place.astype(np.intp), max(values.shape[-1] - 2, 0))
    high = np.minimum(low + 1, values.shape[-1] - 1)
    share = place - low
    return np.asarray(values[..., low] * (1.0 - share) + values[..., high] * share)
