"""Forward kinematics: from local rotations to orientations and positions in the world.

Plain arrays in and out, so that a compiled kernel can take its place. The work goes joint by
joint over chunks of frames that stay in the processor's cache: for long clips the first touch of
fresh memory costs more than the arithmetic.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints

CHUNK = 512
# Rows and signs that turn a local quaternion l into the factors of p's x, y and z in p l.
_ROWS = ((1, 0, 3, 2), (2, 3, 0, 1), (3, 2, 1, 0))
_SIGNS = np.array([[[-1.0], [1], [-1], [1]], [[-1.0], [1], [1], [-1]], [[-1.0], [-1], [1], [1]]])


def forward(
    parents: Ints,
    local: Floats,
    offsets: Floats,
    translated: Ints,
    translations: Floats,
) -> tuple[Floats, Floats]:
    """World positions ``(joints, 3, frames)`` and orientations ``(joints, 4, frames)``.

    Args:
        parents: ``(joints,)``, parents before children, -1 for a root.
        local: ``(joints, 4, frames)`` unit quaternions to the parent's axes.
        offsets: ``(joints, 3)`` translation of each joint from its parent where it is constant.
        translated: ``(m,)`` joints whose translation is not constant.
        translations: ``(m, 3, frames)`` of those.
    """
    joints, _, frames = local.shape
    positions = np.empty((joints, 3, frames))
    orientations = np.empty((joints, 4, frames))
    moving = {int(joint): i for i, joint in enumerate(translated)}
    order = parents.tolist()
    scratch = np.empty((3, joints, 4, min(CHUNK, frames)))
    work = np.empty((5, 6, min(CHUNK, frames)))
    for start in range(0, frames, CHUNK):
        span = slice(start, min(start + CHUNK, frames))
        n = span.stop - span.start
        shifts: Sequence[Floats] = [
            translations[moving[j], :, span] if j in moving else offsets[j, :, None]
            for j in range(joints)
        ]
        _chunk(
            order,
            local[:, :, span],
            shifts,
            positions[:, :, span],
            orientations[:, :, span],
            scratch[..., :n],
            work[..., :n],
        )
    return positions, orientations


def _chunk(
    parents: list[int],
    local: Floats,
    shifts: Sequence[Floats],
    positions: Floats,
    orientations: Floats,
    signed: Floats,
    work: Floats,
) -> None:
    for k in range(3):
        for row, (taken, sign) in enumerate(zip(_ROWS[k], _SIGNS[k], strict=True)):
            np.multiply(local[:, taken], sign, out=signed[k, :, row])
    product, twice, turned, crossed, part = (
        work[0, :4],
        work[1],
        work[2, :3],
        work[3, :3],
        work[4, :3],
    )
    for joint, parent in enumerate(parents):
        if parent < 0:
            orientations[joint] = local[joint]
            positions[joint] = shifts[joint]
            continue
        p, out = orientations[parent], orientations[joint]
        np.multiply(p[0], local[joint], out=out)
        for k in range(3):
            np.multiply(p[k + 1], signed[k, joint], out=product)
            out += product
        _place(p, shifts[joint], positions[parent], positions[joint], twice, turned, crossed, part)


def _place(
    q: Floats,
    shift: Floats,
    origin: Floats,
    out: Floats,
    twice: Floats,
    turned: Floats,
    crossed: Floats,
    part: Floats,
) -> None:
    """Out = origin + q turned on shift, as v + w t + u x t with t = 2 u x v."""
    w, x, y, z = q
    a, b, c = shift * 2.0
    t = twice[:3]
    for row, (m, n, o, r) in enumerate(((y, c, z, b), (z, a, x, c), (x, b, y, a))):
        np.multiply(m, n, out=t[row])
        np.multiply(o, r, out=part[0])
        t[row] -= part[0]
    np.multiply(w, t, out=turned)
    for row, (m, n, o, r) in enumerate(
        ((y, t[2], z, t[1]), (z, t[0], x, t[2]), (x, t[1], y, t[0]))
    ):
        np.multiply(m, n, out=crossed[row])
        np.multiply(o, r, out=part[0])
        crossed[row] -= part[0]
    np.add(origin, shift, out=out)
    out += turned
    out += crossed


def forward_scaled(
    parents: Ints,
    local: Floats,
    offsets: Floats,
    translated: Ints,
    translations: Floats,
    rest_scales: Floats,
    scaled: Ints,
    scales: Floats,
) -> tuple[Floats, Floats]:
    """The same where joints are scaled: ``T R S`` down the tree, as glTF 2.0 section 5.25 has it.

    Positions are exact, shear included; orientations are the product of the rotations alone.

    Args:
        rest_scales: ``(joints, 3)`` where the scale is constant.
        scaled: ``(s,)`` joints whose scale is not constant.
        scales: ``(s, 3, frames)`` of those.
    """
    joints, _, frames = local.shape
    positions = np.empty((joints, 3, frames))
    orientations = np.empty((joints, 4, frames))
    moving = {int(joint): i for i, joint in enumerate(translated)}
    growing = {int(joint): i for i, joint in enumerate(scaled)}
    for start in range(0, frames, CHUNK):
        span = slice(start, min(start + CHUNK, frames))
        linear = np.empty((joints, 3, 3, span.stop - span.start))
        turned = rotations.to_matrix(local[:, :, span])
        for joint, parent in enumerate(parents.tolist()):
            scale = (
                scales[growing[joint], :, span] if joint in growing else rest_scales[joint, :, None]
            )
            shift = (
                translations[moving[joint], :, span]
                if joint in moving
                else np.broadcast_to(offsets[joint, :, None], (3, span.stop - span.start))
            )
            own = turned[joint] * scale[None, :, :]
            if parent < 0:
                linear[joint] = own
                positions[joint, :, span] = shift
                orientations[joint, :, span] = local[joint, :, span]
            else:
                linear[joint] = np.einsum("ijn,jkn->ikn", linear[parent], own)
                moved = np.einsum("ijn,jn->in", linear[parent], shift)
                positions[joint, :, span] = positions[parent, :, span] + moved
                orientations[joint, :, span] = rotations.multiply(
                    orientations[parent, :, span], local[joint, :, span]
                )
    return positions, orientations
