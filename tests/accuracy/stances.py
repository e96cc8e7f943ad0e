"""Where feet stand, found from joint positions alone: for seeding, apart from the rules' own way.

A foot stands flat while its ankle and its toes hardly move and are near their lowest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from accuracy.rig import Array, Rig

# Of a leg of 0.88 m.
STILL_M_PER_S = 0.20
LOW_M = 0.04
LEAST_S = 0.25


@dataclass(frozen=True)
class Stance:
    """A foot stands flat from `flat_s[0]` to `flat_s[1]` and is down until `off_s`.

    `back_s` is when it is in mid-air next (the end of the clip if it never is).
    """

    side: str
    flat_s: tuple[float, float]
    off_s: float
    back_s: float


def front(rig: Rig, side: str) -> int:
    """The joint of the toes, else the tip of the foot, else the ankle."""
    anatomy = rig.figure.anatomy
    if f"{side}_toes" in anatomy.joints:
        return anatomy.joints[f"{side}_toes"][0]
    return anatomy.tips.get(f"{side}_foot", rig.joint(f"{side}_foot"))


def speed(path: Array, rate: float) -> Array:
    """``(frames,)`` over the floor, over 0.1 s."""
    half = max(round(0.05 * rate), 1)
    index = np.arange(len(path))
    before, after = np.maximum(index - half, 0), np.minimum(index + half, len(path) - 1)
    moved = path[after][:, [0, 2]] - path[before][:, [0, 2]]
    return np.linalg.norm(moved, axis=1) * rate / (after - before)


def runs(mask: Array) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.astype(int), [0]))))
    return [(int(a), int(b) - 1) for a, b in edges.reshape(-1, 2)]


def stances(rig: Rig, side: str) -> list[Stance]:
    """Every clear stance of a foot, in order of time."""
    scale = rig.figure.leg_m / 0.88 if np.isfinite(rig.figure.leg_m) else 1.0
    ankle, toes = rig.place(f"{side}_foot"), rig.places[front(rig, side)]
    slow = [speed(path, rig.rate) < STILL_M_PER_S * scale for path in (ankle, toes)]
    low = [path[:, 1] < np.quantile(path[:, 1], 0.05) + LOW_M * scale for path in (ankle, toes)]
    flat, down = slow[0] & slow[1] & low[0] & low[1], slow[1] & low[1]
    found = []
    for first, last in runs(flat):
        if (last - first) / rig.rate < LEAST_S:
            continue
        after = [end for start, end in runs(down) if start <= last <= end]
        off = after[0] if after else last
        again = [start for start, _ in runs(down) if start > off]
        back = again[0] if again else rig.clip.frames - 1
        times = (first / rig.rate, last / rig.rate)
        found.append(Stance(side, times, off / rig.rate, back / rig.rate))
    return found
