"""Where a hand holds what it holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.girths import hand_ratio
from kinelint.anatomy.parts import label
from kinelint.errors import NotApplicable
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint_rules.props.props import Frame, axes_of

# With the fist closed on a rod its centre is so far beyond the wrist, by stature: 62.1 mm of
# 1756.2 (4,082 men) and 58.9 mm of 1628.5 (1,986 women); standard deviation 7 mm.
GRIP_RATIO = (62.1 / 1756.2, 58.9 / 1628.5)
GRIP_SOURCE = "ANSUR II, the 2012 anthropometric survey of US Army personnel: centre of grip"


@dataclass(frozen=True, eq=False)
class Fist:
    """A hand that holds.

    Attributes:
        hand: the part.
        frame: the hand's axes, from the wrist.
        along: ``(3, 1)`` unit vector from the wrist to the knuckles in the hand's axes.
        palm: ``(3, 1)`` unit vector out of the palm; None without finger joints.
        knuckles: ``(3, 1)`` unit vector from the little to the index finger; None likewise.
        reach_m: from the wrist to the centre of the grip, along the hand.
        thick_m: half the thickness of the palm.
    """

    hand: str
    frame: Frame
    along: Floats
    palm: Floats | None
    knuckles: Floats | None
    reach_m: float
    thick_m: float

    def aim_m(self, radius_m: float) -> Floats:
        """``(3, 1)`` in the hand's axes: where the middle of a thing of this radius lies."""
        middle = self.reach_m * self.along
        return middle if self.palm is None else middle + (self.thick_m + radius_m) * self.palm

    def off_m(self, points_m: Floats, radius_m: float) -> Floats:
        """``(3, n)`` from where the hand would hold them to points of the hand's axes.

        The middle of the thing may lie anywhere from the middle of the palm to upon it; where
        the palm's side is unknown, upon any side.
        """
        off = points_m - self.reach_m * self.along
        room = self.thick_m + radius_m
        if self.palm is not None:
            upon = np.clip(np.sum(off * self.palm, axis=0), 0.0, room)
            return np.asarray(off - upon * self.palm)
        on = np.sum(off * self.along, axis=0) * self.along
        beside = off - on
        length = np.linalg.norm(beside, axis=0)
        left = np.maximum(length - room, 0.0) / np.maximum(length, 1e-12)
        return np.asarray(on + left * beside)


def fist(motion: Motion, hand: str) -> Fist:
    """The hand as one that holds. To be asked for through `motion.derive`.

    Raises:
        NotApplicable: there is no such hand, or nothing tells which way it points.
    """
    joint = motion.part(hand).joint
    figure = motion.figure
    stature = figure.stature_m
    if not np.isfinite(stature):
        stature = figure.leg_m / 0.4954  # de Leva 1996, thigh and shank
    if not np.isfinite(stature):
        raise NotApplicable("the stature of the figure cannot be told")
    grip = {"male": GRIP_RATIO[0], "female": GRIP_RATIO[1]}.get(
        figure.sex or "", sum(GRIP_RATIO) / 2.0
    )
    palm, knuckles = _palm(motion, hand, joint)
    return Fist(
        hand,
        axes_of(motion, joint),
        _along(motion, hand, joint),
        palm,
        knuckles,
        grip * stature,
        hand_ratio(figure.sex)[1] * stature,
    )


def _along(motion: Motion, hand: str, joint: int) -> Floats:
    body = motion.figure.body
    for cap, part in enumerate(body.parts if body is not None else ()):
        if part == hand and body is not None and body.capsules.joints[cap].tolist() == [joint] * 2:
            way = body.capsules.offsets_m[cap, 1] - body.capsules.offsets_m[cap, 0]
            length = float(np.linalg.norm(way))
            if length > 0.0:
                return np.asarray(way[:, None] / length)
    raise NotApplicable(f"nothing tells which way the {label(hand)} points")


def _palm(motion: Motion, hand: str, joint: int) -> tuple[Floats | None, Floats | None]:
    """Out of the palm, and from the little to the index finger, in the hand's axes."""
    side = hand.partition("_")[0]
    ends = [f"{side}_{finger}_1" for finger in ("index", "little")]
    if not all(motion.has(one) for one in ends):
        return None, None
    axes = axes_of(motion, joint)
    index, little = (
        np.median(rotations.unrotate(axes.turn, motion.part(one).position_m - axes.place_m), axis=1)
        for one in ends
    )
    # Seen from its palm with the fingers up, a left hand has its index finger on the right.
    normal = np.cross(index, little) * (-1.0 if side == "left" else 1.0)
    across = index - little
    sizes = float(np.linalg.norm(normal)), float(np.linalg.norm(across))
    if min(sizes) < 1e-9:
        return None, None
    return (normal / sizes[0])[:, None], (across / sizes[1])[:, None]
