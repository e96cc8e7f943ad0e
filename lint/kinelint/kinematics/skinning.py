"""Linear blend skinning of chosen points of a surface over many frames, as one matrix product.

A point that hangs on joints j with weights w_j is ``sum w_j (R_j x_j + p_j)``, with x_j the
point at the bind pose in the axes of j (glTF 2.0 specification, section 3.7.3.3). A point between
vertices is a weighted sum of these, so that its terms of each joint can be added up beforehand.
Plain arrays in and out, so that a compiled kernel can take its place.
"""

from __future__ import annotations

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints


def terms(
    points: Floats, slots: Ints, weights: Floats, shares: Floats, bind: Floats, turn: Floats
) -> Floats:
    """``(n, joints, 4)``: sums of weight times place in a joint's axes, and of weight.

    Args:
        points: ``(n, k, 3)`` the vertices that each point lies between, at the bind pose.
        slots: ``(n, k, influences)`` rows of `bind` that each vertex hangs on.
        weights: ``(n, k, influences)``.
        shares: ``(n, k)`` of each vertex in the point; a row sums to 1.
        bind: ``(joints, 3)`` places of the joints at the bind pose.
        turn: ``(joints, 3, 3)`` their axes there, as matrices to the world.
    """
    out = np.zeros((len(points), len(bind), 4))
    row = np.arange(len(points))[:, None]
    for influence in range(slots.shape[2]):
        slot = slots[..., influence]
        weight = weights[..., influence] * shares
        local = np.einsum("nkji,nkj->nki", turn[slot], points - bind[slot])
        whole = np.concatenate((local, np.ones((*slot.shape, 1))), axis=2)
        np.add.at(out, (row, slot), weight[..., None] * whole)
    return out


def moves(joints: Ints, carrier: int, positions_m: Floats, orientations: Floats) -> Floats:
    """``(joints, 4, 3, frames)``: how joints lie in the axes of the carrier, for `placed`.

    Args:
        joints: ``(k,)`` which.
        carrier: in whose axes.
        positions_m: ``(all joints, 3, frames)``.
        orientations: ``(all joints, 4, frames)``.
    """
    back = rotations.conjugate(orientations[carrier])
    turned = rotations.to_matrix(rotations.multiply(back, orientations[joints]))
    moved = rotations.rotate(back, positions_m[joints] - positions_m[carrier])
    out = np.empty((len(joints), 4, 3, positions_m.shape[-1]))
    out[:, :3] = turned.swapaxes(1, 2)
    out[:, 3] = moved
    return out


def placed(sums: Floats, moved: Floats) -> Floats:
    """``(n, 3, frames)``: points with these `terms` under these `moves`."""
    frames = moved.shape[-1]
    flat = sums.reshape(len(sums), -1) @ moved.reshape(-1, 3 * frames)
    return np.asarray(flat.reshape(len(sums), 3, frames))
