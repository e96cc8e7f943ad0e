"""What of a motion lies above the frequencies at which people move on purpose.

The filter is the square of "signal less its triangular mean": short (a third of a second), without
phase, blind to anything that is a cubic in time. With the mean a sixth of a second wide it lets
2 Hz pass at 0.008, 4 Hz at 0.10, 8 Hz at 0.69 and 11 Hz and more at 0.97 to 1.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from kinelint.kinematics.arrays import Floats, Ints, frozen
from kinelint.motion import Motion

# Half the width of the triangular mean.
HALF_S = 1.0 / 12.0
# What swings slower is no shake; a signal that swings at most so fast is the joint's own.
CUT_HZ = 8.0
# A shake's strength is told over this: a period at 8 Hz.
PERIOD_S = 0.125
# Sine waves: peak to peak over root mean square.
PEAK_TO_PEAK = 2.0 * np.sqrt(2.0)
_LEAST_HZ = 23.0
_CHUNK_S = 0.5
_SCREEN_CHUNK = 20
# Of the fourth difference over a thirtieth of a second, at 8 Hz; 16 at 15 Hz, 8.4 for noise.
_LEAST_GAIN = 4.8


def shows_shakes(rate_hz: float) -> bool:
    """Whether the rate holds frequencies enough above the cut-off."""
    return rate_hz >= _LEAST_HZ


@cache
def high_pass(rate_hz: float) -> Floats:
    """``(taps,)`` of the filter, odd, symmetric; its sum is 0."""
    half = HALF_S * rate_hz
    apart = np.arange(-int(np.ceil(half)) + 1, int(np.ceil(half)))
    mean = np.maximum(1.0 - np.abs(apart) / half, 0.0)
    less = -mean / mean.sum()
    less[apart == 0] += 1.0
    return np.asarray(frozen(np.convolve(less, less)))


@cache
def band_below(rate_hz: float) -> Floats:
    """``(taps,)`` of what lies just below the cut-off, 3 to 7 Hz: the joint's own quick motion."""
    less = high_pass(rate_hz)
    wide = high_pass(2.0 * rate_hz)  # the same taps, read at half the frequency
    out = wide.copy()
    pad = (wide.size - less.size) // 2
    out[pad : pad + less.size] -= less
    return np.asarray(frozen(out))


def gain(rate_hz: float, hz: float) -> float:
    """How much of a sine wave the filter lets pass."""
    taps = high_pass(rate_hz)
    apart = np.arange(taps.size) - taps.size // 2
    return float(np.sum(taps * np.cos(2.0 * np.pi * hz * apart / rate_hz)))


def filtered(series: Floats, taps: Floats) -> Floats:
    """``(rows, frames)`` filtered; the ends go on as they are mirrored through their last value."""
    reach = taps.size // 2
    reach = min(reach, series.shape[-1] - 1)
    head = 2.0 * series[:, :1] - series[:, reach:0:-1]
    tail = 2.0 * series[:, -1:] - series[:, -2 : -reach - 2 : -1]
    whole = np.concatenate((head, series, tail), axis=1)
    cut = taps.size // 2 - reach
    taps = taps[cut : taps.size - cut]
    return np.stack([np.convolve(row, taps, mode="valid") for row in whole])


def smooth_signs(q: Floats) -> Floats:
    """Quaternions ``(4, frames)`` whose sign never changes from frame to frame."""
    dots = np.einsum("cf,cf->f", q[:, 1:], q[:, :-1])
    if np.all(dots >= 0.0):
        return q
    signs = np.cumprod(np.where(dots < 0.0, -1.0, 1.0))
    out = q.copy()
    out[:, 1:] *= signs
    return out


def strength(residual: Floats, rate_hz: float, over_s: float = PERIOD_S) -> Floats:
    """``(frames,)`` peak to peak of the sine wave as strong as ``(rows, frames)`` is around."""
    power = np.einsum("cf,cf->f", residual, residual)
    size = max(2 * round(over_s * rate_hz / 2.0) + 1, 3)
    size = min(size, power.size - 1 + power.size % 2)
    summed = np.concatenate(([0.0], np.cumsum(power)))
    middle = np.arange(power.size)
    first = np.maximum(middle - size // 2, 0)
    last = np.minimum(middle + size // 2 + 1, power.size)
    mean = np.maximum(summed[last] - summed[first], 0.0) / (last - first)
    return np.asarray(PEAK_TO_PEAK * np.sqrt(mean))


def main_frequency(residual: Floats, rate_hz: float) -> tuple[float, float]:
    """Frequency that most of ``(rows, frames)`` swings at, and the share of the power near it."""
    frames = residual.shape[-1]
    window = np.hanning(frames + 2)[1:-1]
    size = max(256, 1 << int(np.ceil(np.log2(4 * frames))))
    power = np.sum(np.abs(np.fft.rfft(residual * window, size, axis=-1)) ** 2, axis=0)
    hz = np.fft.rfftfreq(size, 1.0 / rate_hz)
    total = float(power.sum())
    if total <= 0.0:
        return 0.0, 0.0
    best = float(hz[int(np.argmax(power))])
    near = np.abs(hz - best) <= 1.5
    return best, float(power[near].sum()) / total


def rough(motion: Motion) -> Floats:
    """``(joints,)`` the most that any half second of a joint's turns may shake, degrees.

    A screen, cheap and sooner too large than too small: the fourth difference over a thirtieth of
    a second tells slow from quick, and is looked at some forty times a second only.
    """
    q, rate = motion.clip.rotations, motion.sample_rate_hz
    lag, stride = max(round(rate / 30.0), 1), max(round(rate / 40.0), 1)
    chunk = max(round(_CHUNK_S * rate / stride), 1)
    size = (q.shape[-1] - 4 * lag - 1) // stride + 1
    if size < 1:
        return np.full(q.shape[0], np.inf)
    worst = np.zeros(q.shape[0])
    for first in range(0, size, _SCREEN_CHUNK * chunk):
        last = min(first + _SCREEN_CHUNK * chunk, size)
        energy = _fourth(q, lag, stride, first, last)
        sums = np.add.reduceat(energy, np.arange(0, last - first, chunk), axis=-1)
        np.maximum(worst, sums.max(axis=-1) / chunk, out=worst)
    return np.asarray(PEAK_TO_PEAK * np.degrees(2.0 * np.sqrt(worst)) / _LEAST_GAIN)


def _fourth(q: Floats, lag: int, stride: int, first: int, last: int) -> Floats:
    """``(joints, last - first)`` squared fourth difference of quaternions of any sign."""

    def at(step: int) -> Floats:
        start = step * lag + first * stride
        return q[..., start : start + (last - first - 1) * stride + 1 : stride]

    middle = at(2)
    out = 6.0 * middle
    for step, weight in ((0, 1.0), (1, -4.0), (3, -4.0), (4, 1.0)):
        one = at(step)
        # The same pose may be stored with the other sign.
        dots = np.einsum("jcf,jcf->jf", one, middle)
        out += one * np.copysign(weight, dots * weight)[:, None, :]
    return np.asarray(np.einsum("jcf,jcf->jf", out, out))


def joints_to_look_at(motion: Motion, least_deg: float) -> Ints:
    """Joints whose turns may shake by `least_deg` somewhere."""
    return np.flatnonzero(motion.derive(rough) > least_deg)
