"""The pose in which all rotation channels of an FBX skeleton are zero.

A file without bind pose stores each node's transform as it was when the file was saved, mostly
some moment of the motion: two takes of one performer then rest in two poses. Where joints have
pre-rotations, those hold the pose that the skeleton was built in, which is the same in all takes.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.readers.fbx_binding import kept
from kinelint.readers.fbx_nodes import Joints, Nodes

_ORDERS = ("XYZ", "XZY", "YZX", "YXZ", "ZXY", "ZYX")
_LEAST_SHARE = 0.3  # of joints, that pre-rotations must turn before they are taken for a pose
_TURNED_DEG = 1.0
_PIVOTS = ("RotationPivot", "ScalingPivot")


def zero_turns(nodes: Nodes, joints: Joints, own: Floats) -> Floats | None:
    """``(joints, 4)`` with all channels at zero; None where pre-rotations make no pose.

    None also where the formula does not give the binding's own `own` ``(joints, 4)`` with the
    channels as they are stored, and where pivots would move joints too.
    """
    objects = [nodes.objects[node] for node in joints.nodes]
    props = [kept(one.props) for one in objects]
    orders = np.array([one.find_int("RotationOrder", 0) for one in props])
    if not np.all((orders >= 0) & (orders < len(_ORDERS))):
        return None
    if any(np.any(_vectors(props, name)) for name in _PIVOTS):
        return None
    pre, post = (_turns(_vectors(props, f"{name}Rotation"), "XYZ") for name in ("Pre", "Post"))
    before = _quaternions([one.adjust_pre_rotation for one in objects])
    after = _quaternions([one.adjust_post_rotation for one in objects])
    back = _product(rotations.conjugate(post), after)
    stored = _product(before, pre, _ordered(_vectors(props, "Lcl Rotation"), orders), back)
    if not np.all(np.abs(np.sum(stored * own.T, axis=0)) > 1.0 - 1e-9):
        return None
    turned = np.degrees(rotations.angle(pre)) > _TURNED_DEG
    return _product(before, pre, back).T if np.mean(turned) >= _LEAST_SHARE else None


def _vectors(props: list[Any], name: str) -> Floats:
    """``(3, joints)`` of a property, 0 where it is not said."""
    found = [kept(one.find_prop(name)) for one in props]
    nothing = (0.0, 0.0, 0.0)
    return np.array([nothing if one is None else one.value_vec4[:3] for one in found]).T


def _ordered(degrees: Floats, orders: Ints) -> Floats:
    """``(4, joints)``, each joint by its own order."""
    turns = np.empty((4, len(orders)))
    for order in np.unique(orders).tolist():
        same = orders == order
        turns[:, same] = _turns(degrees[:, same], _ORDERS[order])
    return turns


def _turns(degrees: Floats, order: str) -> Floats:
    """``(4, joints)`` of ``(3, joints)``; the first axis of the order turns first."""
    radians = np.radians(degrees)
    turns = [rotations.about(axis, radians["XYZ".index(axis)]) for axis in order]
    return _product(*reversed(turns))


def _quaternions(stored: list[Any]) -> Floats:
    """``(4, joints)`` scalar first."""
    return np.array(stored, dtype=np.float64).reshape(-1, 4)[:, [3, 0, 1, 2]].T


def _product(first: Floats, *others: Floats) -> Floats:
    for one in others:
        first = rotations.multiply(first, one)
    return first
