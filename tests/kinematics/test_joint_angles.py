"""Decompositions against worked matrices, Grood and Suntay's floating axis, and SciPy."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.kinematics import joint_angles, rotations

RNG = np.random.default_rng(20)


def quaternion(order: str, *angles_deg: float) -> np.ndarray:
    return rotations.from_euler(order, np.radians(np.array(angles_deg))[:, None])


def degrees(angles: np.ndarray) -> list[float]:
    return np.degrees(angles[..., 0]).tolist()


def random_rotations(count: int = 500) -> tuple[np.ndarray, Rotation]:
    theirs = Rotation.random(count, random_state=np.random.RandomState(4))
    xyzw = theirs.as_quat()
    return np.roll(xyzw, 1, axis=1).T.copy(), theirs


# Worked value: R = Rz(30) Rx(20) Ry(10), columns are distal axes in the proximal frame.
WORKED_ZXY = np.array(
    [
        [0.823173, -0.469846, 0.318796],
        [0.543838, 0.813798, -0.204874],
        [-0.163176, 0.342020, 0.925417],
    ]
)
# Worked value: R = Ry(30) Rx(60) Ry(20).
WORKED_YXY = np.array(
    [
        [0.728293, 0.433013, 0.531121],
        [0.296198, 0.5, -0.813798],
        [-0.617945, 0.75, 0.235889],
    ]
)


def test_zxy_of_the_worked_matrix():
    q = rotations.from_matrix(WORKED_ZXY[..., None])
    assert q[:, 0] == pytest.approx([0.943714, 0.144878, 0.127679, 0.268536], abs=1e-6)
    assert degrees(joint_angles.zxy(q)) == pytest.approx([30, 20, 10], abs=1e-4)


def test_yxy_of_the_worked_matrix():
    q = rotations.from_matrix(WORKED_YXY[..., None])
    assert q[:, 0] == pytest.approx([0.784886, 0.498097, 0.365998, -0.043578], abs=1e-6)
    assert degrees(joint_angles.yxy(q)) == pytest.approx([30, 60, 20], abs=1e-4)


@pytest.mark.parametrize(
    ("order", "wrong"),
    [
        ("XYZ", (12.4831, 18.5901, 29.7166)),
        ("ZYX", (33.4512, 9.3911, 20.2836)),
        ("XZY", (22.7959, 28.0243, 21.1702)),
    ],
)
def test_a_wrong_order_would_be_noticed(order, wrong):
    """The worked matrix read in other orders, so that a slip of order cannot pass as 30, 20, 10."""
    same = quaternion(order, *wrong)
    assert degrees(joint_angles.zxy(same)) == pytest.approx([30, 20, 10], abs=1e-3)
    assert np.max(np.abs(np.array(wrong) - [30, 20, 10])) > 2


def test_zxy_is_scipys_intrinsic_zxy():
    """SciPy `Rotation.as_euler`: upper case letters are intrinsic rotations."""
    ours, theirs = random_rotations()
    expected = np.radians(theirs.as_euler("ZXY", degrees=True)).T
    assert joint_angles.zxy(ours) == pytest.approx(expected, abs=1e-9)


def test_yxy_is_scipys_intrinsic_yxy():
    ours, theirs = random_rotations()
    expected = theirs.as_euler("YXY").T
    assert joint_angles.yxy(ours) == pytest.approx(expected, abs=1e-9)


def test_zxy_is_grood_and_suntays_floating_axis():
    """Grood and Suntay (1983): e1 proximal, e3 distal, e2 = e3 x e1 floats between them."""
    ours, theirs = random_rotations()
    distal = theirs.as_matrix()
    e1, e3 = np.array([0.0, 0.0, 1.0]), distal[:, :, 1]
    e2 = np.cross(e3, e1)
    e2 /= np.linalg.norm(e2, axis=1, keepdims=True)
    flexion = np.arctan2(e2[:, 1], e2[:, 0])
    floating = np.arcsin(e3 @ e1)
    axial = np.arctan2(np.sum(e2 * distal[:, :, 2], axis=1), np.sum(e2 * distal[:, :, 0], axis=1))
    assert joint_angles.zxy(ours) == pytest.approx(np.stack((flexion, floating, axial)), abs=1e-9)


@pytest.mark.parametrize("sign", [1, -1])
def test_the_sign_of_a_quaternion_does_not_matter(sign):
    ours, _ = random_rotations(50)
    assert joint_angles.zxy(sign * ours) == pytest.approx(joint_angles.zxy(ours), abs=1e-12)
    assert joint_angles.yxy(sign * ours) == pytest.approx(joint_angles.yxy(ours), abs=1e-12)


def test_gimbal_lock_of_zxy_keeps_the_sum():
    """Z-X-Y (30, 90, 10): only 30 + 10 = 40 is defined."""
    assert degrees(joint_angles.zxy(quaternion("ZXY", 30, 90, 10))) == pytest.approx(
        [40, 90, 0], abs=1e-5
    )
    assert degrees(joint_angles.zxy(quaternion("ZXY", 30, -90, 10))) == pytest.approx(
        [20, -90, 0], abs=1e-5
    )


def test_yxy_at_no_elevation_is_one_turn():
    """Y-X-Y (30, 0, 20) is only "50 about Y"."""
    assert degrees(joint_angles.yxy(quaternion("YXY", 30, 0, 20))) == pytest.approx([0, 0, 50])
    assert degrees(joint_angles.yxy(quaternion("YXY", 30, 180, 20))) == pytest.approx([0, 180, -10])


def test_the_plane_of_elevation_is_gated_at_both_ends():
    known = joint_angles.plane_is_known(
        np.radians([0.0, 19, 21, 90, 159, 161, 180]), np.radians(20)
    )
    assert known.tolist() == [False, False, True, True, True, False, False]


def test_the_worked_shoulder_points_where_it_should():
    """Distal Y of Y-X-Y (30, 60, 20) is (sin60 sin30, cos60, sin60 cos30)."""
    up = np.array([[0.0], [1.0], [0.0]])
    turned = rotations.rotate(quaternion("YXY", 30, 60, 20), up)[:, 0]
    assert turned == pytest.approx([0.433013, 0.5, 0.75], abs=1e-6)


def test_a_left_limb_reads_as_its_mirror_image():
    """Wu et al. (2002): on left limbs the signs of X and Y rotations mirror, that of Z does not."""
    right, left = quaternion("ZXY", 30, 20, 10), quaternion("ZXY", 30, -20, -10)
    assert joint_angles.as_right_limb(left) == pytest.approx(right, abs=1e-12)
    v = RNG.normal(size=(3, 40))
    q, _ = random_rotations(40)
    there = joint_angles.mirrored_vectors(rotations.rotate(q, v))
    here = rotations.rotate(joint_angles.as_right_limb(q), joint_angles.mirrored_vectors(v))
    assert here == pytest.approx(there, abs=1e-12)


def test_flexion_signs_of_the_limbs():
    """X forward, Y up, Z right: hip flexion is +Z; knee flexion is -Z (a foot that goes back)."""
    down = np.array([[0.0], [-1.0], [0.0]])
    assert rotations.rotate(quaternion("ZXY", 30, 0, 0), down)[0, 0] > 0.4
    assert rotations.rotate(quaternion("ZXY", -30, 0, 0), down)[0, 0] < -0.4


def test_swing_angles_need_only_the_direction():
    ours, _ = random_rotations()
    up = np.broadcast_to([[0.0], [1.0], [0.0]], (3, ours.shape[1]))
    swing = joint_angles.swing_angles(rotations.rotate(ours, up))
    assert swing == pytest.approx(joint_angles.zxy(ours)[:2], abs=1e-9)


def test_leading_axes_broadcast():
    ours, _ = random_rotations(24)
    stacked = np.stack((ours, ours[:, ::-1]))
    assert joint_angles.zxy(stacked)[1] == pytest.approx(joint_angles.zxy(ours[:, ::-1]))
    assert joint_angles.yxy(stacked).shape == (2, 3, 24)
