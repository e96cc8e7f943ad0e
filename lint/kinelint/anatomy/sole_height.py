"""How high the front joint of a standing foot is over its sole, where no rest pose tells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import FootJoints, ankle_height_of, stature_of
from kinelint.anatomy.standing import Flat, Standing, standing_frames
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.motion import Motion

# The joint of the toes lies between the floor and this part of stature above it (an upper bound,
# common practice, no source): bare feet and thick boots lie in between.
_MOST_UNDER_BALL = 0.035
# A skin's foot reaches no further under that joint: platform soles do (common practice, no source).
_MOST_OF_SKIN = 0.07
# A declared floor corrects the sole of people by this much at most: of twelve captures whose floor
# is at 0, eleven stand within -15 and +13 mm of it. It is less than any limit on whole clips.
_CORRECTED_M = 0.015
# Heights of a flat foot that are the same, and as many frames as tell.
_SAME_M = 0.005
_FRAMES = 64


# A foot that stands for less than this tells less of the floor.
_SURE_S = 0.5


@dataclass(frozen=True, slots=True)
class SoleHeight:
    """The front joints over the soles of standing feet.

    Attributes:
        under_ball_m: side to how high.
        source: "rest", "skin", "people" (by the height of the ankle, ANSUR II) or "floor":
            people's, corrected so that the feet stand on the declared floor.
        corrected_m: by how much that made them thicker.
    """

    under_ball_m: dict[str, float]
    source: str
    corrected_m: float = 0.0


def sole_height(
    motion: Motion, feet: Mapping[str, FootJoints], standing: Standing, declared: float | None
) -> SoleHeight:
    """From the skin where there is one, else from people and, a little, the declared floor.

    A declared floor cannot tell how thick a sole is and how high the clip floats at once. So what
    it may add is small, and where more is missing the clip is off its floor by all of it.
    """
    by_skin = [
        one
        for side, foot in feet.items()
        if (one := _of_skin(motion, foot, standing, side)) is not None
    ]
    if by_skin and 0.0 <= np.mean(by_skin) <= _MOST_OF_SKIN * stature_of(motion):
        return SoleHeight(dict.fromkeys(standing.by_side, float(np.mean(by_skin))), "skin")
    guess = {side: _of_people(motion, flat) for side, flat in standing.by_side.items()}
    off = 0.0 if declared is None else floor_under(standing, guess) - declared
    if declared is None or abs(off) > _CORRECTED_M:
        return SoleHeight(guess, "people")
    return SoleHeight({side: one + off for side, one in guess.items()}, "floor", off)


def floor_under(standing: Standing, under_ball_m: Mapping[str, float]) -> float:
    """Height of the floor under feet whose soles are so thick: halfway between both feet's.

    A capture's feet may be of different heights, by its markers and its fit. If the floor were
    under the one that stands for longer, a dip of the other could move it.
    """
    weights = [min(flat.seconds, _SURE_S) for flat in standing.by_side.values()]
    floors = [flat.ball_m - under_ball_m[side] for side, flat in standing.by_side.items()]
    return float(np.average(floors, weights=weights))


def _of_people(motion: Motion, flat: Flat) -> float:
    guess = ankle_height_of(motion) - (flat.ankle_m - flat.ball_m)
    most = max(_MOST_UNDER_BALL * stature_of(motion), flat.tip_under_ball_m)
    return float(np.clip(guess, flat.tip_under_ball_m, most))


def _of_skin(motion: Motion, foot: FootJoints, standing: Standing, side: str) -> float | None:
    """Over the lowest vertex of its skin, as the foot is turned while it stands flat."""
    points = {} if motion.figure.body is None else motion.figure.body.soles_m
    parts = [part for part in (f"{side}_foot", f"{side}_toes") if part in points]
    if not parts or side not in standing.by_side:
        return None
    frames = _flat_frames(motion, foot, standing)
    if not frames.size:
        return None
    lowest = np.full(frames.size, np.inf)
    for part in parts:
        joint = motion.figure.anatomy.joints[part][0]
        turn = motion.orientations[joint][:, frames]
        under = rotations.rotate(turn, points[part].T[:, :, None])[:, 1].min(axis=0)
        lowest = np.minimum(lowest, motion.positions_m[joint, 1, frames] + under)
    return float(np.median(motion.positions_m[foot.front, 1, frames] - lowest))


def _flat_frames(motion: Motion, foot: FootJoints, standing: Standing) -> Ints:
    """Some of the frames in which ankle and front joint are as high as in a flat stand."""
    flat = standing_frames(motion, foot)
    one = standing.by_side[foot.side]
    for joint, height_m in ((foot.front, one.ball_m), (foot.ankle, one.ankle_m)):
        x, y, z = motion.positions_m[joint]
        flat &= np.abs(_over(standing, x, y, z) - height_m) <= _SAME_M
    frames = np.flatnonzero(flat)
    return frames[:: max(-(-frames.size // _FRAMES), 1)]


def _over(standing: Standing, x: Floats, y: Floats, z: Floats) -> Floats:
    return np.asarray(y - standing.slope.at(x, z))
