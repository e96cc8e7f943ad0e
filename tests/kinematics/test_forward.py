"""Forward kinematics against MuJoCo's, and against what must hold of any tree."""

import numpy as np
import pytest

from kinelint.kinematics import rotations
from kinelint.kinematics.forward import CHUNK, forward, forward_scaled


def random_tree(joints: int, frames: int, seed: int):
    """Parents, local rotations, offsets, translated joints and their translations."""
    rng = np.random.default_rng(seed)
    parents = np.array([-1, *(int(rng.integers(0, j)) for j in range(1, joints))])
    local = rng.normal(size=(joints, 4, frames))
    local /= np.linalg.norm(local, axis=1, keepdims=True)
    offsets = rng.normal(size=(joints, 3)) * 0.3
    translated = np.array([0, joints // 2])
    return parents, local, offsets, translated, rng.normal(size=(2, 3, frames))


def mujoco_world(parents, local, offsets, translated, translations):
    """The same by MuJoCo: each joint a body, its frame's pose written into the model."""
    mujoco = pytest.importorskip("mujoco")
    spec = mujoco.MjSpec()
    bodies = []
    for joint, parent in enumerate(parents):
        above = spec.worldbody if parent < 0 else bodies[parent]
        bodies.append(above.add_body(name=f"j{joint}"))
    model = spec.compile()
    data = mujoco.MjData(model)
    order = [model.body(f"j{joint}").id for joint in range(len(parents))]
    frames = local.shape[-1]
    positions = np.empty((len(parents), 3, frames))
    matrices = np.empty((len(parents), 3, 3, frames))
    for f in range(frames):
        for joint, body in enumerate(order):
            row = np.flatnonzero(translated == joint)
            model.body_pos[body] = translations[row[0], :, f] if row.size else offsets[joint]
            model.body_quat[body] = local[joint, :, f]
        mujoco.mj_kinematics(model, data)
        positions[..., f] = data.xpos[order]
        matrices[..., f] = data.xmat[order].reshape(-1, 3, 3)
    return positions, matrices


@pytest.mark.parametrize(("joints", "seed"), [(4, 0), (23, 1), (60, 2)])
def test_agrees_with_mujoco_on_random_trees(joints: int, seed: int):
    tree = random_tree(joints, 7, seed)
    positions, orientations = forward(*tree)
    expected_positions, expected_matrices = mujoco_world(*tree)
    np.testing.assert_allclose(positions, expected_positions, rtol=0, atol=1e-9)
    matrices = rotations.to_matrix(orientations)
    np.testing.assert_allclose(matrices, expected_matrices, rtol=0, atol=1e-9)


def test_a_frame_does_not_depend_on_the_chunk_it_falls_in():
    tree = random_tree(9, CHUNK + 3, 3)
    parents, local, offsets, translated, translations = tree
    positions, orientations = forward(*tree)
    for f in (0, CHUNK - 1, CHUNK, CHUNK + 2):
        one = slice(f, f + 1)
        alone = forward(parents, local[..., one], offsets, translated, translations[..., one])
        np.testing.assert_allclose(positions[..., one], alone[0], rtol=0, atol=1e-13)
        np.testing.assert_allclose(orientations[..., one], alone[1], rtol=0, atol=1e-13)


def test_bones_keep_their_length_over_many_frames():
    parents, local, offsets, _, _ = random_tree(30, 500, 4)
    positions, orientations = forward(
        parents, local, offsets, np.empty(0, np.intp), np.empty((0, 3, 500))
    )
    bones = positions[1:] - positions[parents[1:]]
    lengths = np.linalg.norm(offsets[1:], axis=1)[:, None]
    np.testing.assert_allclose(np.linalg.norm(bones, axis=1) - lengths, 0.0, atol=1e-13)
    np.testing.assert_allclose(np.linalg.norm(orientations, axis=1), 1.0, rtol=0, atol=1e-13)


def test_several_roots_stand_apart():
    still = np.tile(np.array([1.0, 0, 0, 0])[None, :, None], (3, 1, 2))
    offsets = np.array([[1.0, 0, 0], [0, 2, 0], [0, 0, 3]])
    none = np.empty(0, np.intp)
    positions, _ = forward(np.array([-1, -1, 1]), still, offsets, none, np.empty((0, 3, 2)))
    expected = [[1, 0, 0], [0, 2, 0], [0, 2, 3]]
    np.testing.assert_array_equal(positions[..., 1], expected)


def test_unit_scales_change_nothing():
    tree = random_tree(12, 40, 5)
    ones = np.ones((12, 3))
    scaled = forward_scaled(*tree, ones, np.empty(0, np.intp), np.empty((0, 3, 40)))
    for one, other in zip(forward(*tree), scaled, strict=True):
        np.testing.assert_allclose(one, other, rtol=0, atol=1e-12)


def test_scales_go_down_the_tree_as_gltf_says():
    """GlTF 2.0, 5.25: the matrix of a node is T R S, and goes before that of its children."""
    rng = np.random.default_rng(6)
    parents, local, offsets, translated, translations = random_tree(8, 5, 6)
    scales = rng.uniform(0.5, 2.0, size=(8, 3))
    growing = rng.uniform(0.5, 2.0, size=(1, 3, 5))
    positions, _ = forward_scaled(
        parents, local, offsets, translated, translations, scales, np.array([3]), growing
    )
    for f in range(5):
        matrices = []
        for joint, parent in enumerate(parents):
            row = np.flatnonzero(translated == joint)
            own = np.eye(4)
            own[:3, 3] = translations[row[0], :, f] if row.size else offsets[joint]
            scale = growing[0, :, f] if joint == 3 else scales[joint]
            own[:3, :3] = rotations.to_matrix(local[joint, :, f : f + 1])[..., 0] * scale
            matrices.append(own if parent < 0 else matrices[parent] @ own)
        expected = [matrix[:3, 3] for matrix in matrices]
        np.testing.assert_allclose(positions[..., f], expected, rtol=0, atol=1e-12)
