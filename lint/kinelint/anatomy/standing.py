"""When a foot stands: still, and under its knee; and how high it stands then."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import SAME_LEVEL_M, WINDOW_S, FootJoints, level, scale_of
from kinelint.anatomy.floor_level import floor_level
from kinelint.anatomy.plane import Plane, slope_of
from kinelint.anatomy.travel import travelled
from kinelint.cue import Surface
from kinelint.frame_spans import spans
from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.kinematics.finer import finer, per_frame
from kinelint.motion import Motion

# Standing: both ends of the foot slower than this, the shank more upright than not. Feet that
# never come to rest, as in a run at 30 frames a second, take the next limit. Common practice.
STILL_M_PER_S = (0.15, 0.4, 0.8)
_UPRIGHT = 0.5
# Fewer frames than this make no floor.
_LEAST_S = 0.1
# A foot that is not still for less than this shivers and makes no step: it is one stand.
_ONE_STAND_S = 0.2
# Feet of a capture stand no further apart in height than this times the width of a level.
_MOST_OWN = 1.6
# So many plants of a foot tell the slope of a floor; their pairs grow with the square.
_MOST_PLANTS = 200


@dataclass(frozen=True, slots=True)
class Flat:
    """One foot that stands flat.

    Attributes:
        ball_m, ankle_m: heights of its front joint and of its ankle.
        tip_under_ball_m: how far the toes' tip lies below the front joint; 0 if it does not.
        seconds: for how long.
    """

    ball_m: float
    ankle_m: float
    tip_under_ball_m: float
    seconds: float


@dataclass(frozen=True, slots=True)
class Standing:
    """Heights of standing feet over a plane through the origin that slopes as their floor does.

    Attributes:
        ball_m: of the front joint, both feet.
        spread_m: median absolute deviation of `ball_m`.
        slope: the plane.
        by_side: each foot that stands flat.
        seconds: for how long, on average of the feet.
        other_m: how much higher another level is, on which they stand too; None if there is none.
        other_share: for which part of the time.
    """

    ball_m: float
    spread_m: float
    slope: Plane
    by_side: dict[str, Flat]
    seconds: float
    other_m: float | None = None
    other_share: float = 0.0


def standing_frames(motion: Motion, foot: FootJoints) -> Bools:
    """``(frames,)`` true where the foot is still and the shank more upright than not."""
    return np.asarray(_stands(motion, foot)[:: per_frame(motion.sample_rate_hz)])


def _stands(motion: Motion, foot: FootJoints) -> Bools:
    """The same, read several times a frame where the frame rate is low."""
    steps = per_frame(motion.sample_rate_hz)
    rate = steps * motion.sample_rate_hz
    upright = _upright(motion, foot)
    speed = np.zeros(upright.size)
    for joint in {foot.ankle, foot.front}:
        path = finer(travelled(motion, motion.positions_m[joint]), steps)
        velocity = rates.windowed_velocity(path, rate, WINDOW_S)
        speed = np.maximum(speed, np.linalg.norm(velocity, axis=0))
    stands = upright
    for limit in STILL_M_PER_S:
        stands = upright & (speed < limit * scale_of(motion))
        if stands.sum() >= _LEAST_S * rate:
            break
    return np.asarray(stands)


def _upright(motion: Motion, foot: FootJoints) -> Bools:
    knees = motion.figure.anatomy.joints.get(f"{foot.side}_shank")
    ankle = _path(motion, foot.ankle)
    if not knees:
        return np.ones(ankle.shape[-1], dtype=np.bool_)
    shank = _path(motion, knees[0]) - ankle
    return np.asarray(shank[1] > _UPRIGHT * np.linalg.norm(shank, axis=0))


def _path(motion: Motion, joint: int) -> Floats:
    """``(3, samples)`` of a joint, read several times a frame where the frame rate is low."""
    return finer(motion.positions_m[joint], per_frame(motion.sample_rate_hz))


def inside(surface: Surface, x: Floats, z: Floats) -> Bools:
    """``(frames,)`` true where points (x, z) are over or under a declared surface."""
    (ax, az), (bx, bz) = surface.from_m, surface.to_m
    between_x = (x >= min(ax, bx)) & (x <= max(ax, bx))
    return np.asarray(between_x & (z >= min(az, bz)) & (z <= max(az, bz)))


def standing_heights(motion: Motion, feet: Mapping[str, FootJoints]) -> Standing | None:
    """How high the feet stand on the floor; None if they hardly ever do."""
    rate = per_frame(motion.sample_rate_hz) * motion.sample_rate_hz
    use = {side: _on_floor(motion, foot) for side, foot in feet.items()}
    if sum(int(one.sum()) for one in use.values()) < _LEAST_S * rate:
        return None
    plants = {side: _plants(motion, foot, use[side]) for side, foot in feet.items()}
    slope = slope_of(list(plants.values()))

    def over(joint: int, side: str) -> Floats:
        path = _path(motion, joint)[:, use[side]]
        return np.asarray(path[1] - slope.at(path[0], path[2]))

    balls = {side: over(foot.front, side) for side, foot in feet.items()}
    ankles = {side: over(foot.ankle, side) for side, foot in feet.items()}
    tips = {
        side: over(foot.front if foot.tip is None else foot.tip, side)
        for side, foot in feet.items()
    }
    seconds = sum(one.size for one in balls.values()) / len(balls) / rate
    width_m = SAME_LEVEL_M * scale_of(motion)
    own = _own_levels(balls, width_m)
    stood = [one[1] - slope.at(one[0], one[2]) - own[side] for side, one in plants.items()]
    centred = [one - own[side] for side, one in balls.items()]
    at = floor_level(np.concatenate(centred), np.concatenate(stood), width_m)
    by_side = dict(_flat(at.height_m, own, balls, ankles, tips, width_m, rate))
    other = (at.other_m, at.other_share)
    return Standing(at.height_m, at.spread_m, slope, by_side, seconds, *other)


def _own_levels(balls: dict[str, Floats], width_m: float) -> dict[str, float]:
    """Side to how much higher that foot stands than halfway between both.

    Else the two levels of a capture's feet would blur those of a part that was lowered as a whole.
    """
    middles = {side: float(np.median(one)) for side, one in balls.items() if one.size}
    halfway = sum(middles.values()) / len(middles)
    if np.ptp(list(middles.values())) > _MOST_OWN * width_m:
        return dict.fromkeys(balls, 0.0)
    return {side: middles.get(side, halfway) - halfway for side in balls}


def _flat(
    level_m: float,
    own: dict[str, float],
    balls: dict[str, Floats],
    ankles: dict[str, Floats],
    tips: dict[str, Floats],
    width_m: float,
    sample_rate_hz: float,
) -> Iterator[tuple[str, Flat]]:
    """Each foot while its front joint and its ankle are near where it has them as it stands."""
    near = {side: np.abs(one - own[side] - level_m) <= width_m for side, one in balls.items()}
    ankle_m, _ = level(np.concatenate([ankles[side][near[side]] for side in balls]), width_m)
    for side, use in near.items():
        flat = use & (np.abs(ankles[side] - ankle_m) <= width_m)
        if flat.any():
            ball, ankle, tip = (one[side][flat] for one in (balls, ankles, tips))
            below = max(float(np.median(ball - tip)), 0.0)
            seconds = flat.sum() / sample_rate_hz
            yield side, Flat(float(np.median(ball)), float(np.median(ankle)), below, seconds)


def _on_floor(motion: Motion, foot: FootJoints) -> Bools:
    """Standing, and on no declared surface."""
    front = _path(motion, foot.front)
    use = _stands(motion, foot)
    for one in motion.cue.surfaces:
        use &= ~inside(one, front[0], front[2])
    return use


def _plants(motion: Motion, foot: FootJoints, use: Bools) -> Floats:
    """``(3, n)`` where the front joint was each time that the foot stood."""
    front = _path(motion, foot.front)
    rate = per_frame(motion.sample_rate_hz) * motion.sample_rate_hz
    stood = spans(use, bridge_frames=round(_ONE_STAND_S * rate))
    if len(stood) > _MOST_PLANTS:
        stood = [stood[i] for i in np.linspace(0, len(stood) - 1, _MOST_PLANTS).astype(np.intp)]
    at = []
    for one in stood:
        here = np.arange(one.first, one.last + 1)[use[one.first : one.last + 1]]
        at.append(_middle(front[:, here]))
    return np.array(at).T if at else np.empty((3, 0))


def _middle(paths: Floats) -> Floats:
    """Median of ``(n, frames)`` over the frames: a tenth of the time of NumPy's for short ones."""
    ordered, half = np.sort(paths, axis=1), paths.shape[1] // 2
    return np.asarray(0.5 * (ordered[:, half] + ordered[:, -half - 1]))
