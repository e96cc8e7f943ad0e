"""Joint angles by the joint coordinate systems of the International Society of Biomechanics.

A segment's axes are X forward, Y up along it, Z to the body's right. A joint's rotation turns
distal axes into proximal ones, and is read in one of two orders:

* Z-X-Y: flexion about the proximal Z, then about the floating axis, then about the distal Y: hip,
  knee, ankle, spine, elbow, wrist. It is what Grood and Suntay's floating axis measures.
* Y-X-Y: plane of elevation, elevation, axial rotation: the shoulder.

Sources: Grood ES, Suntay WJ (1983), J Biomech Eng 105:136-144; Wu G et al. (2002), J Biomech
35:543-548; Wu G et al. (2005), J Biomech 38:981-992.
"""

from __future__ import annotations

import numpy as np

from kinelint.kinematics.arrays import Bools, Floats

# Closer than this to a singular pose the two outer angles are one, and only their sum is known.
SINGULAR_RAD = 1e-6


def zxy(q: Floats) -> Floats:
    """Angles about Z, the floating X and the distal Y of ``(..., 4, frames)``.

    Returns ``(..., 3, frames)`` radians, the second in [-pi/2, pi/2]. Where it is a quarter turn
    (gimbal lock) the first holds the sum (or difference) of the outer two, and the third is 0.
    """
    w, x, y, z = (q[..., i, :] for i in range(4))
    along_x, along_y = 2 * (x * y - w * z), 1 - 2 * (x * x + z * z)
    sine = 2 * (y * z + w * x)
    cosine = np.hypot(along_x, along_y)
    first = np.arctan2(-along_x, along_y)
    second = np.arctan2(sine, cosine)
    third = np.arctan2(2 * (w * y - x * z), 1 - 2 * (x * x + y * y))
    locked = cosine < SINGULAR_RAD
    if locked.any():
        together = np.arctan2(2 * (x * y + w * z), 1 - 2 * (y * y + z * z))
        first, third = np.where(locked, together, first), np.where(locked, 0.0, third)
    return np.stack((first, second, third), axis=-2)


def yxy(q: Floats) -> Floats:
    """Plane of elevation, elevation and axial rotation of ``(..., 4, frames)``.

    Returns ``(..., 3, frames)`` radians, the elevation in [0, pi], the others in (-pi, pi]. At
    elevations 0 and pi the plane means nothing: it reads 0, and the axial rotation holds the whole
    turn. Near those, look at `plane_is_known` before using the plane.
    """
    w, x, y, z = (q[..., i, :] for i in range(4))
    aside, along = np.hypot(x, z), np.hypot(w, y)
    half_sum, half_difference = np.arctan2(y, w), np.arctan2(-z, x)
    elevation = 2 * np.arctan2(aside, along)
    plane, axial = half_sum + half_difference, half_sum - half_difference
    low, high = aside < SINGULAR_RAD / 2, along < SINGULAR_RAD / 2
    plane = np.where(low | high, 0.0, plane)
    axial = np.where(low, 2 * half_sum, np.where(high, -2 * half_difference, axial))
    return np.stack((wrapped(plane), elevation, wrapped(axial)), axis=-2)


def plane_is_known(elevation_rad: Floats, least_rad: float) -> Bools:
    """Where a plane of elevation means something: at least `least_rad` from 0 and from pi."""
    return np.asarray((elevation_rad > least_rad) & (elevation_rad < np.pi - least_rad))


def as_right_limb(q: Floats) -> Floats:
    """A left limb's rotations ``(..., 4, frames)`` as its mirror image, a right limb, has them.

    Mirroring across the plane of symmetry (Z to -Z) turns the signs of rotations about X and Y, so
    that flexion, abduction and internal rotation have one sign on both sides.
    """
    return np.asarray(q * np.array([[1.0], [-1.0], [-1.0], [1.0]]))


def mirrored_vectors(v: Floats) -> Floats:
    """Directions ``(..., 3, frames)`` mirrored across the plane of symmetry."""
    return np.asarray(v * np.array([[1.0], [1.0], [-1.0]]))


def wrapped(angle_rad: Floats) -> Floats:
    """Angles taken into (-pi, pi]."""
    return np.asarray(np.pi - np.mod(np.pi - np.asarray(angle_rad), 2 * np.pi))


def swing_angles(direction: Floats) -> Floats:
    """The first two Z-X-Y angles of a segment whose Y points along ``(..., 3, frames)``.

    They do not depend on the segment's turn about itself, so positions alone give them.
    Returns ``(..., 2, frames)`` radians.
    """
    x, y, z = (direction[..., i, :] for i in range(3))
    return np.stack((np.arctan2(-x, y), np.arctan2(z, np.hypot(x, y))), axis=-2)
