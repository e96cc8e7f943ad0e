"""Where best to leave one clip and enter the next: the pair of frames that differ least.

Every frame near the end of the first is laid over every frame near the start of the second, each
pair by its own best turn about the vertical and shift along the floor (Kovar et al. 2002).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.motion import Motion
from kinelint_rules.groups.chain_ends import (
    WINDOW_S,
    against_middle,
    at_places,
    either_stays,
    roots,
    turns_at,
)
from kinelint_rules.groups.pairing import Pairs

# At most this many frames of each clip are tried.
_MOST = 40
# At most this share of a clip is given up.
_MOST_SHARE = 0.4


@dataclass(frozen=True)
class Window:
    """The best place to go over.

    Attributes:
        end, start: last frame of the first clip and first frame of the second to play.
        worst_deg, worst_mm: of the joint that is off most there.
        share: the worst of turns, places and velocities by their limits.
    """

    end: int
    start: int
    worst_deg: float
    worst_mm: float
    share: float


def best_window(
    first: Motion, second: Motion, found: Pairs, search_s: float, limits: tuple[float, float, float]
) -> Window:
    """The pair of frames that differ least.

    Args:
        first: the clip that ends.
        second: the clip that begins.
        found: their joints.
        search_s: how much may be cut off either clip.
        limits: degrees, mm and mm/s that count as much as one another.
    """
    ends = first.frames - 1 - _tried(first, search_s)
    starts = _tried(second, search_s)
    gap_m, turn = _aligned(
        first.positions_m[found.first][..., ends],
        second.positions_m[found.second][..., starts],
        found.large,
    )
    gap_deg = _turn_gaps(first, second, found, ends, starts, turn)
    jump = _velocity_gaps(first, second, found, ends, starts, turn)
    in_deg, in_mm = gap_deg.max(axis=0), 1000.0 * gap_m.max(axis=0)
    share = np.maximum(in_deg / limits[0], in_mm / limits[1])
    share = np.maximum(share, 1000.0 * jump.max(axis=0) / limits[2])
    # Of pairs as good the one that gives up least.
    given_up = (first.frames - 1 - ends)[:, None] / first.sample_rate_hz
    given_up = given_up + starts[None, :] / second.sample_rate_hz
    i, j = np.unravel_index(int(np.argmin(share + 0.02 * given_up / search_s)), share.shape)
    return Window(
        int(ends[i]),
        int(starts[j]),
        float(in_deg[i, j]),
        float(in_mm[i, j]),
        float(share[i, j]),
    )


def _tried(motion: Motion, search_s: float) -> Ints:
    most = int(min(search_s * motion.sample_rate_hz, _MOST_SHARE * motion.frames))
    return np.arange(0, most + 1, max(-(-most // _MOST), 1))


def _aligned(one: Floats, other: Floats, large: Bools) -> tuple[Floats, Floats]:
    """``(m, i, j)`` metres left after the best alignment of each pair, and ``(i, j)`` its yaw.

    The closed form of `kinelint.kinematics.alignment`, for all pairs at once, weights all 1.
    """
    p, q = one[large], other[large]
    p = p - p.mean(axis=0)
    q = q - q.mean(axis=0)
    sine = np.einsum("mi,mj->ij", p[:, 2], q[:, 0]) - np.einsum("mi,mj->ij", p[:, 0], q[:, 2])
    cosine = np.einsum("mi,mj->ij", p[:, 0], q[:, 0]) + np.einsum("mi,mj->ij", p[:, 2], q[:, 2])
    yaw = np.arctan2(sine, cosine)
    a = one - one[large].mean(axis=0) * np.array([[1.0], [0.0], [1.0]])
    b = other - other[large].mean(axis=0) * np.array([[1.0], [0.0], [1.0]])
    c, s = np.cos(yaw), np.sin(yaw)
    x = c * a[:, 0, :, None] + s * a[:, 2, :, None] - b[:, 0, None, :]
    z = c * a[:, 2, :, None] - s * a[:, 0, :, None] - b[:, 2, None, :]
    y = a[:, 1, :, None] - b[:, 1, None, :]
    return np.sqrt(x * x + y * y + z * z), yaw


def _turn_gaps(
    first: Motion, second: Motion, found: Pairs, ends: Ints, starts: Ints, yaw: Floats
) -> Floats:
    """``(m, i, j)`` degrees."""
    outer = roots(first, second, found)
    one = turns_at(first, found.first, ends / first.sample_rate_hz, outer)
    other = turns_at(second, found.second, starts / second.sample_rate_hz, outer)
    dots = np.abs(np.einsum("mci,mcj->mij", one, other))
    for row in outer:
        about = rotations.about("Y", yaw)
        brought = rotations.multiply(about, one[row].T[:, :, None])
        dots[row] = np.abs(np.einsum("icj,cj->ij", brought, other[row]))
    return np.asarray(np.degrees(2.0 * np.arccos(np.clip(dots, 0.0, 1.0))))


def _velocity_gaps(
    first: Motion, second: Motion, found: Pairs, ends: Ints, starts: Ints, yaw: Floats
) -> Floats:
    """``(m, i, j)`` m/s; both against the figure's travel where one of them walks in place."""
    a = _velocities(first, found.first, ends / first.sample_rate_hz)
    b = _velocities(second, found.second, starts / second.sample_rate_hz)
    if either_stays(first, second):
        a, b = against_middle(a), against_middle(b)
    c, s = np.cos(yaw), np.sin(yaw)
    x = c * a[:, 0, :, None] + s * a[:, 2, :, None] - b[:, 0, None, :]
    z = c * a[:, 2, :, None] - s * a[:, 0, :, None] - b[:, 2, None, :]
    y = a[:, 1, :, None] - b[:, 1, None, :]
    return np.sqrt(x * x + y * y + z * z)


def _velocities(motion: Motion, joints: Ints, times_s: Floats) -> Floats:
    """``(m, 3, times)`` m/s around some times, the window cut at the clip's ends."""
    last = motion.clip.duration_s
    before = np.maximum(times_s - WINDOW_S, 0.0)
    after = np.minimum(times_s + WINDOW_S, last)
    change = at_places(motion, joints, after) - at_places(motion, joints, before)
    return np.asarray(change / np.maximum(after - before, 1e-9))
