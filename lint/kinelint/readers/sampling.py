"""Keys to frames: which uniform rate to sample at, and how values go from key to key.

Plain arrays in and out; components last but one, keys or frames last. The interpolation modes are
those of the glTF 2.0 specification, appendix C.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Bools, Floats, Ints

LEAST_HZ = 30.0
MOST_HZ = 240.0
COMMON_HZ = (24.0, 25.0, 30.0, 48.0, 50.0, 60.0, 72.0, 90.0, 100.0, 120.0, 144.0, 240.0)
"""Rates at which keys are usually set: film, PAL, video and their multiples (common practice)."""

_KEYS_AT_ONCE = 1 << 13
_ON_GRID = 0.02  # of a step
_SAME_RATE = 1e-3  # of a step, at the last frame
_ONE_MOMENT_S = 1e-3  # keys closer than that are one moment (a step written as two keys)
_NEARLY_LEAST_HZ = 29.95  # 30000/1001 Hz counts as 30


@dataclass(frozen=True)
class Plan:
    """The uniform frames that stand for some keys.

    Attributes:
        start_s, end_s: the first and the last key; frames stand exactly on both.
        steps: frames less one.
        asked_hz: the rate that was looked for.
        key_rate_hz: the uniform rate on whose grid all keys lie; None if there is none.
        tolerance_s: a key so near to a frame is that frame's.
    """

    start_s: float
    end_s: float
    steps: int
    asked_hz: float
    key_rate_hz: float | None
    tolerance_s: float

    @property
    def rate_hz(self) -> float:
        """Steps over duration; the rate asked for where that is the same but for float32 times."""
        off_s = abs(self.steps / self.asked_hz - (self.end_s - self.start_s))
        if off_s * self.asked_hz < _SAME_RATE:
            return self.asked_hz
        return self.steps / (self.end_s - self.start_s)

    @cached_property
    def times_s(self) -> Floats:
        """``(frames,)`` times of the frames, in the file's time."""
        return np.linspace(self.start_s, self.end_s, self.steps + 1)


def plan(key_times_s: Floats, wanted_hz: float | None = None) -> Plan:
    """Frames for sorted `key_times_s` ``(keys,)``, at least one.

    Keys on the grid of a uniform rate keep it (or its smallest multiple of at least 30 Hz); others
    are sampled at `wanted_hz`, or at the rate of their densest gap between 30 and 240 Hz. A last
    frame always stands on the last key, so the true rate may differ a little from that looked for.
    """
    start, end = float(key_times_s[0]), float(key_times_s[-1])
    duration = end - start
    if duration <= 0.0:
        return Plan(start, start, 0, LEAST_HZ, LEAST_HZ, _ONE_MOMENT_S)
    since = key_times_s - start
    base = _uniform_rate(since)
    if base is not None:
        rate = _least_multiple(base)
        # Twice the tolerance: the grid itself may have moved by one to end on the last key.
        return Plan(start, end, round(duration * rate), rate, base, 2.05 * _ON_GRID / base)
    rate = wanted_hz or min(max(_densest_rate(since), LEAST_HZ), MOST_HZ)
    steps = max(math.ceil(duration * rate - 1e-6), 1)
    return Plan(start, end, steps, rate, None, 1e-3 / rate)


def _uniform_rate(since: Floats) -> float | None:
    """The common rate of keys at `since` the first, if they have one."""
    common = [rate for rate, fits in zip(COMMON_HZ, _fit(since, COMMON_HZ), strict=True) if fits]
    if common:
        return min(common, key=_least_multiple)
    steps = round(float(since[-1]) * _densest_rate(since))
    rate = steps / float(since[-1])
    # A few keys fit some odd rate by chance; a real one is seen in most of its steps.
    return rate if len(since) > steps / 2 and _fit(since, (rate,))[0] else None


def _fit(since: Floats, rates: tuple[float, ...]) -> list[bool]:
    """Of each rate, whether all keys lie on its grid."""
    by = np.asarray(rates)
    furthest = np.zeros(len(rates))
    for first in range(0, len(since), _KEYS_AT_ONCE):
        steps = np.multiply.outer(by, since[first : first + _KEYS_AT_ONCE])
        furthest = np.maximum(furthest, np.abs(steps - np.rint(steps)).max(axis=1))
    found: list[bool] = ((furthest <= _ON_GRID) & (by * since[-1] > 0.5)).tolist()
    return found


