"""The pose in which all rotation channels of an FBX skeleton are zero.

A file without bind pose stores each node's transform as it was when the file was saved, mostly
some moment of the motion: two takes of one performer then rest in two poses. Where joints have
pre-rotations, those hold the pose that the skeleton was built in, which is the same in all takes.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
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
    found = np.empty((len(joints), 4))
    turned = 0
    for joint, node in enumerate(joints.nodes):
        one, props = nodes.objects[node], kept(nodes.objects[node].props)
        if any(np.any(_vector(props, name)) for name in _PIVOTS):
            return None
        pre, post = (_turn(_vector(props, f"{name}Rotation"), "XYZ") for name in ("Pre", "Post"))
        order = props.find_int("RotationOrder", 0)
        if not 0 <= order < len(_ORDERS):
            return None
        channels = _turn(_vector(props, "Lcl Rotation"), _ORDERS[order])
        before, after = (
            _quaternion(q) for q in (one.adjust_pre_rotation, one.adjust_post_rotation)
        )
        back = _product(rotations.conjugate(post), after)
        stored = _product(before, pre, channels, back)
        if not abs(float(np.sum(stored[:, 0] * own[joint]))) > 1.0 - 1e-9:
            return None
        found[joint] = _product(before, pre, back)[:, 0]
        turned += bool(np.degrees(rotations.angle(pre))[0] > _TURNED_DEG)
    return found if turned >= _LEAST_SHARE * len(joints) else None


def _vector(props: Any, name: str) -> Floats:
    found = kept(props.find_prop(name))
    return np.array(found.value_vec4[:3] if found is not None else (0.0, 0.0, 0.0))


def _turn(degrees: Floats, order: str) -> Floats:
    """``(4, 1)``; the first axis of the order turns first."""
    radians = np.radians(degrees)
    turns = [rotations.about(axis, radians["XYZ".index(axis), None]) for axis in order]
    return _product(*reversed(turns))


def _quaternion(stored: Any) -> Floats:
    x, y, z, w = stored
    return np.array([[w], [x], [y], [z]])


def _product(first: Floats, *others: Floats) -> Floats:
    for one in others:
        first = rotations.multiply(first, one)
    return first
