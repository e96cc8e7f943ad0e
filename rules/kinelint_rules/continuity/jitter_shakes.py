"""Stretches in which something shakes: how strongly, at which frequency, for how long."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Bools, Floats
from kinelint_rules.continuity.jitter_bands import (
    PEAK_TO_PEAK,
    PERIOD_S,
    band_below,
    filtered,
    gain,
    high_pass,
    main_frequency,
    strength,
)

# Over this the strength may dip: noise is not even.
_BRIDGE_S = 0.15
# A single kick or footfall rings through the filter for as long as the filter is.
_RINGS_S = 1.0 / 3.0
TAIL_HZ, _TAIL_TIMES = 9.0, 2.0
_AT_ENDS = np.sqrt(0.5)


@dataclass(frozen=True, eq=False)
class Shake:
    """One stretch.

    `size` is peak to peak of the sine wave as strong; `clear` is that over what the joint itself
    swings at 3 to 7 Hz; `values` is the strength at every frame of the clip.
    """

    first: int
    last: int
    worst: int
    size: float
    hz: float
    clear: float
    values: Floats


def shakes(
    series: Floats,
    rate_hz: float,
    least: float,
    least_s: float,
    own_share: float,
    where: Bools | None = None,
) -> list[Shake]:
    """The stretches of ``(rows, frames)`` that shake by more than `least`, in its unit.

    Args:
        series: what may shake.
        rate_hz: frames a second.
        least: peak to peak.
        least_s: shorter ones are no shake.
        own_share: the shake must be so many times what swings at 3 to 7 Hz.
        where: only within these frames.
    """
    if series.shape[-1] < round(least_s * rate_hz) + 1:
        return []
    residual = filtered(series, high_pass(rate_hz))
    if where is not None:
        residual = np.where(where, residual, 0.0)
    strong = strength(residual, rate_hz)
    if not np.any(strong > least):
        return []
    own = strength(filtered(series, band_below(rate_hz)), rate_hz, _RINGS_S)
    mask = (strong > least) & (strong > own_share * own)
    if where is not None:
        mask &= where
    found = []
    bridge = round(_BRIDGE_S * rate_hz)
    for span in spans(mask, min_frames=1, bridge_frames=bridge):
        one = _shake(residual, strong, own, span.first, span.last, rate_hz)
        if _lasts(one, residual, rate_hz, least, least_s):
            found.append(one)
    return found


def _shake(
    residual: Floats, strong: Floats, own: Floats, first: int, last: int, rate_hz: float
) -> Shake:
    trim = round(0.5 * PERIOD_S * rate_hz)
    middle = (
        slice(first + trim, last + 1 - trim) if last - first > 4 * trim else slice(first, last + 1)
    )
    hz, _ = main_frequency(residual[:, middle], rate_hz)
    # The whole stretch tells the size: one strong beat of noise does not.
    power = float(np.mean(np.sum(residual[:, middle] ** 2, axis=0)))
    passed = PEAK_TO_PEAK * np.sqrt(power)
    # At its true ends the strength, a mean over one period, has half of the power.
    shown = first + np.flatnonzero(strong[first : last + 1] > _AT_ENDS * passed)
    if shown.size:
        first, last = int(shown[0]), int(shown[-1])
    inside = slice(first, last + 1)
    size = float(passed / max(gain(rate_hz, hz), 0.6))
    clear = size / max(float(np.mean(own[inside])), 1e-9)
    worst = first + int(np.argmax(strong[inside]))
    return Shake(first, last, worst, size, hz, clear, strong)


def _lasts(one: Shake, residual: Floats, rate_hz: float, least: float, least_s: float) -> bool:
    """Whether it swings to and fro long enough: at least so many half swings of some strength."""
    if (one.last - one.first + 1) / rate_hz < least_s or one.size <= least:
        return False
    inside = residual[:, one.first : one.last + 1]
    # The tail of quick motion is strongest where the filter begins to let it pass.
    if one.hz < TAIL_HZ and one.clear < _TAIL_TIMES:
        return False
    _, _, axes = np.linalg.svd(inside @ inside.T)
    along = axes[0] @ inside
    big = along[np.abs(along) > 0.25 * np.sqrt(np.mean(along**2))]
    swings = int(np.count_nonzero(np.diff(np.sign(big)) != 0))
    return swings >= one.hz * least_s
