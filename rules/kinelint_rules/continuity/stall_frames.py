"""Frames of the whole clip that repeat the one before while the figure moves."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.kinematics.arrays import Bools, Floats, Ints, runs_of
from kinelint.motion import Motion
from kinelint_rules.continuity.stall_steps import local_steps_deg, turned_deg

_ROUNDING_DEG, _ROUNDING_MM = 0.004, 0.02
_SHARE = 0.02
_NEAR_S = 0.15
# Frames of 8 Hz and more.
_BEAT_S, _SLOW = 0.12, 0.3
# 23.976 for 24 and the like cannot be told from a clip's length.
_USUAL_HZ = (8, 10, 12, 12.5, 15, 16, 18, 20, 24, 25, 30, 40, 48, 50, 60, 75, 80, 90, 100, 120)


@dataclass(frozen=True, eq=False)
class Repeats:
    """Frames that repeat.

    Attributes:
        runs: first and last frame of each run of repeating frames amid motion.
        share: of the moving frames that repeat.
        regular: whether they come in a beat, as a conversion to a higher rate makes them.
    """

    runs: tuple[tuple[int, int], ...]
    share: float
    regular: bool


def whole_steps(motion: Motion) -> Floats:
    """``(2, frames - 1)`` the most that any joint turns (degrees) and the root goes (mm)."""
    steps = motion.derive(local_steps_deg)
    judged = motion.figure.anatomy.joints.values()
    rows = sorted({joint for joints in judged for joint in joints})
    turned = steps[rows[0]].copy() if rows else steps.max(axis=0)
    for row in rows[1:]:
        np.maximum(turned, steps[row], out=turned)
    root = rows[0] if rows else 0
    turned = np.maximum(turned, turned_deg(motion.orientations[root]))
    gone = 1000.0 * np.linalg.norm(np.diff(motion.positions_m[root], axis=-1), axis=0)
    return np.stack((turned, gone))


def repeats(motion: Motion, least_deg_per_s: float, most_s: float) -> Repeats:
    """The repeating frames of a motion.

    Args:
        motion: the clip on its body.
        least_deg_per_s: the fastest joint turns at least so fast on both sides.
        most_s: what stands longer is a pose that is held.
    """
    turned, gone = motion.derive(whole_steps)
    rate = motion.sample_rate_hz
    near = _mean(turned, rate)
    still = turned <= np.maximum(_ROUNDING_DEG, _SHARE * near)
    still &= gone <= np.maximum(_ROUNDING_MM, _SHARE * _mean(gone, rate))
    found, beat = [], []
    for first, last in zip(*runs_of(still), strict=True):
        lasts_s = (last - first + 1) / rate
        if lasts_s > most_s or first == 0 or last == still.size - 1:
            continue
        before, after = _beside(turned, still, first, -1), _beside(turned, still, last, 1)
        quick = least_deg_per_s / rate
        if min(before, after) > quick and min(before, after) > 0.25 * max(before, after):
            found.append((int(first) + 1, int(last) + 1))
        # In a beat slower motion tells as well.
        if lasts_s <= _BEAT_S and max(before, after) > _SLOW * quick:
            beat.append((int(first) + 1, int(last) + 1))
    regular = _regular(beat, still)
    runs = beat if regular else found
    moving = int(np.count_nonzero(near * rate > least_deg_per_s))
    if regular:
        moving = beat[-1][1] - beat[0][0] + 2 - _held(still, rate)
    share = sum(last - first + 1 for first, last in runs) / max(moving, 1)
    return Repeats(tuple(runs), min(share, 1.0), regular)


def _held(still: Bools, rate_hz: float) -> int:
    """Frames of runs too long for a beat."""
    starts, ends = runs_of(still)
    sizes = ends - starts + 1
    return int(np.sum(sizes[(sizes > _BEAT_S * rate_hz) & (starts > 0) & (ends < still.size - 1)]))


def _beside(turned: Floats, still: Bools, at: int, way: int) -> float:
    """The mean of the first two steps that turn, going one way from a run."""
    steps = turned[:at][::-1] if way < 0 else turned[at + 1 :]
    stands = still[:at][::-1] if way < 0 else still[at + 1 :]
    moved = steps[:8][~stands[:8]][:2]
    return float(np.mean(moved)) if moved.size else 0.0


def _mean(values: Floats, rate_hz: float) -> Floats:
    size = min(2 * max(round(_NEAR_S * rate_hz), 4) + 1, values.size)
    return np.asarray(np.convolve(values, np.full(size, 1.0 / size), mode="same"))


def _regular(runs: list[tuple[int, int]], still: Bools) -> bool:
    """Whether most gaps between frames that are new follow one beat of at most two lengths."""
    if len(runs) < 5:
        return False
    first, last = runs[0][0] - 1, runs[-1][1]
    new = np.flatnonzero(~still[first : last + 1])
    if new.size < 6:
        return False
    starts: Ints = np.array([run[0] for run in runs])
    beat = np.diff(starts)
    usual = int(np.median(beat))
    return bool(np.mean(np.abs(beat - usual) <= 1) >= 0.8)


def true_rate_hz(rate_hz: float, share: float) -> tuple[float, bool]:
    """The rate without the repeats, and whether it is a usual one (then that one exactly)."""
    bare = rate_hz * (1.0 - share)
    best = min(_USUAL_HZ, key=lambda one: abs(one - bare))
    near = abs(best - bare) <= 0.025 * bare
    return (float(best) if near else float(round(bare, 1))), near
