"""Rotations as matrices (frames, 3, 3), and what a writer needs of them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def about(axis: str, degrees: Array | float) -> Array:
    """Rotation matrices about one axis, (frames, 3, 3)."""
    angle = np.radians(np.atleast_1d(np.asarray(degrees, dtype=np.float64)))
    c, s = np.cos(angle), np.sin(angle)
    i, j = {"X": (1, 2), "Y": (2, 0), "Z": (0, 1)}[axis]
    made = np.tile(np.eye(3), (len(angle), 1, 1))
    made[:, i, i] = made[:, j, j] = c
    made[:, i, j], made[:, j, i] = -s, s
    return made


def turn(m: Array, v: Array) -> Array:
    """Vectors (frames, 3) or (3,) turned by (frames, 3, 3)."""
    return np.asarray(np.einsum("fij,fj->fi", m, np.broadcast_to(v, (len(m), 3))))


def unit(v: Array) -> Array:
    """Vectors scaled to length 1."""
    return np.asarray(v / np.linalg.norm(v, axis=-1, keepdims=True))


def columns(x: Array, y: Array, z: Array) -> Array:
    """A rotation matrix with these axes as columns."""
    return np.stack((x, y, z), axis=-1)


def euler_zxy_deg(m: Array) -> Array:
    """Angles (frames, 3) of R = Rz Rx Ry, in degrees."""
    x = np.arcsin(np.clip(m[:, 2, 1], -1.0, 1.0))
    z = np.arctan2(-m[:, 0, 1], m[:, 1, 1])
    y = np.arctan2(-m[:, 2, 0], m[:, 2, 2])
    return np.asarray(np.degrees(np.stack((z, x, y), axis=-1)))


def quaternion_xyzw(m: Array) -> Array:
    """(frames, 4) with the scalar last, as glTF stores them, without sign flips."""
    t = np.einsum("fii->f", m)
    w = np.sqrt(np.maximum(1.0 + t, 0.0)) / 2.0
    q = np.empty((len(m), 4))
    for row, (matrix, trace, real) in enumerate(zip(m, t, w, strict=True)):
        q[row] = _quaternion(matrix, float(trace), float(real))
    for row in range(1, len(q)):
        if q[row] @ q[row - 1] < 0:
            q[row] *= -1.0
    return q


def _quaternion(m: Array, trace: float, w: float) -> Array:
    if trace > 0:
        xyz = np.array([m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]]) / (4.0 * w)
        return np.array([*xyz, w])
    i = int(np.argmax(np.diag(m)))
    j, k = (i + 1) % 3, (i + 2) % 3
    root = np.sqrt(1.0 + m[i, i] - m[j, j] - m[k, k])
    q = np.empty(4)
    q[i] = root / 2.0
    q[j] = (m[j, i] + m[i, j]) / (2.0 * root)
    q[k] = (m[k, i] + m[i, k]) / (2.0 * root)
    q[3] = (m[k, j] - m[j, k]) / (2.0 * root)
    return q
