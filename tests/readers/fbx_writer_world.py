"""Where the joints of a written scene are, by the format's published transform chain.

    local  = T * Roff * Rp * Rpre * R * inv(Rpost) * inv(Rp) * Soff * Sp * S * inv(Sp)
    global translation = parent's global * local's translation
    global turn and scale, by inherit type (parent's global turn PR, global scale PS; own R, S):
        RSrs: PR PS R S        RrSs: PR R PS S        Rrs: PR R (PS without the parent's own S) S

These formulas and the accumulation of layers are in the public reference of the format's
interface (pages "Computing transformation matrices" and "FbxAnimLayer"; from memory). Angles are
degrees, pre- and post-rotation always in the order XYZ. SciPy does the turning; nothing here is
shared with the reader.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial.transform import Rotation

from readers.fbx_writer import (
    OVERRIDE,
    OVERRIDE_PASSTHROUGH,
    TICKS_PER_S,
    Axes,
    Curve,
    Joint,
    Layer,
    Rrs,
    RrSs,
    Scene,
    Take,
)

Floats = NDArray[np.float64]
_RESTS = {"T": "translation", "R": "rotation_deg", "S": "scale"}


def along(curve: Curve, times_s: Floats) -> Floats:
    """A curve's values at seconds; before and after its keys it holds."""
    keys_s = np.asarray(curve.ticks, dtype=np.float64) / TICKS_PER_S
    # The format stores values of keys in single precision.
    values = np.asarray(curve.values, dtype=np.float32).astype(np.float64)
    if curve.mode == "linear":
        return np.interp(times_s, keys_s, values)
    at = np.clip(np.searchsorted(keys_s, times_s + 1e-9, side="right") - 1, 0, len(keys_s) - 1)
    if curve.mode == "constant":
        return np.asarray(values[at])
    assert curve.slopes is not None
    at = np.minimum(at, len(keys_s) - 2)
    slopes = np.asarray(curve.slopes, dtype=np.float64)
    span = keys_s[at + 1] - keys_s[at]
    t = np.clip((times_s - keys_s[at]) / span, 0.0, 1.0)
    # Cubic Hermite; the left slope of the next key stands beside the right slope of this one.
    return np.asarray(
        (2 * t**3 - 3 * t**2 + 1) * values[at]
        + (t**3 - 2 * t**2 + t) * span * slopes[at, 0]
        + (-2 * t**3 + 3 * t**2) * values[at + 1]
        + (t**3 - t**2) * span * slopes[at, 1]
    )


def channels(scene: Scene, joint: int, path: str, take: Take | None, times_s: Floats) -> Floats:
    """``(frames, 3)`` translation, Euler degrees or scale, all layers accumulated."""
    rest = np.asarray(getattr(scene.joints[joint], _RESTS[path]), dtype=np.float64)
    value = np.tile(rest, (len(times_s), 1))
    for number, layer in enumerate(take.layers if take else ()):
        found = {c.axis: c for c in layer.curves if (c.target, c.path) == (joint, path)}
        if not found or layer.mute:
            continue
        own = np.tile(rest, (len(times_s), 1))
        for axis, curve in found.items():
            own[:, "XYZ".index(axis)] = along(curve, times_s)
        value = _over(value, own, layer, path, times_s, first=number == 0)
    return value


def _over(
    below: Floats, own: Floats, layer: Layer, path: str, times_s: Floats, *, first: bool
) -> Floats:
    weight: Floats = np.full((len(times_s), 1), layer.weight / 100.0)
    if layer.weights is not None:
        weight = along(Curve(0, "", "", *layer.weights), times_s)[:, None] / 100.0
    if first or layer.blend == OVERRIDE:
        return own
    if layer.blend == OVERRIDE_PASSTHROUGH:
        return below + weight * (own - below)
    # By layer: scales are multiplied with the weight as exponent. Turns are only ever made about
    # one axis here unless they go by channel: quaternions and angles accumulate alike.
    return np.asarray(below * own**weight if path == "S" else below + weight * own)


def turn(degrees: ArrayLike, order: str = "XYZ") -> Rotation:
    """The first letter of the order is applied first, about the fixed axes of the parent."""
    angles = np.atleast_2d(np.asarray(degrees, dtype=np.float64))
    return Rotation.from_euler(
        order.lower(), angles[:, ["XYZ".index(axis) for axis in order]], degrees=True
    )


