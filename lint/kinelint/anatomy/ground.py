"""The floor under a clip: declared, or estimated from where the feet stand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import FootJoints, ankle_height_of, foot_joints, rest_pose, scale_of
from kinelint.anatomy.feet import stature_of as _stature
from kinelint.anatomy.plane import Plane
from kinelint.anatomy.sole_height import SoleHeight, floor_under, sole_height
from kinelint.anatomy.standing import Standing, inside, standing_heights
from kinelint.errors import NotApplicable
from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion

# Left and right foot of a capture may stand this far apart in height: markers and fit.
_SIDES_APART_M = 0.010
# A clip that stands further than this part of stature from the rest pose's floor is somewhere
# else in the scene, on a deck say, if it stands there for long.
_MOST_OFF = 0.08
_LITTLE_OFF = 0.015
_SURE_S = 1.0
# In a rest pose that stands, toes or ball lie no higher over the floor than this part of its height
# (people's: 1 to 2 percent), and the ankle of a foot without any no higher than this.
_HIGHEST_FRONT = 0.025
_HIGHEST_ANKLE = 0.05
# Corrections of the sole that are worth a word.
_SAID_M = 0.001


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
        rest_m: height of the floor that the rest pose stands on; None if it stands on none.
        doubt_m: how far an estimated floor may be too high: under one foot it is, where the two
            do not stand on one level.
        guessed: no foot ever stands, so that depths against this floor mean little.
        note: what was assumed.
    """

    floor: Plane
    estimated: bool
    stance: Plane
    spread_m: float
    under_ball_m: dict[str, float]
    under_ankle_m: dict[str, float]
    note: Note
    rest_m: float | None = None
    doubt_m: float = 0.0
    guessed: bool = False

    @property
    def height_m(self) -> float:
        """Of the floor; in the middle of where the feet stand if it slopes."""
        return self.floor.height_m

    @property
    def offset_m(self) -> float:
        """How far the clip as a whole stands above its floor; below is negative."""
        return self.stance.height_m - self.floor.height_m


def ground(motion: Motion) -> Ground:
    """The cue sheet's floor, else the policy's, else the rest pose's, else an estimate.

    A format that says which way is up places its rest pose in the scene: where that stands at
    height 0 and the clip stands thereabouts, the floor is there. An estimate takes the lowest
    level on which the feet stand still for long, over both feet and all frames, less what lies
    between the joint of the toes and the sole, by the height of the ankle (ANSUR II). Of two levels
    less than a stair apart it takes the one with most of the stands. It may slope by up to 2.5
    degrees, as captures do that were levelled badly.

    Raises:
        NotApplicable: no floor was declared, and there are no feet to estimate one from.
    """
    declared = motion.cue.ground_m if motion.cue.ground_m is not None else motion.ground_m
    try:
        feet = foot_joints(motion)
    except NotApplicable:
        if declared is None:
            raise
        return _bare(declared, None)
    rest = _rest_heights(motion, feet)
    standing = standing_heights(motion, feet)
    if standing is not None:
        return _settled(motion, feet, standing, declared, rest)
    if declared is not None:
        return _bare(declared, rest)
    return _lowest_foot(motion, feet) if rest is None else _bare(None, rest)


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


def _settled(
    motion: Motion,
    feet: Mapping[str, FootJoints],
    standing: Standing,
    declared: float | None,
    rest: _Rest | None,
) -> Ground:
    sole = sole_height(motion, feet, standing, declared)
    if rest is not None:
        sole = SoleHeight(dict.fromkeys(standing.by_side, rest.ball_m), "rest")
    height_m = floor_under(standing, sole.under_ball_m)
    stance = Plane(height_m, standing.slope.slope, standing.slope.about_m)
    off = abs(stance.height_m - (declared or 0.0)) / _stature(motion)
    if rest is not None and standing.seconds < _SURE_S and off > _LITTLE_OFF:
        # A pose held in the air or on the ground for a moment is no stand.
        return _bare(declared, rest)
    floor, note = stance, _estimate_note(stance, standing)
    if declared is not None:
        floor, note = Plane(declared), _declared_note(declared, sole)
    elif rest is not None and off <= _MOST_OFF:
        floor, note = Plane(0.0), _rest_note()
    apart = 0.0 if rest is not None else _SIDES_APART_M * scale_of(motion)
    balls, ankles, own_m = {}, {}, {}
    for side, flat in standing.by_side.items():
        own_m[side] = flat.ball_m - sole.under_ball_m[side] - height_m
        balls[side] = sole.under_ball_m[side] + float(np.clip(own_m[side], -apart, apart))
        ankles[side] = flat.ankle_m - flat.ball_m + balls[side]
    return Ground(
        floor,
        declared is None,
        stance,
        standing.spread_m,
        balls,
        ankles,
        note,
        None if rest is None else 0.0,
        min(-min(own_m.values()), apart) if declared is None else 0.0,
    )


