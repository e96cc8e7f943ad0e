"""FBX's three ways of taking a parent's scale, against 4 x 4 matrices. Needs no binding."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.kinematics.forward import forward_scaled
from kinelint.readers.fbx_chain import Locals, chained, plan_scales

JOINTS, FRAMES = 12, 9


def written(rng, scales: str, modes: np.ndarray, parents: np.ndarray) -> Locals:
    shape = (JOINTS, 3, FRAMES)
    sizes = {
        "none": np.ones((JOINTS, 3, 1)),
        "even": np.broadcast_to(rng.uniform(0.5, 2.0, (JOINTS, 1, 1)), (JOINTS, 3, 1)),
        "uneven": rng.uniform(0.5, 2.0, (JOINTS, 3, 1)),
        "over time": rng.uniform(0.5, 2.0, shape),
        "mirrored": rng.uniform(0.5, 2.0, shape) * rng.choice([-1.0, 1.0], (JOINTS, 3, 1)),
        "to nothing": rng.uniform(0.0, 1.0, shape) * (np.arange(FRAMES) > 3),
    }[scales]
    turns = Rotation.random(JOINTS * FRAMES, random_state=5).as_quat()[:, [3, 0, 1, 2]]
    turns = turns.reshape(JOINTS, FRAMES, 4).transpose(0, 2, 1)
    moving = np.array([0, 3, 7])
    moved = rng.uniform(-1.0, 1.0, (3, 3, FRAMES))
    return Locals(rng.uniform(-1.0, 1.0, (JOINTS, 3)), moving, moved, turns, sizes)


def expected(parents, modes, local: Locals) -> np.ndarray:
    """``(joints, 3, frames)`` by the format's rules: RSrs, Rrs and RrSs, frame by frame.

    Source: the reference of the format's interface, "Computing transformation matrices" (from
    memory): the global turn and scale of a joint are PR PS R S, PR (PS / S of the parent) R S, or
    PR R PS S; its place is always the parent's whole transform of its shift.
    """
    found = np.empty((JOINTS, 3, FRAMES))
    for frame in range(FRAMES):
        # Of each joint: the global turn and scale, whose product takes its children's shifts.
        turned, scaled = {}, {}
        for joint, parent in enumerate(parents.tolist()):
            R = Rotation.from_quat(local.turns[joint, [1, 2, 3, 0], frame]).as_matrix()
            S = np.diag(local.scales[joint, :, min(frame, local.scales.shape[-1] - 1)])
            row = np.flatnonzero(local.moving == joint)
            T = local.moved[row[0], :, frame] if len(row) else local.shifts[joint]
            if parent < 0:
                turned[joint], scaled[joint], found[joint, :, frame] = R, S, T
                continue
            PR, PS = turned[parent], scaled[parent]
            found[joint, :, frame] = found[parent, :, frame] + PR @ PS @ T
            turned[joint] = (PR @ PS if modes[joint] == 0 else PR) @ R
            scaled[joint] = PS @ S if modes[joint] == 2 else S
    return found


@pytest.mark.parametrize(
    "scales", ["none", "even", "uneven", "over time", "mirrored", "to nothing"]
)
@pytest.mark.parametrize("mode", [0, 1, 2, "mixed"])
def test_positions_are_those_of_the_format(scales, mode):
    rng = np.random.default_rng(11)
    parents = np.array([-1] + [rng.integers(max(0, j - 3), j) for j in range(1, JOINTS)])
    modes = rng.integers(0, 3, JOINTS) if mode == "mixed" else np.full(JOINTS, mode)
    local = written(rng, scales, modes, parents)
    rest = local.scales[..., 0]
    tree = plan_scales(parents, modes, rest, [local.scales])
    chain = chained(tree, local)
    every = np.arange(JOINTS)
    offsets = np.repeat(chain.shifts[..., None], FRAMES, axis=-1)
    offsets[chain.moving] = chain.moved
    stays = np.flatnonzero(tree.stays)
    kept = np.broadcast_to(chain.scales, (len(stays), 3, FRAMES))
    found = forward_scaled(
        parents, local.turns, chain.shifts, every, offsets, np.ones((JOINTS, 3)), stays, kept
    )[0]
    np.testing.assert_allclose(found, expected(parents, modes, local), atol=1e-9)


def test_an_even_scale_leaves_the_chain_and_its_offsets_still():
    rng = np.random.default_rng(3)
    parents, modes = np.arange(-1, JOINTS - 1), np.zeros(JOINTS, dtype=np.intp)
    local = written(rng, "even", modes, parents)
    tree = plan_scales(parents, modes, local.scales[..., 0], [local.scales])
    assert tree.plain
    assert not tree.stays.any()
    assert chained(tree, local).moving.tolist() == local.moving.tolist()


def test_a_scale_that_all_children_take_stays_where_it_is():
    rng = np.random.default_rng(4)
    parents, modes = np.arange(-1, JOINTS - 1), np.zeros(JOINTS, dtype=np.intp)
    local = written(rng, "over time", modes, parents)
    tree = plan_scales(parents, modes, local.scales[..., 0], [local.scales])
    assert tree.stays.all()
    modes[5] = 1
    tree = plan_scales(parents, modes, local.scales[..., 0], [local.scales])
    assert np.flatnonzero(~tree.stays).tolist() == [4]


def test_noise_of_single_precision_is_no_scale():
    parents, modes = np.arange(-1, 2), np.zeros(3, dtype=np.intp)
    scales = 1.0 + 2.4e-7 * np.random.default_rng(0).choice([-1.0, 0.0, 1.0], (3, 3, 50))
    assert plan_scales(parents, modes, scales[..., 0], [scales]).plain