def _least_multiple(rate: float) -> float:
    return rate * max(math.ceil(_NEARLY_LEAST_HZ / rate), 1)


def _densest_rate(since: Floats) -> float:
    gaps = np.diff(since)
    gaps = gaps[gaps > _ONE_MOMENT_S]
    return 1.0 / float(gaps.min()) if len(gaps) else LEAST_HZ


@dataclass(frozen=True)
class Lookup:
    """Where frames stand between keys; shared by all channels on the same keys.

    Attributes:
        before, after: ``(frames,)`` the keys around each frame; equal on a key, and beyond the
            first and last key, where values are held.
        fraction: ``(frames,)`` of the way from one to the other, 0 on a key.
        gap_s: ``(frames,)`` time between the two, 0 on a key.
    """

    before: Ints
    after: Ints
    fraction: Floats
    gap_s: Floats

    @cached_property
    def between(self) -> Bools:
        """``(frames,)`` true off the keys."""
        return np.asarray(self.before != self.after)

    @cached_property
    def on_keys(self) -> bool:
        """Whether every frame stands on a key."""
        return not bool(self.between.any())


def lookup(key_times_s: Floats, times_s: Floats, tolerance_s: float) -> Lookup:
    """Find `times_s` ``(frames,)`` among rising `key_times_s` ``(keys,)``.

    A frame within `tolerance_s` of a key stands on it: times are float32 in files, and a STEP
    channel must not miss its own key by a rounding error.
    """
    last = len(key_times_s) - 1
    if last + 1 == len(times_s) and np.abs(key_times_s - times_s).max() <= tolerance_s:
        # A key for every frame, as most files have it.
        every, none = np.arange(last + 1), np.zeros(last + 1)
        return Lookup(every, every, none, none)
    before = np.maximum(np.searchsorted(key_times_s, times_s, side="right") - 1, 0)
    after = np.minimum(before + 1, last)
    to_before = np.abs(times_s - key_times_s[before])
    to_after = np.abs(key_times_s[after] - times_s)
    nearest = np.where(to_after < to_before, after, before)
    on_key = np.minimum(to_before, to_after) <= tolerance_s
    held = (times_s <= key_times_s[0]) | (times_s >= key_times_s[last])
    before = np.where(on_key, nearest, before)
    after = np.where(on_key | held, before, after)
    gap = key_times_s[after] - key_times_s[before]
    fraction = (times_s - key_times_s[before]) / np.where(gap > 0.0, gap, 1.0)
    return Lookup(before, after, np.where(gap > 0.0, fraction, 0.0), gap)


def step(values: Floats, at: Lookup) -> Floats:
    """STEP: each key's value ``(..., keys)`` until the next key."""
    return np.asarray(values[..., at.before])


def linear(values: Floats, at: Lookup) -> Floats:
    """LINEAR: the straight line between keys ``(..., keys)``."""
    if at.on_keys:
        return step(values, at)
    mixed = (1.0 - at.fraction) * values[..., at.before] + at.fraction * values[..., at.after]
    return np.where(at.between, mixed, values[..., at.before])


def linear_rotation(values: Floats, at: Lookup) -> Floats:
    """LINEAR on rotations ``(..., 4, keys)``: the short way round, at constant speed."""
    values = rotations.normalise(values)
    sampled = step(values, at)
    if not at.on_keys:
        off = np.flatnonzero(at.between)
        a, b = sampled[..., off], values[..., at.after[off]]
        sampled[..., off] = rotations.slerp(a, b, at.fraction[off])
    return sampled


def cubic(inward: Floats, values: Floats, outward: Floats, at: Lookup) -> Floats:
    """CUBICSPLINE: Hermite curves through keys, all ``(..., keys)``.

    Args:
        inward: slope (per second) with which the curve comes to each key.
        values: at each key.
        outward: slope with which it leaves.
        at: where the frames are.
    """
    if at.on_keys:
        return step(values, at)
    t, gap = at.fraction, at.gap_s
    t2, t3 = t * t, t * t * t
    curve = (
        (2.0 * t3 - 3.0 * t2 + 1.0) * values[..., at.before]
        + gap * (t3 - 2.0 * t2 + t) * outward[..., at.before]
        + (3.0 * t2 - 2.0 * t3) * values[..., at.after]
        + gap * (t3 - t2) * inward[..., at.after]
    )
    return np.where(at.between, curve, values[..., at.before])
