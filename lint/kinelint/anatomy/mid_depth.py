"""How far mid-depth of the trunk lies in front of the spine's joints.

Vertebrae lie well behind the middle of the trunk, and captured skeletons put their spine joints
there. Hip and shoulder joints lie near mid-depth, so the line between their middles is the
trunk's axis. Over poses, the way from a spine joint to that line hardly changes in the joint's
axes, whatever the rest pose is like.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.parts import SIDES
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.kinematics.vectors import cross, dot, unit


def levels(anatomy: Anatomy, parents: Ints) -> dict[str, tuple[int, int]]:
    """Part that begins at each level of the trunk above the hips, to its joint and the holder.

    The holder is the joint that the level is fixed to: the lowest level follows the pelvis, the
    neck the chest, and what lies between its own joint.
    """
    found: dict[str, tuple[int, int]] = {}
    for part in ("abdomen", "thorax", "neck" if "neck" in anatomy.joints else "head"):
        if part in anatomy.joints:
            joint = anatomy.joints[part][0]
            parent = int(parents[joint])
            own = part == "thorax" and "abdomen" in anatomy.joints
            found[part] = joint, joint if own or parent < 0 else parent
    return found


def mid_depths(
    placed: Floats, orientations: Floats, anatomy: Anatomy, parents: Ints
) -> dict[str, Floats]:
    """The way from each spine joint forward to mid-depth, over some poses.

    Args:
        placed: ``(joints, 3, poses)``.
        orientations: ``(joints, 4, poses)``.
        anatomy: which joint is which part.
        parents: of the joints.

    Returns:
        Part as in `levels` to ``(3,)`` in the holder's axes, in the unit of `placed`; 0 for a
        joint in front of mid-depth. Empty without hips and shoulders.
    """
    ends = [f"{side}_{part}" for part in ("thigh", "upper_arm") for side in SIDES]
    if not anatomy.has(*ends):
        return {}
    hip, other_hip, arm, other_arm = (placed[anatomy.joints[end][0]] for end in ends)
    bottom = (hip + other_hip) / 2.0
    up = unit((arm + other_arm) / 2.0 - bottom)
    forward = unit(cross(unit(hip - other_hip) + unit(arm - other_arm), up))
    good = np.isfinite(forward).all(axis=0)
    if not good.any():
        return {}
    forward, bottom = forward[:, good], bottom[:, good]
    found = {}
    for part, (joint, holder) in levels(anatomy, parents).items():
        gap = float(np.median(dot(bottom - placed[joint][:, good], forward)))
        own = np.mean(rotations.unrotate(orientations[holder][:, good], forward), axis=1)
        size = float(np.linalg.norm(own))
        found[part] = own * (max(gap, 0.0) / size) if size > 0.0 else np.zeros(3)
    return found


def merged(samples: Sequence[Mapping[str, Sequence[float]]]) -> dict[str, Floats]:
    """Medians over clips of one skeleton."""
    names = sorted({name for sample in samples for name in sample})
    return {
        name: np.asarray(np.median([one[name] for one in samples if name in one], axis=0))
        for name in names
    }