def _moved(by: ArrayLike) -> Floats:
    shift = np.atleast_2d(np.asarray(by, dtype=np.float64))
    made = np.tile(np.eye(4), (len(shift), 1, 1))
    made[:, :3, 3] = shift
    return made


def _linear(matrix: Floats) -> Floats:
    made = np.tile(np.eye(4), (len(matrix), 1, 1))
    made[:, :3, :3] = matrix
    return made


def _scaled(by: Floats) -> Floats:
    return np.asarray(by[:, :, None] * np.eye(3))


def local(joint: Joint, moves: Floats, degrees: Floats, scales: Floats) -> tuple[Floats, Floats]:
    """The local chain ``(frames, 4, 4)`` and the turn alone ``(frames, 3, 3)``."""
    order = joint.order if joint.rotation_active else "XYZ"
    pre = turn(joint.pre_deg if joint.rotation_active else (0, 0, 0)).as_matrix()
    post = turn(joint.post_deg if joint.rotation_active else (0, 0, 0)).inv().as_matrix()
    turned = pre @ turn(degrees, order).as_matrix() @ post
    pivot, spivot = np.array(joint.rotation_pivot), np.array(joint.scaling_pivot)
    chain = (
        _moved(moves)
        @ _moved(joint.rotation_offset)
        @ _moved(pivot)
        @ _linear(turned)
        @ _moved(-pivot)
        @ _moved(joint.scaling_offset)
        @ _moved(spivot)
        @ _linear(_scaled(scales))
        @ _moved(-spivot)
    )
    return chain, turned


def world(scene: Scene, take: Take | None, times_s: ArrayLike) -> Floats:
    """``(joints, 3, frames)`` in the file's own axes and units."""
    return np.asarray(matrices(scene, take, times_s)[:, :, :3, 3].transpose(0, 2, 1))


def matrices(scene: Scene, take: Take | None, times_s: ArrayLike) -> Floats:
    """``(joints, frames, 4, 4)`` from each joint to the world, file axes and units."""
    times = np.atleast_1d(np.asarray(times_s, dtype=np.float64))
    found: list[Floats] = []
    turns: list[Floats] = []
    grown: list[Floats] = []
    own_scales: list[Floats] = []
    for i, joint in enumerate(scene.joints):
        moves, degrees, scales = (channels(scene, i, path, take, times) for path in "TRS")
        chain, turned = local(joint, moves, degrees, scales)
        own = _scaled(scales)
        if joint.parent < 0:
            above, up_turn, up_grown = np.tile(np.eye(4), (len(times), 1, 1)), np.eye(3), np.eye(3)
        else:
            above, up_turn = found[joint.parent], turns[joint.parent]
            up_grown = grown[joint.parent]
        full = above @ chain
        if joint.inherit != 1 and joint.parent >= 0:
            passed = up_grown
            if joint.inherit == Rrs:
                passed = up_grown @ np.linalg.inv(own_scales[joint.parent])
            else:
                assert joint.inherit == RrSs
            full[:, :3, :3] = up_turn @ turned @ passed @ own
        found.append(full)
        turns.append(up_turn @ turned)
        grown.append(np.linalg.inv(turns[-1]) @ full[:, :3, :3])
        own_scales.append(own)
    return np.stack(found)


def ours(scene: Scene, points: Floats) -> Floats:
    """Points ``(…, 3, frames)`` of the file in metres, Y up, Z to the front, X to the left."""
    return basis(scene.axes) @ points * (scene.unit_cm / 100.0)


def basis(axes: Axes | None) -> Floats:
    """``(3, 3)`` from the file's axes to ours."""
    if axes is None:
        return np.eye(3)
    made = np.zeros((3, 3))
    made[0, axes.coord] = axes.coord_sign
    made[1, axes.up] = axes.up_sign
    made[2, axes.front] = axes.front_sign
    return made


def names(scene: Scene, which: Sequence[int] | None = None) -> list[str]:
    """Names of the joints."""
    return [
        scene.joints[i].name for i in (which if which is not None else range(len(scene.joints)))
    ]
