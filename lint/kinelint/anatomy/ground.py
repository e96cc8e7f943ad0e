"""The floor under a clip: declared, or estimated from where the feet stand."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import (
    ANKLE_HEIGHT,
    SAME_LEVEL_M,
    FootJoints,
    foot_joints,
    level,
    rest_pose,
    scale_of,
    stature_of,
)
from kinelint.anatomy.standing import standing_frames
from kinelint.errors import NotApplicable
from kinelint.finding import Note
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.motion import Motion

# The joint of the toes lies between the floor and this part of stature above it (an upper bound,
# common practice, no source): bare feet and thick boots lie in between.
_MOST_UNDER_BALL = 0.035
# Fewer frames than this make no floor.
_LEAST_S = 0.1
# Left and right foot of a capture may stand this far apart in height: markers and fit.
_SIDES_APART_M = 0.010


@dataclass(frozen=True, slots=True)
class Ground:
    """The floor.

    Attributes:
        height_m: of the floor, Y up.
        estimated: nobody declared it.
        stance_m: the height on which the feet of this clip stand; the same as `height_m` unless
            the whole clip floats over or sinks into a declared floor.
        spread_m: median absolute deviation of the heights of standing feet.
        under_ball_m: side to the height of the front joint of a standing foot over its sole.
        under_ankle_m: the same of the ankle when the foot is flat; empty if it never was.
        note: what was assumed.
    """

    height_m: float
    estimated: bool
    stance_m: float
    spread_m: float
    under_ball_m: dict[str, float]
    under_ankle_m: dict[str, float]
    note: Note

    @property
    def offset_m(self) -> float:
        """How far the clip as a whole stands above its floor; below is negative."""
        return self.stance_m - self.height_m


@dataclass(frozen=True, slots=True)
class _Standing:
    """Heights of standing feet: of the front joint and, flat, of the ankle."""

    ball_m: float
    ankle_m: float
    spread_m: float
    by_side: dict[str, tuple[float, float]]
    tip_under_ball_m: float


def ground(motion: Motion) -> Ground:
    """The cue sheet's floor, else the policy's, else one estimated from the feet.

    An estimate takes the lowest level on which the feet stand still for long, over both feet and
    all frames, less what lies between the joint of the toes and the sole: as the rest pose has
    it, if that stands on the file's own floor; else from the height of the ankle (ANSUR II).

    Raises:
        NotApplicable: no floor was declared, and there are no feet to estimate one from.
    """
    declared = motion.cue.ground_m if motion.cue.ground_m is not None else motion.ground_m
    try:
        feet = foot_joints(motion)
    except NotApplicable:
        if declared is None:
            raise
        return _declared_only(declared)
    standing = _standing(motion, feet)
    if standing is None:
        if declared is not None:
            return _declared_only(declared)
        return _lowest_foot(motion, feet)
    return _settled(motion, standing, declared)


def surface_height(motion: Motion, x: Floats, z: Floats) -> Floats:
    """``(frames,)`` height of what lies under points (x, z): the floor or a declared surface."""
    return surfaces_over(motion, motion.derive(ground).height_m, x, z)


def surfaces_over(motion: Motion, floor_m: float, x: Floats, z: Floats) -> Floats:
    """The same over another floor."""
    top = np.full(np.shape(x), floor_m)
    for one in motion.cue.surfaces:
        inside = _inside(one.from_m, one.to_m, x, z)
        top = np.where(inside, np.maximum(top, one.top_m), top)
    return top


def _inside(a: tuple[float, float], b: tuple[float, float], x: Floats, z: Floats) -> Bools:
    between_x = (x >= min(a[0], b[0])) & (x <= max(a[0], b[0]))
    return np.asarray(between_x & (z >= min(a[1], b[1])) & (z <= max(a[1], b[1])))


def _standing(motion: Motion, feet: dict[str, FootJoints]) -> _Standing | None:
    width = SAME_LEVEL_M * scale_of(motion)
    balls, ankles, tips = {}, {}, {}
    for side, foot in feet.items():
        front = motion.positions_m[foot.front]
        use = standing_frames(motion, foot) & ~_on_surface(motion, front)
        balls[side] = front[1, use]
        ankles[side] = motion.positions_m[foot.ankle, 1, use]
        tip = foot.front if foot.tip is None else foot.tip
        tips[side] = front[1, use] - motion.positions_m[tip, 1, use]
    everyone = np.concatenate(list(balls.values()))
    if everyone.size < _LEAST_S * motion.sample_rate_hz:
        return None
    ball, spread = level(everyone, width)
    near = {side: np.abs(one - ball) <= width for side, one in balls.items()}
    low = np.concatenate([ankles[side][near[side]] for side in feet])
    ankle, _ = level(low, width)
    below = np.concatenate([tips[side][near[side]] for side in feet])
    by_side = dict(_sides(balls, ankles, near, ankle, width))
    return _Standing(ball, ankle, spread, by_side, max(float(np.median(below)), 0.0))


def _sides(
    balls: dict[str, Floats],
    ankles: dict[str, Floats],
    near: dict[str, Bools],
    ankle_m: float,
    width_m: float,
) -> Iterator[tuple[str, tuple[float, float]]]:
    for side, use in near.items():
        flat = use & (np.abs(ankles[side] - ankle_m) <= width_m)
        if flat.any():
            yield side, (float(np.median(balls[side][flat])), float(np.median(ankles[side][flat])))


def _on_surface(motion: Motion, point: Floats) -> Bools:
    on = np.zeros(point.shape[-1], dtype=np.bool_)
    for one in motion.cue.surfaces:
        on |= _inside(one.from_m, one.to_m, point[0], point[2])
    return on


def _settled(motion: Motion, standing: _Standing, declared: float | None) -> Ground:
    at_rest = _rest_under_ball(motion)
    most = _MOST_UNDER_BALL * stature_of(motion)
    if at_rest is not None:
        under = at_rest
    elif declared is not None:
        under = float(np.clip(standing.ball_m - declared, standing.tip_under_ball_m, most))
    else:
        rise = standing.ankle_m - standing.ball_m
        under = ANKLE_HEIGHT * stature_of(motion) - rise
        under = float(np.clip(under, standing.tip_under_ball_m, most))
    stance = standing.ball_m - under
    height = stance if declared is None else declared
    apart = 0.0 if at_rest is not None else _SIDES_APART_M * scale_of(motion)
    balls, ankles = {}, {}
    for side, (ball, ankle) in standing.by_side.items():
        more = float(np.clip(ball - standing.ball_m, -apart, apart))
        balls[side] = under + more
        ankles[side] = ankle - ball + balls[side]
    return Ground(
        height, declared is None, stance, standing.spread_m, balls, ankles, _note(declared, height)
    )


def _rest_under_ball(motion: Motion) -> float | None:
    """Height of the front joint over the sole where the rest pose stands on the file's floor."""
    at, _ = rest_pose(motion)
    stature = stature_of(motion)
    feet = foot_joints(motion).values()
    ankle = float(np.mean([at[foot.ankle, 1] for foot in feet]))
    ball = float(np.mean([at[foot.front, 1] for foot in feet]))
    stands = 0.02 * stature <= ankle <= 0.09 * stature
    return max(ball, 0.0) if stands and -0.003 * stature <= ball <= ankle else None


def _note(declared: float | None, height_m: float) -> Note:
    if declared is not None:
        return Note("ground", f"the floor is declared at {height_m:.3f} m")
    text = f"the floor was estimated at {height_m:.3f} m from where the feet stand"
    return Note("ground", text)


def _declared_only(declared: float) -> Ground:
    return Ground(declared, False, declared, float("nan"), {}, {}, _note(declared, declared))


def _lowest_foot(motion: Motion, feet: dict[str, FootJoints]) -> Ground:
    """No foot ever stands: the lowest twentieth of the feet's heights, for want of better."""
    lows = np.min([motion.positions_m[foot.front, 1] for foot in feet.values()], axis=0)
    under = ANKLE_HEIGHT * stature_of(motion) / 2.0
    height = float(np.quantile(lows, 0.05)) - under
    text = f"no foot stands still in this clip: the floor was guessed at {height:.3f} m"
    return Ground(height, True, height, float("nan"), {}, {}, Note("ground", text))
