"""When a figure moves at all, when it travels, and when it stands in a calibration pose."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import scale_of
from kinelint.errors import NotApplicable
from kinelint.finding import FrameSpan
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.kinematics.rates import windowed_velocity
from kinelint.motion import Motion

_WATCHED = ("pelvis", "head", "left_hand", "right_hand", "left_foot", "right_foot")
_WINDOW_S = 0.2
# Arms out to the sides: of a T-pose level, of an A-pose 45 degrees down.
_ARM_DOWN_DEG = (-20.0, 60.0)
_ARM_FORWARD_DEG = 30.0
_STRAIGHT_DEG = 25.0


@dataclass(frozen=True, eq=False)
class Activity:
    """How a figure moves over the frames.

    Attributes:
        speed_m_per_s: ``(frames,)`` of its quickest watched part, of a figure as tall as a person.
        travel_m_per_s: ``(frames,)`` of the pelvis over the ground, the same.
        spread_arms: ``(frames,)`` whether both arms are straight and out to the sides.
    """

    speed_m_per_s: Floats
    travel_m_per_s: Floats
    spread_arms: Bools

    def still(self, below_m_per_s: float) -> Bools:
        """``(frames,)`` where no watched part is quicker than that."""
        return np.asarray(self.speed_m_per_s < below_m_per_s, np.bool_)


def activity(motion: Motion) -> Activity:
    """Of the parts that the skeleton has.

    Raises:
        NotApplicable: neither pelvis nor hands nor feet were recognised.
    """
    watched = [part for part in _WATCHED if motion.has(part)]
    if "pelvis" not in watched or len(watched) < 2:
        raise NotApplicable("too little of the body was recognised to tell when it is at rest")
    rate, size = motion.sample_rate_hz, scale_of(motion)
    paths = np.stack([motion.part(part).position_m for part in watched])
    velocity = windowed_velocity(paths, rate, _WINDOW_S) / size
    speed = np.linalg.norm(velocity, axis=1)
    pelvis = velocity[watched.index("pelvis")]
    return Activity(speed.max(axis=0), np.hypot(pelvis[0], pelvis[2]), _spread(motion))


def _spread(motion: Motion) -> Bools:
    """Both arms straight, out to the sides, neither forward nor up."""
    out = np.ones(motion.frames, np.bool_)
    parts = ("upper_arm", "forearm", "hand")
    if not all(motion.has(f"{side}_{part}") for side in ("left", "right") for part in parts):
        return np.zeros(motion.frames, np.bool_)
    left, right = (motion.part(f"{side}_upper_arm").position_m for side in ("left", "right"))
    across = _unit(left - right)
    for side, sign in (("left", 1.0), ("right", -1.0)):
        shoulder, elbow, wrist = (motion.part(f"{side}_{part}").position_m for part in parts)
        arm = _unit(wrist - shoulder)
        down = np.degrees(np.arcsin(np.clip(-arm[1], -1.0, 1.0)))
        flat = _unit(arm * np.array([[1.0], [0.0], [1.0]]))
        forward = np.degrees(np.arccos(np.clip(np.sum(flat * sign * across, axis=0), -1.0, 1.0)))
        bend = np.degrees(
            np.arccos(
                np.clip(np.sum(_unit(elbow - shoulder) * _unit(wrist - elbow), axis=0), -1.0, 1.0)
            )
        )
        out &= (down > _ARM_DOWN_DEG[0]) & (down < _ARM_DOWN_DEG[1])
        out &= (forward < _ARM_FORWARD_DEG) & (bend < _STRAIGHT_DEG)
    return out


def _unit(vectors: Floats) -> Floats:
    return np.asarray(vectors / np.maximum(np.linalg.norm(vectors, axis=0, keepdims=True), 1e-9))


def head_and_tail(mask: Bools, within: int = 0) -> tuple[FrameSpan | None, FrameSpan | None]:
    """The runs of true that touch the first and the last frame, or come within so many frames."""
    runs = spans(mask, bridge_frames=within)
    head = next((one for one in runs[:1] if one.first <= within), None)
    tail = next((one for one in runs[-1:] if one.last >= mask.size - 1 - within), None)
    return head, tail
