"""Feet that stand, roll, swing and land, from a list of where each one is planted."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from making.crew import ANKLE_HEIGHT, BALL_JOINT, HEEL
from making.pose import Foot
from making.turns import Array, about, turn


@dataclass(frozen=True)
class Plant:
    """One stay of a foot: the ankle stands over (x, z) from `land_s` to `leave_s`.

    The foot comes down heel first by `strike_deg` and leaves over its ball by `push_deg`.
    """

    land_s: float
    leave_s: float
    x: float
    z: float
    yaw_deg: float = 0.0
    floor: float = 0.0
    strike_deg: float = 14.0
    push_deg: float = 32.0
    strike_s: float = 0.09
    push_s: float = 0.24
    clearance: float = 0.05


def foot_track(t: Array, plants: Sequence[Plant]) -> Foot:
    """The foot over the frames. Times outside the first and last stay hold on to them."""
    first, last = plants[0], plants[-1]
    first = replace(first, land_s=min(first.land_s, float(t[0]) - 1.0))
    last = replace(last, leave_s=max(last.leave_s, float(t[-1]) + 1.0))
    stays = (
        [first, *plants[1:-1], last]
        if len(plants) > 1
        else [replace(first, leave_s=float(t[-1]) + 1.0)]
    )
    foot = _stay(t, stays[0])
    for before, after in itertools.pairwise(stays):
        _put(foot, _swing(t, before, after), (t > before.leave_s) & (t < after.land_s))
        _put(foot, _stay(t, after), t >= after.land_s)
    return foot


def _put(foot: Foot, part: Foot, where: NDArray[np.bool_]) -> None:
    foot.ankle[where] = part.ankle[where]
    foot.yaw_deg[where] = part.yaw_deg[where]
    foot.pitch_deg[where] = part.pitch_deg[where]
    foot.toes_deg[where] = part.toes_deg[where]


def _stay(t: Array, plant: Plant) -> Foot:
    """Rolls down over the heel, stands flat, rolls off over the ball."""
    strike = np.clip((plant.land_s + plant.strike_s - t) / plant.strike_s, 0.0, 1.0)
    push = np.clip((t - plant.leave_s + plant.push_s) / plant.push_s, 0.0, 1.0)
    pitch = plant.push_deg * push**2 - plant.strike_deg * strike**2
    yaw = np.full(len(t), plant.yaw_deg)
    flat = np.array([plant.x, plant.floor + ANKLE_HEIGHT, plant.z])
    pivot = np.where((push > 0)[:, None], BALL_JOINT, HEEL)
    fixed = flat + turn(about("Y", yaw), pivot)
    ankle = fixed - turn(about("Y", yaw) @ about("X", pitch), pivot)
    return Foot(ankle, yaw, pitch, -np.maximum(pitch, 0.0))


def _swing(t: Array, before: Plant, after: Plant) -> Foot:
    """Hermite curves that leave and land with the foot's own speed."""
    span = after.land_s - before.leave_s
    ends = []
    for plant, time in ((before, before.leave_s), (after, after.land_s)):
        near = _stay(np.array([time - 1e-4, time, time + 1e-4]), plant)
        inner = slice(0, 2) if plant is before else slice(1, 3)
        rows = np.column_stack((near.ankle, near.pitch_deg))[inner]
        ends.append((rows[1] if plant is before else rows[0], (rows[1] - rows[0]) / 1e-4))
    s = np.clip((t - before.leave_s) / span, 0.0, 1.0)[:, None]
    (p0, v0), (p1, v1) = ends
    path = (
        (2 * s**3 - 3 * s**2 + 1) * p0
        + (s**3 - 2 * s**2 + s) * span * v0
        + (3 * s**2 - 2 * s**3) * p1
        + (s**3 - s**2) * span * v1
    )
    path[:, 1] += 16.0 * after.clearance * (s[:, 0] * (1.0 - s[:, 0])) ** 2
    blend = (3 * s**2 - 2 * s**3)[:, 0]
    yaw = before.yaw_deg + blend * (after.yaw_deg - before.yaw_deg)
    toes = -before.push_deg * np.clip(1.0 - s[:, 0] / 0.5, 0.0, 1.0) ** 2
    return Foot(path[:, :3], yaw, path[:, 3], toes)
