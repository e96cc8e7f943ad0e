"""The floor under a clip: declared, or estimated from where the feet stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import ANKLE_HEIGHT, FootJoints, foot_joints, rest_pose, scale_of
from kinelint.anatomy.feet import stature_of as _stature
from kinelint.anatomy.plane import Plane
from kinelint.anatomy.standing import Standing, inside, standing_heights
from kinelint.errors import NotApplicable
from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion

# The joint of the toes lies between the floor and this part of stature above it (an upper bound,
# common practice, no source): bare feet and thick boots lie in between.
_MOST_UNDER_BALL = 0.035
# Left and right foot of a capture may stand this far apart in height: markers and fit.
_SIDES_APART_M = 0.010


@dataclass(frozen=True, slots=True)
class Ground:
    """The floor.

    Attributes:
        floor: declared or estimated.
        estimated: nobody declared it.
        stance: the plane on which the feet of this clip stand; the same as `floor` unless the
            clip as a whole floats over or sinks into a declared one.
        spread_m: median absolute deviation of the heights of standing feet.
        under_ball_m: side to the height of the front joint of a standing foot over its sole.
        under_ankle_m: the same of the ankle when the foot is flat; empty if it never was.
        note: what was assumed.
    """

    floor: Plane
    estimated: bool
    stance: Plane
    spread_m: float
    under_ball_m: dict[str, float]
    under_ankle_m: dict[str, float]
    note: Note

    @property
    def height_m(self) -> float:
        """Of the floor; in the middle of where the feet stand if it slopes."""
        return self.floor.height_m

    @property
    def offset_m(self) -> float:
        """How far the clip as a whole stands above its floor; below is negative."""
        return self.stance.height_m - self.floor.height_m


def ground(motion: Motion) -> Ground:
    """The cue sheet's floor, else the policy's, else one estimated from the feet.

    An estimate takes the lowest level on which the feet stand still for long, over both feet and
    all frames, less what lies between the joint of the toes and the sole: as the rest pose has
    it, if that stands on the file's own floor; else from the height of the ankle (ANSUR II). It
    may slope by up to 2.5 degrees, as captures that were levelled badly do.

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
    standing = standing_heights(motion, feet)
    if standing is None:
        return _lowest_foot(motion, feet) if declared is None else _declared_only(declared)
    return _settled(motion, standing, declared)


def surface_height(motion: Motion, x: Floats, z: Floats) -> Floats:
    """``(frames,)`` height of what lies under points (x, z): the floor or a declared surface."""
    return surfaces_over(motion, motion.derive(ground).floor, x, z)


def surfaces_over(motion: Motion, floor: Plane, x: Floats, z: Floats) -> Floats:
    """The same over another floor."""
    top = floor.at(x, z)
    for one in motion.cue.surfaces:
        top = np.where(inside(one, x, z), np.maximum(top, one.top_m), top)
    return top


def depth_under(motion: Motion, floor: Plane, path: Floats) -> Floats:
    """``(frames,)`` how deep points ``(3, frames)`` are in the ground; negative is above it.

    A declared surface is a block from the floor to its top: a point in it is as deep as the
    nearest way out, up or to a side.
    """
    x, y, z = path
    depth = floor.at(x, z) - y
    for one in motion.cue.surfaces:
        (ax, az), (bx, bz) = one.from_m, one.to_m
        aside = np.minimum(
            np.minimum(x - min(ax, bx), max(ax, bx) - x),
            np.minimum(z - min(az, bz), max(az, bz) - z),
        )
        out = np.where(aside >= 0, np.minimum(one.top_m - y, aside), -np.inf)
        over = np.where(aside >= 0, one.top_m - y, -np.inf)
        depth = np.maximum(depth, np.where(over > 0, out, over))
    return np.asarray(depth)


def _settled(motion: Motion, standing: Standing, declared: float | None) -> Ground:
    at_rest = _rest_under_ball(motion)
    under = _under_ball(motion, standing, declared) if at_rest is None else at_rest
    stance = Plane(standing.ball_m - under, standing.slope.slope, standing.slope.about_m)
    floor = stance if declared is None else Plane(declared)
    apart = 0.0 if at_rest is not None else _SIDES_APART_M * scale_of(motion)
    balls, ankles = {}, {}
    for side, (ball, ankle) in standing.by_side.items():
        balls[side] = under + float(np.clip(ball - standing.ball_m, -apart, apart))
        ankles[side] = ankle - ball + balls[side]
    note = _note(floor, declared is None)
    return Ground(floor, declared is None, stance, standing.spread_m, balls, ankles, note)


def _under_ball(motion: Motion, standing: Standing, declared: float | None) -> float:
    """How high the front joint stands over the sole, where only the clip itself can tell."""
    stature = _stature(motion)
    guess = ANKLE_HEIGHT * stature - (standing.ankle_m - standing.ball_m)
    if declared is not None:
        guess = standing.ball_m - declared
    return float(np.clip(guess, standing.tip_under_ball_m, _MOST_UNDER_BALL * stature))


def _rest_under_ball(motion: Motion) -> float | None:
    """Height of the front joint over the sole where the rest pose stands on the file's floor.

    A format that says which way is up places its rest pose in the scene; others place it anywhere.
    """
    if motion.clip.up_axis is None:
        return None
    at, _ = rest_pose(motion)
    stature = _stature(motion)
    feet = foot_joints(motion).values()
    ankle = float(np.mean([at[foot.ankle, 1] for foot in feet]))
    ball = float(np.mean([at[foot.front, 1] for foot in feet]))
    stands = 0.02 * stature <= ankle <= 0.09 * stature
    return max(ball, 0.0) if stands and -0.003 * stature <= ball <= ankle else None


def _note(floor: Plane, estimated: bool) -> Note:
    if not estimated:
        return Note("ground", f"the floor is declared at {floor.height_m:.3f} m")
    text = f"the floor was estimated at {floor.height_m:.3f} m from where the feet stand"
    if floor.slope_deg > 0.05:
        text += f"; it slopes by {floor.slope_deg:.1f} degrees"
    return Note("ground", text)


def _declared_only(declared: float) -> Ground:
    floor = Plane(declared)
    return Ground(floor, False, floor, float("nan"), {}, {}, _note(floor, False))


def _lowest_foot(motion: Motion, feet: dict[str, FootJoints]) -> Ground:
    """No foot ever stands: the lowest twentieth of the feet's heights, for want of better."""
    lows = np.min([motion.positions_m[foot.front, 1] for foot in feet.values()], axis=0)
    under = ANKLE_HEIGHT * _stature(motion) / 2.0
    floor = Plane(float(np.quantile(lows, 0.05)) - under)
    text = f"no foot stands still in this clip: the floor was guessed at {floor.height_m:.3f} m"
    return Ground(floor, True, floor, float("nan"), {}, {}, Note("ground", text))
