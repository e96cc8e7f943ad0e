"""Unit quaternions, scalar first, component axis last but one: ``(..., 4, frames)``.

A single rotation is ``(4, 1)``. All functions broadcast over leading axes and frames.
"""

from __future__ import annotations

import numpy as np

from kinelint.kinematics.arrays import Floats

IDENTITY: Floats = np.array([[1.0], [0.0], [0.0], [0.0]])
IDENTITY.flags.writeable = False


def multiply(a: Floats, b: Floats) -> Floats:
    """Hamilton product ``(..., 4, frames)``: first `b`, then `a`."""
    aw, ax, ay, az = (a[..., i, :] for i in range(4))
    bw, bx, by, bz = (b[..., i, :] for i in range(4))
    out = _room(4, aw, bw)
    w, x, y, z = (out[..., i, :] for i in range(4))
    for row, plus, minus in (
        (w, ((aw, bw),), ((ax, bx), (ay, by), (az, bz))),
        (x, ((aw, bx), (ax, bw), (ay, bz)), ((az, by),)),
        (y, ((aw, by), (ay, bw), (az, bx)), ((ax, bz),)),
        (z, ((aw, bz), (ax, by), (az, bw)), ((ay, bx),)),
    ):
        np.multiply(*plus[0], out=row)
        for pair in plus[1:]:
            row += pair[0] * pair[1]
        for pair in minus:
            row -= pair[0] * pair[1]
    return out


def _room(components: int, *broadcast: Floats) -> Floats:
    """Where sums of products are written in place: stacking them afterwards costs as much again."""
    shape = np.broadcast_shapes(*(one.shape for one in broadcast))
    return np.empty((*shape[:-1], components, shape[-1]))


def conjugate(q: Floats) -> Floats:
    """The inverse of unit quaternions ``(..., 4, frames)``."""
    return np.asarray(q * np.array([[1.0], [-1.0], [-1.0], [-1.0]]))


def normalise(q: Floats) -> Floats:
    """Scaled to length 1. A quaternion of length 0 gives NaN, which intake then reports."""
    with np.errstate(invalid="ignore", divide="ignore"):
        normalised: Floats = q / np.linalg.norm(q, axis=-2, keepdims=True)
    return normalised


def rotate(q: Floats, v: Floats) -> Floats:
    """Vectors ``(..., 3, frames)`` turned by ``(..., 4, frames)``."""
    w, x, y, z = (q[..., i, :] for i in range(4))
    a, b, c = (v[..., i, :] for i in range(3))
    # v + w t + u x t with t = 2 u x v, where u is the vector part of q.
    t = [2.0 * one for one in (y * c - z * b, z * a - x * c, x * b - y * a)]
    out = _room(3, w, a)
    for row, (along, after, before) in enumerate(((a, y, z), (b, z, x), (c, x, y))):
        turned = out[..., row, :]
        np.multiply(w, t[row], out=turned)
        turned += along
        turned += after * t[row - 1]
        turned -= before * t[row - 2]
    return out


def unrotate(q: Floats, v: Floats) -> Floats:
    """Vectors ``(..., 3, frames)`` turned back by ``(..., 4, frames)``."""
    return rotate(conjugate(q), v)


def angle(q: Floats) -> Floats:
    """How far each rotation turns, radians in [0, pi], ``(..., frames)``."""
    return np.asarray(
        2.0 * np.arctan2(np.linalg.norm(q[..., 1:, :], axis=-2), np.abs(q[..., 0, :]))
    )


def angle_between(a: Floats, b: Floats) -> Floats:
    """The angle of the rotation from `a` to `b`, radians in [0, pi]; sign of q does not matter."""
    return angle(multiply(conjugate(a), b))


def about(axis: str, angle_rad: Floats) -> Floats:
    """Rotation about "X", "Y" or "Z" by ``(..., frames)`` radians: ``(..., 4, frames)``."""
    half = np.asarray(angle_rad, dtype=np.float64) / 2.0
    q = np.zeros((*half.shape[:-1], 4, half.shape[-1]))
    q[..., 0, :] = np.cos(half)
    q[..., 1 + "XYZ".index(axis), :] = np.sin(half)
    return q


def from_axis_angle(axis: Floats, angle_rad: Floats) -> Floats:
    """Rotation about unit axes ``(..., 3, frames)`` by ``(..., frames)`` radians."""
    half = np.asarray(angle_rad, dtype=np.float64)[..., None, :] / 2.0
    return np.concatenate((np.cos(half), np.sin(half) * axis), axis=-2)


def from_euler(order: str, angles_rad: Floats) -> Floats:
    """Intrinsic rotations in `order` ("ZXY": R = Rz Rx Ry) from ``(..., len(order), frames)``."""
    q = about(order[0], angles_rad[..., 0, :])
    for i, axis in enumerate(order[1:], start=1):
        q = multiply(q, about(axis, angles_rad[..., i, :]))
    return q


