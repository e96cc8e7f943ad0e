"""Every joint angle of a motion that can be told, relative to the anatomical zero.

Angles are in degrees, with the same sign on both sides of the body. What cannot be told is said.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy import arm_angles
from kinelint.anatomy import segment_axes as seg
from kinelint.anatomy.hinge_angles import flexion, flexions, segment_frame, zero_lacks
from kinelint.anatomy.parts import FINGERS, SIDES
from kinelint.anatomy.readings import Angle, Untold
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.joint_angles import as_right_limb, mirrored_vectors, swing_angles, zxy
from kinelint.motion import Motion

# Nearer than this to sideways, a thigh's flexion and turn are no longer told apart.
GATE_ABDUCTION_DEG = 60.0
KNUCKLES = {1: "knuckle", 2: "middle joint", 3: "end joint"}
THUMB = {2: "knuckle", 3: "end joint"}


@dataclass(frozen=True, eq=False)
class JointAngles:
    """All angles of one motion."""

    angles: tuple[Angle, ...]
    untold: tuple[Untold, ...]


def joint_angles(motion: Motion) -> dict[str, Floats]:
    """Angle by name ("left knee flexion") to ``(frames,)`` degrees, NaN where it means nothing."""
    return {one.name: one.degrees for one in motion.derive(angles_of).angles}


def angles_of(motion: Motion) -> JointAngles:
    """Every angle of the motion, and what could not be told. Ask through `motion.derive`."""
    said = [*_hinges(motion), *_trunk(motion)]
    for side in SIDES:
        said += [*_hip(motion, side), *_ankle(motion, side), *arm_angles.of(motion, side)]
    angles = tuple(one for one in said if isinstance(one, Angle))
    return JointAngles(angles, tuple(one for one in said if isinstance(one, Untold)))


def _hinges(motion: Motion) -> Iterator[Angle | Untold]:
    for side in SIDES:
        yield from _hinge(motion, f"{side}_shank", f"{side} knee")
        yield from _hinge(motion, f"{side}_forearm", f"{side} elbow")
        yield from _fingers(motion, side)


def _hinge(motion: Motion, hinge: str, joint: str) -> Iterator[Angle | Untold]:
    bent = flexion(motion, hinge)
    if bent is not None:
        yield Angle(joint, "flexion", hinge, np.degrees(bent.radians))
        if not bent.signed:
            reason = "it bends too little to tell which way is forward: only flexion is judged"
            yield Untold(joint, hinge, reason)
    elif motion.has(hinge):
        yield Untold(joint, hinge, "a joint above or below it is missing")


def _fingers(motion: Motion, side: str) -> Iterator[Angle | Untold]:
    names = {
        f"{side}_{finger}_{number}": f"{side} {finger} {name}"
        for finger in FINGERS
        for number, name in (THUMB if finger == "thumb" else KNUCKLES).items()
    }
    bent = flexions(motion, list(names))
    for hinge, joint in names.items():
        if hinge in bent:
            yield Angle(joint, "flexion", hinge, np.degrees(bent[hinge].radians))
    endless = [hinge for hinge in names if hinge not in bent and motion.has(hinge)]
    if endless:
        reason = f"nothing marks the far end of {len(endless)} finger segments"
        yield Untold(f"{side} fingers", endless[0], reason)


def _trunk(motion: Motion) -> Iterator[Angle | Untold]:
    pairs = (("trunk", "pelvis", "thorax", "thorax"), ("neck", "thorax", "head", "head"))
    for joint, below, above, part in pairs:
        if not motion.has(above):
            continue
        reason = zero_lacks(motion, below, above)
        base, top = segment_frame(motion, below), segment_frame(motion, above)
        if base is None or top is None:
            yield Untold(joint, part, reason)
            continue
        bent = np.degrees(zxy(rotations.multiply(rotations.conjugate(base), top)))
        # Leaning forward is a turn about -Z.
        for angle, degrees in (("flexion", -bent[0]), ("side bend", bent[1]), ("turn", bent[2])):
            yield Angle(joint, angle, part, degrees)


def _hip(motion: Motion, side: str) -> Iterator[Angle | Untold]:
    part, joint = f"{side}_thigh", f"{side} hip"
    thigh = seg.segment_line(motion, part)
    if thigh is None:
        return
    pelvis, own = segment_frame(motion, "pelvis"), segment_frame(motion, part)
    if pelvis is None:
        yield Untold(joint, part, zero_lacks(motion, "pelvis"))
        return
    up = rotations.unrotate(pelvis, -thigh)
    swing = np.degrees(swing_angles(up if side == "right" else mirrored_vectors(up)))
    gated = np.abs(swing[1]) > GATE_ABDUCTION_DEG
    yield Angle(joint, "flexion", part, np.where(gated, np.nan, swing[0]))
    yield Angle(joint, "adduction", part, swing[1])
    if own is not None:
        q = rotations.multiply(rotations.conjugate(pelvis), own)
        turn = np.degrees(zxy(q if side == "right" else as_right_limb(q)))[2]
        yield Angle(joint, "internal rotation", part, np.where(gated, np.nan, turn))


def _ankle(motion: Motion, side: str) -> Iterator[Angle | Untold]:
    part, joint = f"{side}_foot", f"{side} ankle"
    if not motion.has(part):
        return
    shank, foot = segment_frame(motion, f"{side}_shank"), segment_frame(motion, part)
    if shank is None or foot is None:
        yield Untold(joint, part, zero_lacks(motion, f"{side}_shank", part))
        return
    q = rotations.multiply(rotations.conjugate(shank), foot)
    bent = np.degrees(zxy(q if side == "right" else as_right_limb(q)))
    yield Angle(joint, "dorsiflexion", part, bent[0])
    yield Angle(joint, "inversion", part, bent[1])
    toes = segment_frame(motion, f"{side}_toes")
    if toes is not None:
        bent = np.degrees(zxy(rotations.multiply(rotations.conjugate(foot), toes)))
        yield Angle(f"{side} ball of the foot", "extension", f"{side}_toes", bent[0])
