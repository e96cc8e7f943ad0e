"""Channel orders, against SciPy's Rotation and a worked figure."""

from __future__ import annotations

from itertools import pairwise, product
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from bvh_text import POSITIONS, Bone, clip_of, hierarchy, motion, rotations
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.forward import forward

ORDERS = [
    "".join(axes)
    for count in (1, 2, 3)
    for axes in product("XYZ", repeat=count)
    if all(a != b for a, b in pairwise(axes))
]


def matrices(q: Floats) -> Floats:
    """``(frames, 3, 3)`` of scalar-first ``(4, frames)``, by SciPy."""
    return Rotation.from_quat(q[[1, 2, 3, 0]].T).as_matrix()


@pytest.mark.parametrize("order", ORDERS)
def test_a_rotation_order_reads_as_scipy_composes_it(order: str, tmp_path: Path) -> None:
    # SciPy Rotation.from_euler, upper case: intrinsic, that is R = R1 R2 R3 on column vectors.
    angles = np.random.default_rng(3).uniform(-400, 400, (300, len(order)))
    clip = clip_of(hierarchy([Bone("root", channels=rotations(order))]) + motion(angles), tmp_path)
    expected = Rotation.from_euler(order, angles, degrees=True).as_matrix()
    np.testing.assert_allclose(matrices(clip.rotations[0]), expected, atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(clip.rotations[0], axis=0), 1.0, atol=1e-12)


def test_all_orders_stand_together_in_one_file(tmp_path: Path) -> None:
    bones = [Bone(order, channels=rotations(order)) for order in ORDERS]
    columns = sum(map(len, ORDERS))
    values = np.random.default_rng(4).uniform(-180, 180, (7, columns))
    clip = clip_of(hierarchy(bones) + motion(values), tmp_path)
    at = 0
    for i, order in enumerate(ORDERS):
        own = values[:, at : at + len(order)]
        at += len(order)
        expected = Rotation.from_euler(order, own, degrees=True).as_matrix()
        np.testing.assert_allclose(matrices(clip.rotations[i]), expected, atol=1e-12)
    assert clip.skeleton.parents.tolist() == [-1] * len(ORDERS)


def test_positions_may_stand_among_rotations(tmp_path: Path) -> None:
    channels = ["Zrotation", "Yposition", "Xrotation", "Xposition", "Zposition", "Yrotation"]
    row = [30.0, 2.0, 20.0, 1.0, 3.0, 10.0]
    clip = clip_of(hierarchy([Bone("root", channels=channels)]) + motion([row]), tmp_path)
    assert clip.translations[0, :, 0].tolist() == [1.0, 2.0, 3.0]
    expected = Rotation.from_euler("ZXY", [30, 20, 10], degrees=True).as_matrix()
    np.testing.assert_allclose(matrices(clip.rotations[0])[0], expected, atol=1e-12)


@pytest.mark.parametrize(
    ("angles", "hand"),
    [
        # A two-joint arm worked by hand: elbow at (2.5, 0, 0), hand 3.5 above it, order Z X Y.
        # Skeleton after the example of the Aesop motion project; positions derived on paper.
        ((90, 0, 0), (-1, 0, 0)),
        ((0, 90, 0), (2.5, 0, 3.5)),
        ((0, 0, 90), (2.5, 3.5, 0)),
        ((90, 90, 0), (2.5, 0, 3.5)),
        ((30, 20, 10), (0.855538, 2.848292, 1.197071)),
    ],
)
def test_the_worked_arm_has_its_hand_where_the_paper_says(
    angles: tuple[float, ...], hand: tuple[float, ...], tmp_path: Path
) -> None:
    reach = Bone("Hand", (0, 3.5, 0), rotations("ZXY"), end=(0, 1, 0))
    elbow = Bone("Elbow", (2.5, 0, 0), rotations("ZXY"), [reach])
    clip = clip_of(hierarchy([elbow]) + motion([[*angles, 0, 0, 0]]), tmp_path)
    skeleton = clip.skeleton
    positions, _ = forward(
        skeleton.parents,
        clip.rotations,
        skeleton.rest_translations,
        clip.translated,
        clip.translations,
    )
    np.testing.assert_allclose(positions[1, :, 0], hand, atol=1e-6)


def test_frames_beyond_one_stride_are_each_their_own(tmp_path: Path) -> None:
    angles = np.linspace(0, 3600, 1500)[:, None]
    clip = clip_of(hierarchy([Bone("root", channels=["Yrotation"])]) + motion(angles), tmp_path)
    half = np.radians(angles[:, 0]) / 2
    np.testing.assert_allclose(clip.rotations[0, 0], np.cos(half), atol=1e-12)
    np.testing.assert_allclose(clip.rotations[0, 2], np.sin(half), atol=1e-12)


def test_joints_without_rotations_stay_unturned(tmp_path: Path) -> None:
    root = Bone("root", channels=POSITIONS, end=(0, 1, 0))
    clip = clip_of(hierarchy([root]) + motion([[1, 2, 3], [4, 5, 6]]), tmp_path)
    np.testing.assert_array_equal(clip.rotations[:, 0], 1.0)
    np.testing.assert_array_equal(clip.rotations[:, 1:], 0.0)
