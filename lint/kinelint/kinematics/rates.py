"""Rates of change. The rate at frame f is the change from f-1 to f; frame 0 repeats frame 1."""

from __future__ import annotations

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints

# Up to this many frames one reading at given times costs less than edges and inside apart.
_FEW = 400


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
    reach = int(np.ceil(window_s / 2.0 * sample_rate_hz)) + 1
    if frames <= max(2 * reach, _FEW):
        return _velocity_at(values, sample_rate_hz, window_s, np.arange(frames))
    out = np.empty(values.shape)
    for edge in (np.arange(reach), np.arange(frames - reach, frames)):
        out[..., edge] = _velocity_at(values, sample_rate_hz, window_s, edge)
    lag, inside = window_s / 2.0 * sample_rate_hz, (reach, frames - reach)
    ahead = shifted(values, lag, *inside)
    ahead -= shifted(values, -lag, *inside)
    ahead /= window_s
    out[..., reach:-reach] = ahead
    return out


def _velocity_at(values: Floats, sample_rate_hz: float, window_s: float, frames: Ints) -> Floats:
    """The same at some frames, the window cut to what there is."""
    end, times = (values.shape[-1] - 1) / sample_rate_hz, frames / sample_rate_hz
    before = np.maximum(times - window_s / 2.0, 0.0)
    after = np.minimum(times + window_s / 2.0, end)
    both = at_times(values, sample_rate_hz, np.concatenate((after, before)))
    change = both[..., : frames.size] - both[..., frames.size :]
    return np.asarray(change / (after - before))


def at_times(values: Floats, sample_rate_hz: float, times_s: Floats) -> Floats:
    """``(..., frames)`` read at times from the first frame, linearly between frames."""
    place = np.asarray(times_s) * sample_rate_hz
    place = np.minimum(np.maximum(place, 0.0), values.shape[-1] - 1.0)
    low = np.minimum(place.astype(np.intp), max(values.shape[-1] - 2, 0))
    high = np.minimum(low + 1, values.shape[-1] - 1)
    share = place - low
    return np.asarray(values[..., low] * (1.0 - share) + values[..., high] * share)


def shifted(values: Floats, by_frames: float, first: int, last: int) -> Floats:
    """``(..., last - first)`` read a fixed way off frames `first` to `last`, `last` left out.

    Linear between frames, and a tenth of the work of `at_times`; all that is read must be there.
    """
    low = int(np.floor(by_frames))
    share = by_frames - low
    # Whole frames within rounding: 0.05 s at 60 Hz are three.
    if share < 1e-9 or share > 1.0 - 1e-9:
        off = round(by_frames)
        return np.array(values[..., first + off : last + off])
    read = values[..., first + low : last + low] * (1.0 - share)
    read += values[..., first + low + 1 : last + low + 1] * share
    return np.asarray(read)
