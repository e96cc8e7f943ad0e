"""Frames in which a figure stands: what the anatomical zero is calibrated on.

Lengths are shares of the leg, so that a file in the wrong unit is read the same.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.segment_axes import UP, line, right_line, segment_line, start_joint
from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.kinematics.hinge import bend
from kinelint.kinematics.vectors import unit
from kinelint.motion import Motion

# All chosen on calm standing and walking takes; common practice, no source.
STILL_LEGS_PER_S = 0.25
WINDOW_S = 0.2
STRAIGHT_KNEE_RAD = float(np.radians(25.0))
UPRIGHT_TRUNK_RAD = float(np.radians(12.0))
UPRIGHT_LEG_RAD = float(np.radians(20.0))
LEVEL_FEET_LEGS = 0.06
FLAT_LEGS = 0.03
STEEP_SHANK_RAD = float(np.radians(50.0))


@dataclass(frozen=True, eq=False)
class Upright:
    """Masks ``(frames,)``.

    Attributes:
        standing: both feet planted, legs straight, trunk upright.
        stride: the trunk upright over one planted foot and a straight leg.
    """

    standing: Bools
    stride: Bools


def leg_length(motion: Motion, side: str) -> float:
    """Hip to ankle along the leg in the motion's own metres; NaN if a joint is missing."""
    joints = [start_joint(motion, f"{side}_{part}") for part in ("thigh", "shank", "foot")]
    if None in joints:
        return float("nan")
    hip, knee, ankle = (int(one) for one in joints if one is not None)
    upper = np.linalg.norm(line(motion, hip, knee), axis=0)
    lower = np.linalg.norm(line(motion, knee, ankle), axis=0)
    return float(np.median(upper + lower))


def still(motion: Motion, joint: int, leg: float) -> Bools:
    """``(frames,)``: where a joint hardly moves."""
    velocity = rates.windowed_velocity(motion.positions_m[joint], motion.sample_rate_hz, WINDOW_S)
    return np.asarray(np.linalg.norm(velocity, axis=0) < STILL_LEGS_PER_S * leg)


def low(motion: Motion, joint: int, leg: float) -> Bools:
    """``(frames,)``: where a joint is at its lowest and neither rises nor sinks."""
    heights = motion.positions_m[joint, 1]
    rise = rates.windowed_velocity(heights, motion.sample_rate_hz, WINDOW_S)
    at_its_lowest = heights < np.quantile(heights, 0.05) + FLAT_LEGS * leg
    return np.asarray(at_its_lowest & (np.abs(rise) < STILL_LEGS_PER_S * leg))


def planted(motion: Motion, side: str) -> Bools:
    """``(frames,)``: where a foot stands still and flat under a steep shank.

    In a clip that walks on the spot no foot is still: there the lowest frames stand for it. Flat
    is judged by the ankle's height over the ball of the foot, against the lowest that the planted
    foot holds: a raised heel lifts the ankle.
    """
    nowhere = np.zeros(motion.frames, dtype=np.bool_)
    ankle, leg = start_joint(motion, f"{side}_foot"), leg_length(motion, side)
    shank = segment_line(motion, f"{side}_shank")
    if ankle is None or shank is None or not np.isfinite(leg):
        return nowhere
    steep = bend(np.broadcast_to(-UP, shank.shape), shank) < STEEP_SHANK_RAD
    joints = [one for one in (ankle, ball_joint(motion, side)) if one is not None]
    for slow in (still, low):
        mask = steep & np.all([slow(motion, joint, leg) for joint in joints], axis=0)
        if mask.any():
            over = ankle_over_ball(motion, side)
            return np.asarray(mask & (over < np.quantile(over[mask], 0.1) + FLAT_LEGS * leg))
    return nowhere


def ankle_over_ball(motion: Motion, side: str) -> Floats:
    """``(frames,)`` metres the ankle is above the ball of the foot; its height without a ball."""
    heights = motion.positions_m[motion.part(f"{side}_foot").joint, 1]
    ball = ball_joint(motion, side)
    return np.asarray(heights if ball is None else heights - motion.positions_m[ball, 1])


def ball_joint(motion: Motion, side: str) -> int | None:
    """The joint at the ball of the foot, else the tip of the foot."""
    toes = start_joint(motion, f"{side}_toes")
    return motion.figure.anatomy.tips.get(f"{side}_foot") if toes is None else toes


def trunk_line(motion: Motion) -> Floats | None:
    """``(3, frames)`` from between the hips to between the shoulders, of length 1."""
    ends = []
    for part in ("thigh", "upper_arm"):
        left, right = start_joint(motion, f"left_{part}"), start_joint(motion, f"right_{part}")
        if left is None or right is None:
            return None
        ends.append((motion.positions_m[left] + motion.positions_m[right]) / 2)
    return unit(ends[1] - ends[0])


def upright(motion: Motion) -> Upright:
    """Where the figure stands, and where it strides upright; nowhere if that cannot be told."""
    nowhere = np.zeros(motion.frames, dtype=np.bool_)
    trunk, hips = trunk_line(motion), right_line(motion, "thigh")
    legs = {side: _straight_under(motion, side) for side in ("left", "right")}
    if trunk is None or hips is None or any(one is None for one in legs.values()):
        return Upright(nowhere, nowhere)
    straight = bend(np.broadcast_to(UP, trunk.shape), trunk) < UPRIGHT_TRUNK_RAD
    feet = {side: planted(motion, side) for side in legs}
    good = {side: mask & feet[side] for side, mask in legs.items() if mask is not None}
    ankles = [motion.positions_m[motion.part(f"{side}_foot").joint, 1] for side in legs]
    leg = leg_length(motion, "left")
    even = np.abs(ankles[0] - ankles[1]) < LEVEL_FEET_LEGS * leg
    return Upright(
        np.asarray(straight & good["left"] & good["right"] & even),
        np.asarray(straight & (good["left"] | good["right"])),
    )


def _straight_under(motion: Motion, side: str) -> Bools | None:
    thigh = segment_line(motion, f"{side}_thigh")
    shank = segment_line(motion, f"{side}_shank")
    if thigh is None or shank is None:
        return None
    down = np.broadcast_to(-UP, thigh.shape)
    return np.asarray(
        (bend(thigh, shank) < STRAIGHT_KNEE_RAD)
        & (bend(down, unit(thigh + shank)) < UPRIGHT_LEG_RAD)
    )
