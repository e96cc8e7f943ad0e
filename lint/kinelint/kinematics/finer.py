"""Paths at a higher rate: what contacts are told from, so that a low frame rate changes little."""

from __future__ import annotations

import numpy as np

from kinelint.kinematics.arrays import Floats

# Below the first rate, frames are too far apart for the limits of contacts (0.08 and 0.1 s), and
# paths are read at the second one. Chosen on captures at 120 Hz with frames left out.
ENOUGH_HZ = 60.0
FINE_HZ = 120.0


def per_frame(sample_rate_hz: float) -> int:
    """How many steps to make of each frame; 1 at 60 Hz and above."""
    if sample_rate_hz >= ENOUGH_HZ - 0.5:
        return 1
    return max(int(np.ceil(FINE_HZ / sample_rate_hz - 0.1)), 1)


def finer(values: Floats, steps: int) -> Floats:
    """``(..., frames)`` read `steps` times a frame: ``(..., steps (frames - 1) + 1)``.

    Every sample is kept. Between them runs a cubic that neither overshoots nor swings, as a point
    that stands and then leaps must not be seen to step back first (Fritsch and Butland 1984, as
    in SciPy's `PchipInterpolator`).
    """
    frames = values.shape[-1]
    if steps == 1 or frames < 2:
        return values
    step = np.diff(values, axis=-1)
    slope = _slopes(step)
    share = (np.arange(steps) / steps)[:, None]
    out = np.empty((*values.shape[:-1], steps * (frames - 1) + 1))
    out[..., -1] = values[..., -1]
    # Hermite's form, from the sample before.
    risen = share**2 * (3.0 - 2.0 * share)
    leave, arrive = share * (1.0 - share) ** 2, share**2 * (share - 1.0)
    between = values[..., None, :-1] + risen * step[..., None, :]
    between += leave * slope[..., None, :-1] + arrive * slope[..., None, 1:]
    out[..., :-1] = np.swapaxes(between, -1, -2).reshape((*values.shape[:-1], -1))
    return out


def _slopes(step: Floats) -> Floats:
    """``(..., frames)`` change a frame at each sample, 0 where the way turns round."""
    before, after = step[..., :-1], step[..., 1:]
    product = before * after
    same = product > 0.0
    inside = np.where(same, 2.0 * product / np.where(same, before + after, 1.0), 0.0)
    if step.shape[-1] == 1:
        return np.concatenate((step, step), axis=-1)
    first = _end(step[..., 0], step[..., 1])
    last = _end(step[..., -1], step[..., -2])
    return np.concatenate((first[..., None], inside, last[..., None]), axis=-1)


def _end(nearest: Floats, next_one: Floats) -> Floats:
    """The slope at an end: of the parabola through three samples, if that does not swing."""
    slope = 1.5 * nearest - 0.5 * next_one
    slope = np.where(slope * nearest <= 0.0, 0.0, slope)
    swings = (nearest * next_one <= 0.0) & (np.abs(slope) > 3.0 * np.abs(nearest))
    return np.asarray(np.where(swings, 3.0 * nearest, slope))


def smoothed(values: Floats, sample_rate_hz: float, half_s: float) -> Floats:
    """``(..., frames)`` without what is faster than `half_s`: weighted by a triangle of that half.

    Beyond the ends the path goes on as if turned about its last sample, so that what stands
    stays and what moves steadily moves on.
    """
    width = min(round(half_s * sample_rate_hz), values.shape[-1] - 1)
    if width < 2:
        return values
    reach = width - 1
    before = 2.0 * values[..., :1] - values[..., reach:0:-1]
    after = 2.0 * values[..., -1:] - values[..., -2 : -reach - 2 : -1]
    padded = np.concatenate((before, values, after), axis=-1)
    for _ in range(2):
        total = np.cumsum(padded, axis=-1)
        total[..., width:] -= total[..., :-width].copy()
        padded = total[..., width - 1 :] / width
    return padded
