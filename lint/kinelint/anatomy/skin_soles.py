"""Where a skin's feet end: points of its surface that are fixed to the joints of the feet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.parts import SIDES
from kinelint.anatomy.skin_fit import FEWEST_VERTICES, Cloud, cloud_of
from kinelint.anatomy.volume_build import RestPose
from kinelint.clip import Skin
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, frozen

# A bind pose whose legs are this part of their size off the rest pose's tells nothing of it.
_OFF_RATIO = 0.02
# Outermost vertices in so many directions: within 1 mm of the hull of a foot.
_DIRECTIONS = 400


def sole_points(skins: Sequence[Skin], anatomy: Anatomy, rest: RestPose) -> Mapping[str, Floats]:
    """Foot or toes to the outermost points ``(3, n)`` of its skin, in its joint's axes, metres.

    Empty where no skin has feet, or where its legs are bound in another pose than the skeleton's
    rest: vertices could not be carried over then.
    """
    cloud = cloud_of(skins, rest.skeleton, anatomy, rest.positions_m)
    turn = None if cloud is None else _turn(cloud, anatomy, rest)
    if cloud is None or turn is None:
        return {}
    found = {}
    for part in (f"{side}_{end}" for side in SIDES for end in ("foot", "toes")):
        vertices, at = cloud.of(part), cloud.joint(anatomy, part)
        if at is not None and len(vertices) >= FEWEST_VERTICES:
            joint = anatomy.joints[part][0]
            out = turn @ _outermost(vertices - at).T
            found[part] = frozen(rotations.unrotate(rest.orientations[joint][:, None], out))
    return found


def _turn(cloud: Cloud, anatomy: Anatomy, rest: RestPose) -> Floats | None:
    """``(3, 3)`` from the skin's axes to those of the rest pose; None if the legs do not agree.

    The least-squares rotation by singular values (Kabsch 1976, from memory).
    """
    names = ("thigh", "shank", "foot", "toes")
    legs = [j for side in SIDES for one in names for j in anatomy.joints.get(f"{side}_{one}", ())]
    legs = [joint for joint in legs if np.all(np.isfinite(cloud.joints_m[joint]))]
    if len(legs) < 4:
        return None
    bound, target = cloud.joints_m[legs], rest.positions_m[legs]
    bound, target = bound - bound.mean(axis=0), target - target.mean(axis=0)
    left, _, right = np.linalg.svd(target.T @ bound)
    mirror = np.diag([1.0, 1.0, np.sign(np.linalg.det(left @ right))])
    turn = left @ mirror @ right
    off = np.linalg.norm(bound @ turn.T - target, axis=1).max()
    size = float(np.linalg.norm(target, axis=1).max())
    return np.asarray(turn) if off <= _OFF_RATIO * size else None


def _outermost(points: Floats) -> Floats:
    """``(n, 3)`` those that lie furthest out in evenly spread directions (a Fibonacci sphere)."""
    number = np.arange(_DIRECTIONS) + 0.5
    height, angle = 1.0 - 2.0 * number / _DIRECTIONS, np.pi * (1.0 + np.sqrt(5.0)) * number
    across = np.sqrt(1.0 - height**2)
    ways = np.stack((across * np.cos(angle), across * np.sin(angle), height))
    return np.asarray(points[np.unique(np.argmax(points @ ways, axis=0))])
