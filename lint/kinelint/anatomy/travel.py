"""The velocity that an in-place clip stands for: what to add so that planted feet stay."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from kinelint.anatomy.feet import WINDOW_S, FootJoints, foot_joints, scale_of
from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion

# How low and level a supporting foot is, and what tells a clip whose feet all run from one with
# slides here and there. By trial: walks, runs and dances on the one hand, in-place loops on the
# other.
_NEAR_LOWEST_M = 0.025
_LEVEL_M_PER_S = 0.4
_STILL_M_PER_S = 0.15
_MOST_STILL_SHARE = 0.15
_RUNS_M_PER_S = 0.3
_STEADY_RATIO = 0.35
_STAYS_RATIO = 0.3
# A stumble or a fall of less than this is no travel.
_SURE_S = 0.8
# So many velocities tell the crowd; their distances from each other grow with the square.
_SAMPLES = 256


class Basis(StrEnum):
    """Why a travel velocity is taken."""

    NONE = "none"
    DECLARED = "declared"
    FITTED = "fitted"
    SUPPOSED = "supposed"
    MISMATCH = "mismatch"


@dataclass(frozen=True, slots=True)
class Travel:
    """The velocity to add to a clip.

    Attributes:
        velocity_m_per_s: (x, z), zero for a clip that travels as its feet do.
        basis: declared in the cue sheet; fitted, because the sheet says in place and no velocity;
            supposed, because the feet run steadily under a figure that stays and the sheet says
            nothing; mismatch, because they do so under a figure that travels at another speed or
            is declared to travel.
        spread_m_per_s: half of the feet's velocities lie this close to a fitted one.
        figure_m_per_s: how fast the figure itself travels, end to end.
        off_m_per_s: how fast the feet run nevertheless: against a declared velocity, or without
            one; NaN where no foot tells.
    """

    velocity_m_per_s: tuple[float, float] = (0.0, 0.0)
    basis: Basis = Basis.NONE
    spread_m_per_s: float = 0.0
    figure_m_per_s: float = 0.0
    off_m_per_s: float = float("nan")

    @property
    def steady(self) -> bool:
        """Whether the feet agree on the velocity."""
        return self.spread_m_per_s < _STEADY_RATIO * max(self.speed_m_per_s, 1e-9)

    @property
    def speed_m_per_s(self) -> float:
        """How fast."""
        return float(np.hypot(*self.velocity_m_per_s))


def travel(motion: Motion) -> Travel:
    """What the cue sheet declares, else what the supporting feet tell."""
    velocity = _support_velocity(motion, foot_joints(motion))
    told = bool(velocity.shape[1])
    middle, spread = _crowd(velocity) if told else (np.zeros(2), 0.0)
    figure = _figure_speed(motion)
    cue = motion.cue
    if cue.in_place and cue.travel_m_per_s is not None:
        declared = (cue.travel_m_per_s[0], cue.travel_m_per_s[2])
        off = float(np.hypot(*(middle + declared))) if told else float("nan")
        return Travel(declared, Basis.DECLARED, spread, figure, off)
    fitted = (float(-middle[0]), float(-middle[1]))
    if cue.in_place and told:
        return Travel(fitted, Basis.FITTED, spread, figure, 0.0)
    off = float(np.hypot(*middle)) if told else float("nan")
    if not told or not _all_run(velocity, off, spread, scale_of(motion)):
        return Travel((0.0, 0.0), Basis.NONE, spread, figure, off)
    if figure < _STAYS_RATIO * off and cue.in_place is None:
        return Travel(fitted, Basis.SUPPOSED, spread, figure, off)
    if velocity.shape[1] < _SURE_S * motion.sample_rate_hz:
        return Travel((0.0, 0.0), Basis.NONE, spread, figure, off)
    return Travel(fitted, Basis.MISMATCH, spread, figure, off)


def travelled(motion: Motion, path: Floats) -> Floats:
    """A path ``(3, frames)`` as it would be if the clip travelled as its feet do."""
    velocity = motion.derive(travel).velocity_m_per_s
    if velocity == (0.0, 0.0):
        return path
    moved = np.outer([velocity[0], 0.0, velocity[1]], motion.times_s)
    return np.asarray(path + moved)


def _support_velocity(motion: Motion, feet: Mapping[str, FootJoints]) -> Floats:
    """``(2, n)`` velocity (x, z) of the lowest foot in the frames in which it seems to bear."""
    paths = [motion.positions_m[foot.front] for foot in feet.values()]
    heights = np.stack([path[1] for path in paths])
    lowest = heights.min(axis=0)
    near = np.quantile(lowest, 0.1) + _NEAR_LOWEST_M * scale_of(motion)
    found = []
    for path in paths:
        velocity = rates.windowed_velocity(path, motion.sample_rate_hz, WINDOW_S)
        bears = (path[1] <= lowest) & (path[1] <= near)
        bears &= np.abs(velocity[1]) < _LEVEL_M_PER_S * scale_of(motion)
        found.append(velocity[::2, bears])
    return np.concatenate(found, axis=1)


def _crowd(velocity: Floats) -> tuple[Floats, float]:
    """The velocity about which half of all lie closest, and how close: feet that swing are left.

    Least median of distances (Rousseeuw 1984, from memory), over the samples themselves.
    """
    some = velocity[:, :: -(-velocity.shape[1] // _SAMPLES)]
    apart = np.hypot(*(some[:, :, None] - some[:, None, :]))
    radius = np.median(apart, axis=1)
    best = int(np.argmin(radius))
    members = some[:, apart[best] <= radius[best]]
    return np.asarray(members.mean(axis=1)), float(radius[best])


def _all_run(velocity: Floats, speed: float, spread: float, scale: float) -> bool:
    still = np.mean(np.hypot(*velocity) < _STILL_M_PER_S * scale)
    steady = spread < _STEADY_RATIO * speed
    return bool(speed > _RUNS_M_PER_S * scale and steady and still < _MOST_STILL_SHARE)


def _figure_speed(motion: Motion) -> float:
    pelvis = motion.figure.anatomy.joints.get("pelvis", (0,))[0]
    path = motion.positions_m[pelvis]
    if motion.frames < 2:
        return 0.0
    way = path[:, -1] - path[:, 0]
    return float(np.hypot(way[0], way[2]) / motion.clip.duration_s)
