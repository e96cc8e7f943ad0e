"""Puts the meshes of one file on the same character's skeleton in another."""

from __future__ import annotations

import numpy as np

from kinelint.clip import Asset, Skeleton, Skin
from kinelint.kinematics.arrays import Floats, Ints


def fitted(asset: Asset, skeleton: Skeleton, metres_per_unit: float) -> tuple[Skin, ...]:
    """The asset's skins, bound to the joints of `skeleton` and in its units.

    Joints are paired by name, without a namespace before a colon. A vertex that hangs on a joint
    which `skeleton` has not goes to the nearest one above it. Skins that share less than half
    of their joints with the skeleton are left out.
    """
    of = asset.skeleton
    if of is None:
        return ()
    if of.signature == skeleton.signature:
        return asset.skins
    stated = next((clip.metres_per_unit for clip in asset.clips), None)
    scale = (1.0 if stated is None else stated) / metres_per_unit
    onto = _pairing(of, skeleton)
    carriers = _carriers(of, onto)
    moved = (_moved(skin, onto, carriers, len(skeleton), scale) for skin in asset.skins)
    return tuple(skin for skin in moved if skin is not None)


def plain_name(name: str) -> str:
    """A joint's name without a namespace, in lower case."""
    return name.rpartition(":")[2].casefold()


def _pairing(of: Skeleton, onto: Skeleton) -> Ints:
    """``(joints of `of`,)`` the joint of `onto` with the same name, -1 without one."""
    known = {plain_name(name): joint for joint, name in reversed(list(enumerate(onto.names)))}
    return np.array([known.get(plain_name(name), -1) for name in of.names], dtype=np.intp)


def _carriers(of: Skeleton, onto: Ints) -> Ints:
    """The same, with joints that have no pair given to the nearest one above that has."""
    found = onto.copy()
    for joint, parent in enumerate(of.parents.tolist()):
        if found[joint] < 0 and parent >= 0:
            found[joint] = found[parent]
    return found


def _moved(skin: Skin, onto: Ints, carriers: Ints, joints: int, scale: float) -> Skin | None:
    used = np.unique(skin.joints[skin.weights > 0.0])
    if not used.size or np.mean(onto[used] >= 0) < 0.5:
        return None
    hung = carriers[skin.joints]
    weights = np.where(hung >= 0, skin.weights, 0.0)
    total = weights.sum(axis=1, keepdims=True)
    paired = np.flatnonzero(onto >= 0)
    return Skin(
        skin.name,
        skin.vertices * scale,
        np.maximum(hung, 0),
        np.divide(weights, total, out=np.zeros_like(weights), where=total > 0.0),
        _placed(skin.bind_positions * scale, paired, onto, joints),
        _placed(skin.bind_rotations, paired, onto, joints),
        skin.triangles,
    )


def _placed(values: Floats, paired: Ints, onto: Ints, joints: int) -> Floats:
    out = np.full((joints, values.shape[1]), np.nan)
    out[onto[paired]] = values[paired]
    return out