def to_matrix(q: Floats) -> Floats:
    """Rotation matrices ``(..., 3, 3, frames)`` of unit quaternions ``(..., 4, frames)``."""
    w, x, y, z = (q[..., i, :] for i in range(4))
    rows = (
        (1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)),
        (2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)),
        (2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)),
    )
    return np.stack([np.stack(row, axis=-2) for row in rows], axis=-3)


def from_matrix(m: Floats) -> Floats:
    """Unit quaternions ``(..., 4, frames)`` of rotation matrices ``(..., 3, 3, frames)``.

    The largest of the four components is found first, so no case divides by a small number.
    """
    t = [m[..., i, i, :] for i in range(3)]
    squares = np.stack(
        (t[0] + t[1] + t[2], t[0] - t[1] - t[2], t[1] - t[0] - t[2], t[2] - t[0] - t[1])
    )
    best = np.argmax(squares, axis=0)
    q = np.empty((*best.shape[:-1], 4, best.shape[-1]))
    for largest, terms in enumerate(_LARGEST):
        here = best == largest
        if not here.any():
            continue
        for component, (i, j, sign) in enumerate(terms):
            row = q[..., component, :]
            if component == largest:
                row[here] = 1.0 + squares[largest][here]
            else:
                row[here] = m[..., i, j, :][here] + sign * m[..., j, i, :][here]
    return normalise(q)


# The largest component to (row, column, sign of the transposed element) of all four.
_WX, _WY, _WZ = (2, 1, -1.0), (0, 2, -1.0), (1, 0, -1.0)
_XY, _XZ, _YZ = (1, 0, 1.0), (0, 2, 1.0), (2, 1, 1.0)
_OWN = (0, 0, 0.0)
_LARGEST = (
    (_OWN, _WX, _WY, _WZ),
    (_WX, _OWN, _XY, _XZ),
    (_WY, _XY, _OWN, _YZ),
    (_WZ, _XZ, _YZ, _OWN),
)


def between(a: Floats, b: Floats) -> Floats:
    """The shortest rotation that turns directions `a` to `b`, ``(..., 3, frames)`` each."""
    a = a / np.linalg.norm(a, axis=-2, keepdims=True)
    b = b / np.linalg.norm(b, axis=-2, keepdims=True)
    w = 1.0 + np.sum(a * b, axis=-2, keepdims=True)
    xyz = np.cross(a, b, axis=-2)
    # Opposite directions have no shortest way: any axis across `a` will do.
    across = np.where(np.abs(a[..., :1, :]) < 0.9, [[1.0], [0.0], [0.0]], [[0.0], [1.0], [0.0]])
    xyz = np.where(w < 1e-12, np.cross(a, across, axis=-2), xyz)
    return normalise(np.concatenate((np.where(w < 1e-12, 0.0, w), xyz), axis=-2))


def slerp(a: Floats, b: Floats, t: Floats) -> Floats:
    """Between `a` (t = 0) and `b` (t = 1) the short way at constant speed, ``(..., 4, frames)``.

    Source: glTF 2.0 specification, appendix C.4 (spherical linear interpolation).
    """
    dot = np.sum(a * b, axis=-2, keepdims=True)
    b = np.where(dot < 0, -b, b)
    theta = np.arccos(np.clip(np.abs(dot), 0.0, 1.0))
    t = np.asarray(t, dtype=np.float64)[..., None, :]
    sine = np.sin(theta)
    close = sine < 1e-6
    safe = np.where(close, 1.0, sine)
    wa = np.where(close, 1.0 - t, np.sin((1.0 - t) * theta) / safe)
    wb = np.where(close, t, np.sin(t * theta) / safe)
    return normalise(wa * a + wb * b)


def swing_twist(q: Floats, axis: Floats) -> tuple[Floats, Floats]:
    """`q` as swing after twist about unit `axis` ``(..., 3, frames)``: (swing, twist).

    Where the swing is exactly half a turn the twist is undefined and taken as none.
    Source: Dobrowolski P (2015), arXiv 1506.05481.
    """
    along = np.sum(q[..., 1:, :] * axis, axis=-2, keepdims=True) * axis
    twist = np.concatenate((q[..., :1, :], along), axis=-2)
    length = np.linalg.norm(twist, axis=-2, keepdims=True)
    twist = np.where(length < 1e-12, IDENTITY, twist / np.where(length < 1e-12, 1.0, length))
    return multiply(q, conjugate(twist)), twist


def mean(q: Floats, weights: Floats | None = None) -> Floats:
    """The rotation nearest to all frames of ``(4, frames)`` in the least-squares sense: ``(4, 1)``.

    Source: Markley FL, Cheng Y, Crassidis JL, Oshman Y (2007), "Averaging quaternions",
    Journal of Guidance, Control, and Dynamics 30(4):1193-1197 (from memory).
    """
    w = np.ones(q.shape[-1]) if weights is None else weights
    _, vectors = np.linalg.eigh((q * w) @ q.T)
    best = vectors[:, -1:]
    return np.asarray(best if best[0, 0] >= 0 else -best)