@dataclass(frozen=True, slots=True)
class _Rest:
    """Heights of ankle and front joint in a rest pose that stands at height 0."""

    ankle_m: float
    ball_m: float


def _rest_heights(motion: Motion, feet: Mapping[str, FootJoints]) -> _Rest | None:
    """Where the rest pose stands on the scene's floor; None if it stands anywhere else."""
    if motion.clip.up_axis is None:
        return None
    at, _ = rest_pose(motion)
    tall = float(at[:, 1].max())
    ankle = float(np.mean([at[foot.ankle, 1] for foot in feet.values()]))
    ball = float(np.mean([at[foot.front, 1] for foot in feet.values()]))
    ends = min(float(at[j, 1]) for f in feet.values() for j in (f.ankle, f.front, f.tip or f.front))
    # A take's first frame may be its rest pose; then the feet are somewhere near the floor only.
    whole = all(f.front != f.ankle for f in feet.values())
    highest = (_HIGHEST_FRONT if whole else _HIGHEST_ANKLE) * tall
    stands = -0.01 * tall <= ends <= highest and 0.0 < ankle <= 0.2 * tall
    return _Rest(ankle, max(ball, 0.0)) if stands else None


def _declared_note(floor_m: float, sole: SoleHeight | None = None) -> Note:
    text = f"the floor is declared at {floor_m:.3f} m"
    if sole is not None and abs(sole.corrected_m) >= _SAID_M:
        thicker = "thicker" if sole.corrected_m > 0 else "thinner"
        size_mm = 1000.0 * abs(sole.corrected_m)
        text += f"; the soles were taken {size_mm:.0f} mm {thicker} than people's to stand on it"
    return Note("ground", text)


def _rest_note() -> Note:
    return Note("ground", "the floor was taken at 0.000 m, where the rest pose stands")


def _estimate_note(floor: Plane, standing: Standing) -> Note:
    text = f"the floor was estimated at {floor.height_m:.3f} m from where the feet stand"
    if floor.slope_deg > 0.05:
        text += f"; it slopes by {floor.slope_deg:.1f} degrees"
    if standing.other_m is not None:
        where = "higher" if standing.other_m > 0 else "lower"
        text += f"; {100.0 * standing.other_share:.0f} % of the time they stand "
        text += f"{1000.0 * abs(standing.other_m):.0f} mm {where}"
    return Note("ground", text)


def _bare(declared: float | None, rest: _Rest | None) -> Ground:
    """A floor on which no foot of this clip is known to stand: declared, or the rest pose's."""
    floor = Plane(0.0 if declared is None else declared)
    note = _rest_note() if declared is None else _declared_note(declared)
    rest_m = None if rest is None else 0.0
    return Ground(floor, declared is None, floor, float("nan"), {}, {}, note, rest_m)


def _lowest_foot(motion: Motion, feet: Mapping[str, FootJoints]) -> Ground:
    """No foot ever stands: the lowest twentieth of the feet's heights, for want of better."""
    lows = np.min([motion.positions_m[foot.front, 1] for foot in feet.values()], axis=0)
    under = ankle_height_of(motion) / 2.0
    floor = Plane(float(np.quantile(lows, 0.05)) - under)
    text = f"no foot stands still in this clip: the floor was guessed at {floor.height_m:.3f} m"
    return Ground(floor, True, floor, float("nan"), {}, {}, Note("ground", text), guessed=True)
