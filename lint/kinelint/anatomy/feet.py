"""The joints of the feet, and the levels that things stand on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.parts import SIDES
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.contact import REFERENCE_LEG_M
from kinelint.kinematics.forward import forward, forward_scaled
from kinelint.motion import Motion

# Fractions of stature, ANSUR II (Gordon et al. 2014), men: foot length and lateral malleolus
# height, and that of women. The ankle's place along the foot is common practice, no source.
FOOT_LENGTH = 0.1544
ANKLE_HEIGHT = 0.0415
_ANKLE_HEIGHT_WOMEN = 0.0385
HEEL_BEHIND_ANKLE = 0.25 * FOOT_LENGTH
# Hip to ankle over stature (de Leva 1996, from memory).
_LEG = 0.4954
WINDOW_S = 0.1
# Heights of a foot that stands agree within this, noise and soft heels included.
SAME_LEVEL_M = 0.025


@dataclass(frozen=True, slots=True)
class FootJoints:
    """Where one foot hangs: ankle, ball (the joint of the toes) and tip; None where it has none."""

    side: str
    ankle: int
    ball: int | None
    tip: int | None

    @property
    def front(self) -> int:
        """The joint that is nearest to the ball of the foot."""
        return next(joint for joint in (self.ball, self.tip, self.ankle) if joint is not None)


def foot_joints(motion: Motion) -> dict[str, FootJoints]:
    """The feet that the skeleton has and that were captured.

    Raises:
        NotApplicable: there is none.
    """
    found = {}
    anatomy = motion.figure.anatomy
    for side in SIDES:
        if not motion.has(f"{side}_foot"):
            continue
        toes = f"{side}_toes"
        ball = anatomy.joints[toes][0] if motion.has(toes) else None
        tip = anatomy.tips.get(toes if ball is not None else f"{side}_foot")
        found[side] = FootJoints(side, anatomy.joints[f"{side}_foot"][0], ball, tip)
    if not found:
        # Says which of the two it is: not recognised, or not captured.
        motion.part("left_foot")
    return found


def scale_of(motion: Motion) -> float:
    """How long the leg is against the one that limits are given for."""
    leg_m = motion.figure.leg_m
    return leg_m / REFERENCE_LEG_M if np.isfinite(leg_m) and leg_m > 0 else 1.0


def stature_of(motion: Motion) -> float:
    """The figure's stature, from its legs: a rig's head may be any size."""
    leg_m = motion.figure.leg_m
    if np.isfinite(leg_m) and leg_m > 0:
        return leg_m / _LEG
    return motion.figure.stature_m if np.isfinite(motion.figure.stature_m) else 1.75


def ankle_height_of(motion: Motion) -> float:
    """How high the ankle is over a bare sole, metres, in people of the figure's stature and sex."""
    women = motion.figure.sex == "female"
    return (_ANKLE_HEIGHT_WOMEN if women else ANKLE_HEIGHT) * stature_of(motion)


def level(heights_m: Floats, width_m: float, share: float = 0.5) -> tuple[float, float]:
    """The height that things stand on, and how far they spread about it.

    The lowest crowd of heights within `width_m` that holds at least `share` of the frames of the
    fullest: one foot that dips for a while does not make a floor, nor does a step climbed.

    Returns:
        Median and median absolute deviation of the crowd.
    """
    sorted_m = np.sort(heights_m)
    crowd = np.searchsorted(sorted_m, sorted_m + width_m, side="right") - np.arange(sorted_m.size)
    first = int(np.argmax(crowd >= share * crowd.max()))
    near = int(np.searchsorted(sorted_m, sorted_m[first] + width_m, side="right"))
    start = first + int(np.argmax(crowd[first:near]))
    members = sorted_m[start : start + int(crowd[start])]
    middle = float(np.median(members))
    return middle, float(np.median(np.abs(members - middle)))


def rest_pose(motion: Motion) -> tuple[Floats, Floats]:
    """Positions ``(joints, 3)`` and orientations ``(joints, 4)`` at rest, metres, Y up."""
    skeleton = motion.clip.skeleton
    none, empty = np.empty(0, dtype=np.intp), np.empty((0, 3, 1))
    local = skeleton.rest_rotations[..., None]
    moved = (skeleton.parents, local, skeleton.rest_translations, none, empty)
    if np.all(skeleton.rest_scales == 1.0):
        positions, orientations = forward(*moved)
    else:
        positions, orientations = forward_scaled(*moved, skeleton.rest_scales, none, empty)
    turn, unit = motion.figure.to_y_up, motion.figure.metres_per_unit
    positions = rotations.rotate(turn, positions) * unit
    return positions[..., 0], rotations.multiply(turn, orientations)[..., 0]
