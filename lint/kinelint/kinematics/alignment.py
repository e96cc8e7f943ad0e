"""The turn about the vertical and the shift along the floor that bring two poses together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats


@dataclass(frozen=True)
class Alignment:
    """Turns by `yaw_rad` about +Y, then shifts by (`x_m`, `z_m`).

    `residual` is the weighted sum of squared distances that is left.
    """

    yaw_rad: float
    x_m: float
    z_m: float
    residual: float

    @property
    def turn(self) -> Floats:
        """``(4, 1)`` the rotation alone."""
        return rotations.about("Y", np.array([self.yaw_rad]))

    def apply(self, points: Floats) -> Floats:
        """``(..., 3, frames)`` brought over."""
        shift = np.array([[self.x_m], [0.0], [self.z_m]])
        return np.asarray(rotations.rotate(self.turn, points) + shift)


def align(target: Floats, points: Floats, weights: Floats) -> Alignment:
    """The alignment that brings `points` nearest to `target`, both ``(points, 3)``.

    Closed form for the least weighted sum of squares over yaw and horizontal shift, with a
    full-circle arctangent. Heights and tilts are left alone.

    Source: Kovar L, Gleicher M, Pighin F (2002), "Motion Graphs", ACM TOG 21:473-482.
    """
    total = float(np.sum(weights))
    x, z = target[:, 0], target[:, 2]
    u, v = points[:, 0], points[:, 2]
    mx, mz, mu, mv = (float(np.sum(weights * values)) for values in (x, z, u, v))
    sine = float(np.sum(weights * (x * v - u * z))) - (mx * mv - mu * mz) / total
    cosine = float(np.sum(weights * (x * u + z * v))) - (mx * mu + mz * mv) / total
    # The paper's yaw takes z towards -x; ours is a right-handed turn about +Y, the same thing.
    yaw = float(np.arctan2(sine, cosine))
    x0 = (mx - mu * np.cos(yaw) - mv * np.sin(yaw)) / total
    z0 = (mz + mu * np.sin(yaw) - mv * np.cos(yaw)) / total
    found = Alignment(yaw, float(x0), float(z0), 0.0)
    left = target - found.apply(points[:, :, None])[:, :, 0]
    return Alignment(yaw, found.x_m, found.z_m, float(np.sum(weights[:, None] * left**2)))
