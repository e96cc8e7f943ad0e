"""How far every joint turns from frame to frame, and where it does not turn at all."""

from __future__ import annotations

import numpy as np

from kinelint.kinematics.arrays import Bools, Floats, runs_of
from kinelint.motion import Motion

# Text files round angles; what turns less than this in a frame, or than a small share of what the
# joint usually does, stands.
_ROUNDING_DEG = 0.004
_SHARE = 0.02


def turned_deg(q: Floats) -> Floats:
    """``(..., frames - 1)`` how far rotations ``(..., 4, frames)`` turn in each step, degrees.

    For small angles; large ones come out up to a tenth too small.
    """
    if q.ndim > 2:
        # A joint at a time stays in the cache.
        out = np.empty((*q.shape[:-2], max(q.shape[-1] - 1, 0)))
        for row, one in zip(out, q, strict=True):
            row[...] = turned_deg(one)
        return out
    dots = np.einsum("cf,cf->f", q[:, 1:], q[:, :-1])
    np.abs(dots, out=dots)
    np.subtract(1.0, dots, out=dots)
    np.maximum(dots, 0.0, out=dots)
    dots *= 8.0
    np.sqrt(dots, out=dots)
    dots *= 180.0 / np.pi
    return np.asarray(dots)


def local_steps_deg(motion: Motion) -> Floats:
    """``(joints, frames - 1)`` of every joint against its parent."""
    return turned_deg(motion.clip.rotations)


def standing(steps: Floats) -> Bools:
    """``(..., frames - 1)`` the steps that do not turn."""
    moving = steps > _ROUNDING_DEG
    count = np.maximum(np.count_nonzero(moving, axis=-1), 1)
    usual = np.sum(steps, axis=-1) / count
    return np.asarray(steps <= np.maximum(_ROUNDING_DEG, _SHARE * usual)[..., None])


def never_turns(steps: Floats) -> Bools:
    """``(...)`` true where no step turns."""
    return np.asarray(np.max(steps, axis=-1, initial=0.0) <= _ROUNDING_DEG)


def long_runs(still: Bools, least: int) -> list[tuple[int, int]]:
    """First and last step of the runs of at least so many steps in ``(steps,)``."""
    starts, ends = runs_of(still)
    keep = ends - starts + 1 >= least
    return list(zip(starts[keep].tolist(), ends[keep].tolist(), strict=True))


def around_deg_per_s(
    steps: Floats, first: int, last: int, rate_hz: float, reach_s: float
) -> list[float]:
    """How fast the joint turns right before and right after a run of steps; none at the ends.

    The slower of the one nearest step and the mean over `reach_s`: who stops on purpose slows
    down first.
    """
    reach = max(round(reach_s * rate_hz), 1)
    out = []
    for side in (steps[max(first - reach, 0) : first][::-1], steps[last + 1 : last + 1 + reach]):
        if side.size:
            # A sample that was held ends with a step of any length: the second one counts as well.
            near = float(np.max(side[:2]))
            out.append(rate_hz * min(near, float(np.mean(side))))
    return out
