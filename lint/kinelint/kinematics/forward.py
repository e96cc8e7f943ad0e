"""Forward kinematics: from local rotations to orientations and positions in the world.

Plain arrays in and out, so that a compiled kernel can take its place. The work goes joint by
joint over chunks of frames that stay in the processor's cache: for long clips the first touch of
fresh memory costs more than the arithmetic. Sums of products are matrix products with constant
matrices, which one call does at the processor's full rate.
"""

from __future__ import annotations

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints

# As long as the cache holds one joint's scratch; longer makes the matrix products start threads.
CHUNK = 4096


def _hamilton() -> Floats:
    """``(4, 16)``: the quaternion product p l from the 16 products p_i l_j."""
    rows = (
        ((0, 0, 1), (1, 1, -1), (2, 2, -1), (3, 3, -1)),
        ((0, 1, 1), (1, 0, 1), (2, 3, 1), (3, 2, -1)),
        ((0, 2, 1), (2, 0, 1), (3, 1, 1), (1, 3, -1)),
        ((0, 3, 1), (3, 0, 1), (1, 2, 1), (2, 1, -1)),
    )
    sums = np.zeros((4, 4, 4))
    for row, terms in enumerate(rows):
        for i, j, sign in terms:
            sums[row, i, j] = sign
    return sums.reshape(4, 16)


def _turn() -> Floats:
    """``(3, 3, 10)``: the rotation matrix from the squares of `squares_of`."""
    ww, wx, wy, wz, yz, zx, xy = 0, 4, 5, 6, 7, 8, 9
    sums = np.zeros((3, 3, 10))
    for i in range(3):
        sums[i, i, [ww, 1, 2, 3]] = -1.0
        sums[i, i, [ww, 1 + i]] = 1.0
    for i, j, even, odd in ((1, 0, xy, wz), (0, 2, zx, wy), (2, 1, yz, wx)):
        sums[i, j, [even, odd]] = 2.0, 2.0
        sums[j, i, [even, odd]] = 2.0, -2.0
    return sums


_HAMILTON = _hamilton()
_TURN = _turn()


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
    children: list[list[int]] = [[] for _ in range(joints)]
    for joint, parent in enumerate(parents.tolist()):
        if parent >= 0:
            children[parent].append(joint)
    arms = turning(offsets)
    scratch = np.empty((30, min(CHUNK, frames)))
    for start in range(0, frames, CHUNK):
        span = slice(start, min(start + CHUNK, frames))
        n = span.stop - span.start
        products, squares, moved = scratch[:16, :n], scratch[16:26, :n], scratch[26:29, :n]
        for joint, parent in enumerate(parents.tolist()):
            own = orientations[joint, :, span]
            if parent < 0:
                own[...] = local[joint, :, span]
                positions[joint, :, span] = (
                    translations[moving[joint], :, span]
                    if joint in moving
                    else offsets[joint, :, None]
                )
            else:
                pairs = products.reshape(4, 4, n)
                np.multiply(orientations[parent, :, None, span], local[joint, :, span], out=pairs)
                np.matmul(_HAMILTON, products, out=own)
            if children[joint]:
                squares_of(own, squares)
            for child in children[joint]:
                if child in moving:
                    shift = translations[moving[child], :, span]
                    _turned(squares, shift, products[:9], moved)
                else:
                    np.matmul(arms[child], squares, out=moved)
                np.add(positions[joint, :, span], moved, out=positions[child, :, span])
    return positions, orientations


def turning(vectors: Floats) -> Floats:
    """``(k, 3, 10)``: what `turned` takes to turn the constant vectors ``(k, 3)``."""
    return np.asarray(np.einsum("ijk,cj->cik", _TURN, vectors))


def turned(q: Floats, arms: Floats) -> Floats:
    """Vectors that `turning` was given, turned by unit quaternions ``(4, n)``: ``(k, 3, n)``."""
    squares = np.empty((10, q.shape[-1]))
    squares_of(q, squares)
    out = np.empty((len(arms), 3, q.shape[-1]))
    for arm, one in zip(arms, out, strict=True):
        np.matmul(arm, squares, out=one)
    return out


def squares_of(q: Floats, out: Floats) -> None:
    """The ten products ww xx yy zz wx wy wz yz zx xy of ``(4, n)`` into ``(10, n)``."""
    np.multiply(q, q, out=out[:4])
    np.multiply(q[0], q[1:], out=out[4:7])
    np.multiply(q[2], q[3], out=out[7])
    np.multiply(q[1], q[3:1:-1], out=out[8:])


def _turned(squares: Floats, shift: Floats, matrix: Floats, out: Floats) -> None:
    """A shift ``(3, n)`` that changes over time, turned by the rotation of `squares`."""
    np.matmul(_TURN.reshape(9, 10), squares, out=matrix)
    np.einsum("ijn,jn->in", matrix.reshape(3, 3, -1), shift, out=out)


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
        parents: as in `forward`.
        local: as in `forward`.
        offsets: as in `forward`.
        translated: as in `forward`.
        translations: as in `forward`.
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
