"""A virtual sole: heel, ball and tip of each foot as points that move with it.

Hardly any skeleton has a heel joint. The points are placed under the joints of a foot that
stands flat, and carried by the foot (heel) and the toes (ball, tip) from there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import (
    HEEL_BEHIND_ANKLE,
    SAME_LEVEL_M,
    FootJoints,
    ankle_height_of,
    foot_joints,
    rest_pose,
    scale_of,
    stature_of,
)
from kinelint.anatomy.ground import Ground, ground
from kinelint.anatomy.standing import standing_frames
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, frozen
from kinelint.motion import Motion

# A foot without a joint at the toes that is longer than this part of stature ends in the toes'
# tip, else in the ball. The ball lies at this part of the way from the ankle to the tip.
_ENDS_IN_TIP = 0.095
_BALL_ON_WAY = 0.68
# Of a foot without any point in front of the ankle, common practice, no source.
_BALL_BEFORE_ANKLE = 0.07


@dataclass(frozen=True, eq=False)
class Sole:
    """The sole of one foot.

    Attributes:
        side: "left" or "right".
        heel_m, ball_m: ``(3, frames)`` in the world.
        tip_m: ``(3, frames)`` of the toes' end; None if the skeleton does not end there.
        offsets_m: point to ``(3,)`` from its joint, in the joint's axes.
        placed: "standing" if placed on frames in which the foot stands flat, else "rest".
    """

    side: str
    heel_m: Floats
    ball_m: Floats
    tip_m: Floats | None
    offsets_m: dict[str, Floats]
    placed: str

    @property
    def points(self) -> dict[str, Floats]:
        """Name to path: heel, ball and, if there is one, tip."""
        both = {"heel": self.heel_m, "ball": self.ball_m}
        return both if self.tip_m is None else {**both, "tip": self.tip_m}


@dataclass(frozen=True, slots=True)
class _Pose:
    """Frames of a flat foot: positions ``(3, n)`` and orientations ``(4, n)``."""

    foot_joint: int
    ankle: Floats
    front: Floats
    tip: Floats | None
    foot_turn: Floats
    toes_turn: Floats
    under_front_m: float
    under_ankle_m: float


def soles(motion: Motion) -> dict[str, Sole]:
    """The sole of each foot that there is, by side.

    Raises:
        NotApplicable: there are no feet, or they were not captured.
    """
    floor = motion.derive(ground)
    made = {}
    for side, foot in foot_joints(motion).items():
        pose, placed = _standing_pose(motion, foot, floor), "standing"
        if pose is None:
            pose, placed = _resting_pose(motion, foot, floor), "rest"
        made[side] = _carried(motion, foot, _offsets(motion, foot, pose), placed)
    return made


def _standing_pose(motion: Motion, foot: FootJoints, floor: Ground) -> _Pose | None:
    """The frames in which the foot stands flat: front and ankle at the height they stand at."""
    if foot.side not in floor.under_ankle_m:
        return None
    under_front, under_ankle = floor.under_ball_m[foot.side], floor.under_ankle_m[foot.side]
    ankle, front = motion.positions_m[foot.ankle], motion.positions_m[foot.front]
    near = SAME_LEVEL_M * scale_of(motion) / 2.0
    flat = standing_frames(motion, foot)
    for path, under in ((front, under_front), (ankle, under_ankle)):
        flat &= np.abs(path[1] - floor.stance.at(path[0], path[2]) - under) <= near
    if not flat.any():
        return None
    return _Pose(
        foot.ankle,
        ankle[:, flat],
        front[:, flat],
        None if foot.tip is None else motion.positions_m[foot.tip][:, flat],
        motion.orientations[foot.ankle][:, flat],
        motion.orientations[_toes_frame(foot)][:, flat],
        under_front,
        under_ankle,
    )


def _resting_pose(motion: Motion, foot: FootJoints, floor: Ground) -> _Pose:
    """The rest pose: on its floor if it stands on one, else with the ankle as high as in people."""
    at, turned = rest_pose(motion)
    ankle, front = at[foot.ankle][:, None], at[foot.front][:, None]
    under_ankle = ankle_height_of(motion)
    under_front = max(under_ankle - float(ankle[1, 0] - front[1, 0]), 0.0)
    if floor.rest_m is not None:
        under_ankle, under_front = (float(p[1, 0]) - floor.rest_m for p in (ankle, front))
    return _Pose(
        foot.ankle,
        ankle,
        front,
        None if foot.tip is None else at[foot.tip][:, None],
        turned[foot.ankle][:, None],
        turned[_toes_frame(foot)][:, None],
        under_front,
        under_ankle,
    )


def _toes_frame(foot: FootJoints) -> int:
    return foot.ankle if foot.ball is None else foot.ball


def _offsets(motion: Motion, foot: FootJoints, pose: _Pose) -> dict[str, Floats]:
    """Points under the flat foot, each as an offset in the axes of the joint that carries it."""
    stature = stature_of(motion)
    forward = _forward(motion, pose)
    down = np.array([[0.0], [-1.0], [0.0]])
    heel = -forward * HEEL_BEHIND_ANKLE * stature + down * pose.under_ankle_m
    offsets = {"heel": _local(pose.foot_turn, heel)}
    if foot.ball is None:
        return {**offsets, **_stiff(foot, pose, forward, stature)}
    under = np.broadcast_to(down * pose.under_front_m, pose.front.shape)
    offsets["ball"] = _local(pose.toes_turn, under)
    if pose.tip is not None:
        out = pose.tip - pose.front
        offsets["tip"] = _local(pose.toes_turn, np.stack((out[0], under[1], out[2])))
    return offsets


def _stiff(foot: FootJoints, pose: _Pose, forward: Floats, stature_m: float) -> dict[str, Floats]:
    """Ball and tip of a foot that does not bend at the toes."""
    below = np.array([[0.0], [-pose.under_ankle_m], [0.0]])
    way = pose.front - pose.ankle
    length = float(np.median(np.hypot(way[0], way[2])))
    if foot.tip is None:
        return {"ball": _local(pose.foot_turn, forward * _BALL_BEFORE_ANKLE * stature_m + below)}
    if length <= _ENDS_IN_TIP * stature_m:
        return {"ball": _local(pose.foot_turn, forward * length + below)}
    return {
        "ball": _local(pose.foot_turn, forward * length * _BALL_ON_WAY + below),
        "tip": _local(pose.foot_turn, forward * length + below),
    }


def _forward(motion: Motion, pose: _Pose) -> Floats:
    """``(3, n)`` unit vectors over the floor from the heel to the toes."""
    way = pose.front - pose.ankle
    flat = np.stack((way[0], np.zeros(way.shape[1]), way[2]))
    length = np.linalg.norm(flat, axis=0)
    if np.median(length) > 0.02 * stature_of(motion):
        return np.asarray(flat / np.maximum(length, 1e-9))
    return _facing(motion, pose)


def _facing(motion: Motion, pose: _Pose) -> Floats:
    """Straight ahead of the rest pose, turned as the foot is: for feet that are one joint."""
    at, turned = rest_pose(motion)
    anatomy = motion.figure.anatomy
    hips = [anatomy.joints.get(f"{side}_thigh", ()) for side in ("left", "right")]
    ahead = np.array([0.0, 0.0, 1.0])
    if all(hips):
        left = at[hips[0][0]] - at[hips[1][0]]
        across = np.cross(left, [0.0, 1.0, 0.0])
        if np.linalg.norm(across) > 1e-6:
            ahead = across / np.linalg.norm(across)
    local = rotations.unrotate(turned[pose.foot_joint][:, None], ahead[:, None])
    way = rotations.rotate(pose.foot_turn, local)
    flat = np.stack((way[0], np.zeros(way.shape[1]), way[2]))
    return np.asarray(flat / np.maximum(np.linalg.norm(flat, axis=0), 1e-9))


def _local(turn: Floats, world: Floats) -> Floats:
    """``(3,)`` median over frames of world vectors ``(3, n)`` in the axes of a joint."""
    return np.asarray(np.median(rotations.unrotate(turn, world), axis=1))


def _carried(motion: Motion, foot: FootJoints, offsets: dict[str, Floats], placed: str) -> Sole:
    paths = {}
    for point, offset in offsets.items():
        joint = foot.ankle if point == "heel" else _toes_frame(foot)
        turned = rotations.rotate(motion.orientations[joint], offset[:, None])
        paths[point] = frozen(motion.positions_m[joint] + turned)
    return Sole(foot.side, paths["heel"], paths["ball"], paths.get("tip"), offsets, placed)
