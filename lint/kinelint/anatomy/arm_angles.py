"""Angles of shoulder, forearm and wrist.

The shoulder is the whole complex: the upper arm against the thorax, whatever share the rig gives
to the clavicle. Forearm and wrist are read from the knuckles where the skeleton has fingers.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kinelint.anatomy import segment_axes as seg
from kinelint.anatomy.hinge_angles import learnt_axis, segment_frame, zero_lacks
from kinelint.anatomy.readings import Angle, Untold
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.hinge import bend, bend_about
from kinelint.kinematics.joint_angles import (
    mirrored_vectors,
    plane_is_known,
    wrapped,
)
from kinelint.kinematics.vectors import cross, dot, unit
from kinelint.motion import Motion

# Y-X-Y is singular with the arm at the side and overhead: its outer angles are read between.
GATE_PLANE_RAD = float(np.radians(30.0))
GATE_TURN_RAD = float(np.radians(60.0))


def of(motion: Motion, side: str) -> Iterator[Angle | Untold]:
    """The angles of one arm that can be told."""
    yield from _shoulder(motion, side)
    knuckles = _knuckles(motion, side)
    forearm = seg.segment_line(motion, f"{side}_forearm")
    if forearm is None:
        return
    if knuckles is None:
        yield from _wrist_bend(motion, side, forearm)
    else:
        yield from _wrist(side, forearm, *knuckles)
        yield from _forearm(motion, side, forearm, knuckles[1])


def _shoulder(motion: Motion, side: str) -> Iterator[Angle | Untold]:
    part, joint = f"{side}_upper_arm", f"{side} shoulder"
    arm = seg.segment_line(motion, part)
    if arm is None:
        return
    thorax = segment_frame(motion, "thorax")
    if thorax is None:
        yield Untold(joint, part, zero_lacks(motion, "thorax"))
        return
    x, y, z = _right_sided(side, rotations.unrotate(thorax, arm))
    elevation = np.arctan2(np.hypot(x, z), -y)
    plane = np.arctan2(x, z)
    known = plane_is_known(elevation, GATE_PLANE_RAD)
    yield Angle(joint, "elevation", part, np.degrees(elevation))
    # Behind the frontal plane, whatever the elevation: extension of a hanging arm, horizontal
    # extension of a raised one.
    yield Angle(joint, "extension", part, np.degrees(np.arcsin(np.clip(-x, -1.0, 1.0))))
    in_front = np.where(known & (x > 0), np.degrees(plane), np.nan)
    yield Angle(joint, "plane of elevation", part, in_front)
    turn = _axial(motion, side, thorax, arm)
    if turn is not None:
        gate = plane_is_known(elevation, GATE_TURN_RAD)
        yield Angle(joint, "internal rotation", part, np.where(gate, np.degrees(turn), np.nan))


def _axial(motion: Motion, side: str, thorax: Floats, arm: Floats) -> Floats | None:
    """Third angle of Y-X-Y (Wu et al. 2005), internal positive; needs the elbow's true axis."""
    elbow = learnt_axis(motion, f"{side}_forearm")
    if elbow is None:
        return None
    z = seg.across(elbow, -arm)
    x = cross(-arm, z)
    # Of R = Ry(plane) Rx(elevation) Ry(turn) the second row is (sin sin, cos, -sin cos).
    up = rotations.rotate(thorax, seg.UP)
    level_z = dot(up, z) if side == "right" else -dot(up, z)
    # A right arm rises for negative elevations, half a turn away from the positive reading.
    return wrapped(np.arctan2(dot(up, x), -level_z) + np.pi)


def _knuckles(motion: Motion, side: str) -> tuple[Floats, Floats] | None:
    """Wrist to middle knuckle, and little to index knuckle; ``(3, frames)``, of length 1."""
    wrist = seg.start_joint(motion, f"{side}_hand")
    found = [seg.start_joint(motion, f"{side}_{f}_1") for f in ("index", "middle", "little")]
    if wrist is None or None in found:
        return None
    index, middle, little = (int(one) for one in found if one is not None)
    across = seg.line(motion, little, index)
    return unit(seg.line(motion, wrist, middle)), unit(across)


def _wrist(side: str, forearm: Floats, hand: Floats, thumbward: Floats) -> Iterator[Angle]:
    # The thumb is lateral in the anatomical position: to the right of a right hand.
    lateral = thumbward if side == "right" else -thumbward
    z_axis = seg.across(lateral, -hand)
    # In the hand's axes, without a quaternion in between: X is Y cross Z.
    x = dot(cross(-hand, z_axis), -forearm)
    y, z = dot(hand, forearm), dot(z_axis, -forearm) * (1.0 if side == "right" else -1.0)
    part, joint = f"{side}_hand", f"{side} wrist"
    yield Angle(joint, "flexion", part, np.degrees(np.arcsin(np.clip(x, -1.0, 1.0))))
    yield Angle(joint, "ulnar deviation", part, np.degrees(np.arctan2(-z, y)))


def _wrist_bend(motion: Motion, side: str, forearm: Floats) -> Iterator[Angle | Untold]:
    part, joint = f"{side}_hand", f"{side} wrist"
    hand = seg.segment_line(motion, part)
    if hand is not None:
        yield Angle(joint, "bend", part, np.degrees(bend(forearm, hand)))
    if motion.has(part):
        reason = "without knuckles its palm is not known: only how far it bends is judged"
        yield Untold(joint, part, reason)


def _forearm(
    motion: Motion, side: str, forearm: Floats, thumbward: Floats
) -> Iterator[Angle | Untold]:
    part, joint = f"{side}_forearm", f"{side} forearm"
    elbow = learnt_axis(motion, part)
    if elbow is None:
        yield Untold(joint, part, "its elbow bends too little to tell the axis it turns from")
        return
    lateral = thumbward if side == "right" else -thumbward
    up = -forearm
    turn = bend_about(up, seg.across(elbow, up), seg.across(lateral, up))
    turned_in = turn if side == "right" else -turn
    # From thumb up, half way between palm forward (0 in the anatomical position) and palm back.
    yield Angle(joint, "pronation", part, np.degrees(wrapped(turned_in - np.pi / 2)))


def _right_sided(side: str, v: Floats) -> Floats:
    return v if side == "right" else mirrored_vectors(v)
