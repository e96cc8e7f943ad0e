"""Vectors ``(..., 3, frames)``, component by component: several times as fast as numpy's own."""

from __future__ import annotations

import numpy as np

from kinelint.kinematics.arrays import Floats


def dot(a: Floats, b: Floats) -> Floats:
    """Inner products ``(..., frames)``."""
    product = a[..., 0, :] * b[..., 0, :]
    product += a[..., 1, :] * b[..., 1, :]
    product += a[..., 2, :] * b[..., 2, :]
    return np.asarray(product)


def cross(a: Floats, b: Floats) -> Floats:
    """Vector products ``(..., 3, frames)``."""
    ax, ay, az = (a[..., i, :] for i in range(3))
    bx, by, bz = (b[..., i, :] for i in range(3))
    shape = np.broadcast_shapes(ax.shape, bx.shape)
    out = np.empty((*shape[:-1], 3, shape[-1]))
    for row, (plus, minus) in enumerate(
        (((ay, bz), (az, by)), ((az, bx), (ax, bz)), ((ax, by), (ay, bx)))
    ):
        np.multiply(*plus, out=out[..., row, :])
        out[..., row, :] -= minus[0] * minus[1]
    return out


def length(v: Floats) -> Floats:
    """Lengths ``(..., frames)``."""
    return np.asarray(np.sqrt(dot(v, v)))


def unit(v: Floats) -> Floats:
    """Directions of length 1; NaN where there is no length."""
    lengths = length(v)
    lengths[lengths <= 1e-9] = np.nan
    return np.asarray(v / lengths[..., None, :])
