"""The anatomical zero, and the angles read from it, on made motions whose angles are known."""

import pickle
from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.figure import Figure
from kinelint.anatomy.joint_angles_of import angles_of, joint_angles
from kinelint.anatomy.zero import sample_zero, settle_zero
from kinelint.clip import Clip
from kinelint.kinematics import rotations
from kinelint.motion import Motion
from kinelint.synthetic import clip, motion, person_figure


def bare(fingers: bool = False) -> Figure:
    return person_figure(fingers=fingers).with_zero(None)


def read(turns: dict, name: str, fingers: bool = False) -> float:
    degrees = joint_angles(motion(turns=turns, fingers=fingers))[name]
    assert np.ptp(degrees) < 1e-9
    return float(degrees[0])


# The person faces +Z, X to the left, all axes along the world's: one turn is one angle.
@pytest.mark.parametrize(
    ("part", "turn", "name", "expected"),
    [
        ("left_shank", ("X", 60), "left knee flexion", 60),
        ("right_shank", ("X", -12), "right knee flexion", -12),
        ("left_forearm", ("X", -80), "left elbow flexion", 80),
        ("right_forearm", ("X", 9), "right elbow flexion", -9),
        ("left_thigh", ("X", -70), "left hip flexion", 70),
        ("right_thigh", ("X", 25), "right hip flexion", -25),
        ("left_thigh", ("Z", 30), "left hip adduction", -30),
        ("right_thigh", ("Z", -30), "right hip adduction", -30),
        ("left_thigh", ("Y", -20), "left hip internal rotation", 20),
        ("right_thigh", ("Y", 20), "right hip internal rotation", 20),
        ("left_foot", ("X", -15), "left ankle dorsiflexion", 15),
        ("right_foot", ("X", 40), "right ankle dorsiflexion", -40),
        ("left_foot", ("Z", 20), "left ankle inversion", -20),
        ("right_foot", ("Z", -20), "right ankle inversion", -20),
        ("left_toes", ("X", -35), "left ball of the foot extension", 35),
        ("thorax", ("X", 30), "trunk flexion", 30),
        ("thorax", ("Z", 15), "trunk side bend", 15),
        ("abdomen", ("Y", 25), "trunk turn", 25),
        ("head", ("X", -40), "neck flexion", -40),
        ("neck", ("Y", -50), "neck turn", -50),
        ("left_upper_arm", ("X", 45), "left shoulder extension", 45),
        ("right_upper_arm", ("Z", -90), "right shoulder elevation", 90),
        ("left_upper_arm", ("Z", 120), "left shoulder elevation", 120),
        ("left_upper_arm", ("X", -90), "left shoulder plane of elevation", 90),
        ("right_upper_arm", ("X", -90), "right shoulder plane of elevation", 90),
    ],
)
def test_one_turn_is_one_angle(part, turn, name, expected):
    assert read({part: [turn]}, name) == pytest.approx(expected, abs=1e-6)


def test_the_trunk_is_the_sum_over_its_joints():
    turns = {"abdomen": [("X", 20)], "thorax": [("X", 25)]}
    assert read(turns, "trunk flexion") == pytest.approx(45, abs=1e-6)


def test_two_turns_come_apart_in_the_order_of_the_joint_coordinate_system():
    """Wu et al. 2002: hip Z-X-Y. The person's -X is anatomical Z, +Z is X."""
    turns = {"right_thigh": [("X", -50), ("Z", -20), ("Y", 10)]}
    assert read(turns, "right hip flexion") == pytest.approx(50, abs=1e-6)
    assert read(turns, "right hip adduction") == pytest.approx(-20, abs=1e-6)
    assert read(turns, "right hip internal rotation") == pytest.approx(10, abs=1e-6)


def test_the_plane_of_elevation_of_a_hanging_arm_means_nothing():
    degrees = joint_angles(motion(turns={"left_upper_arm": [("X", -20)]}))
    assert np.isnan(degrees["left shoulder plane of elevation"]).all()


@pytest.mark.parametrize(("side", "sign"), [("left", -1), ("right", 1)])
def test_forearm_and_wrist_are_read_from_the_knuckles(side, sign):
    """The made hand hangs palm inward, thumb forward: neutral, half way to palm back."""
    pulse = np.linspace(0, 90, 60)
    turns = {f"{side}_forearm": [("X", -pulse), ("Y", sign * 30)]}
    told = joint_angles(motion(turns=turns, fingers=True))
    assert told[f"{side} forearm pronation"] == pytest.approx(np.full(60, 30.0), abs=0.5)
    bent = {f"{side}_hand": [("Z", -sign * 40)]}
    straight = read({}, f"{side} wrist flexion", fingers=True)
    flexed = read(bent, f"{side} wrist flexion", fingers=True)
    assert abs(flexed - straight) == pytest.approx(40, abs=1.0)


def turned_axes(one: Clip, seed: int = 3) -> Clip:
    """The same motion of joints whose axes have been turned at random, each its own way."""
    rng = np.random.default_rng(seed)
    count = len(one.skeleton)
    turns = rotations.normalise(rng.normal(size=(count, 4, 1)))
    parents = one.skeleton.parents
    above = np.where(parents[:, None, None] < 0, rotations.IDENTITY, turns[parents])
    back = rotations.conjugate(above)

    def local(q: np.ndarray) -> np.ndarray:
        return rotations.multiply(rotations.multiply(back, q), turns)

    skeleton = replace(
        one.skeleton,
        rest_rotations=local(one.skeleton.rest_rotations[..., None])[..., 0],
        rest_translations=rotations.rotate(back, one.skeleton.rest_translations[..., None])[..., 0],
    )
    moved = rotations.rotate(back[one.translated], one.translations)
    return replace(one, skeleton=skeleton, rotations=local(one.rotations), translations=moved)


def lively() -> dict:
    wave = np.sin(np.linspace(0, 6, 90))
    return {
        "pelvis": [("Y", 20 * wave), ("X", 5 * wave)],
        "thorax": [("X", 20 * wave), ("Y", 15)],
        "head": [("Y", 30 * wave)],
        "left_thigh": [("X", -40 - 40 * wave)],
        "left_shank": [("X", 60 + 50 * wave)],
        "right_upper_arm": [("Z", -60 + 40 * wave), ("Y", 20)],
        "right_forearm": [("X", -70 + 40 * wave)],
        "left_foot": [("X", 20 * wave)],
    }


def settled(figure: Figure, *clips: Clip) -> Figure:
    samples = [sample_zero(Motion(one, figure)) for one in clips]
    return figure.with_zero(settle_zero([one for one in samples if one is not None]))


def test_turning_all_joint_axes_at_random_changes_no_angle():
    still, moving = clip(frames=60), clip(frames=90, turns=lively())
    plain = joint_angles(Motion(moving, settled(bare(), still, moving)))
    others = turned_axes(still), turned_axes(moving)
    same = joint_angles(Motion(others[1], settled(bare(), *others)))
    assert plain.keys() == same.keys()
    for name, degrees in plain.items():
        np.testing.assert_allclose(same[name], degrees, atol=1e-6, err_msg=name)


def test_a_leaning_rest_pose_is_no_zero():
    """All joint axes lean by what the skeleton's rest pose has; standing is still zero."""
    tilt = {"abdomen": [("X", 14)], "thorax": [("X", -9)], "left_thigh": [("X", 0)]}
    still = clip(frames=60, turns=tilt)
    figure = settled(bare(), still)
    told = joint_angles(Motion(still, figure))
    assert told["trunk flexion"] == pytest.approx(np.zeros(60), abs=1e-6)


def test_samples_of_many_clips_merge_to_what_one_long_clip_says():
    long = clip(frames=120, turns={"head": [("Y", np.linspace(-5, 10, 120))]})
    one = settled(bare(), long).zero
    two = settled(bare(), long.cut(0, 49), long.cut(50, 119)).zero
    assert one is not None
    assert two is not None
    for name, q in one.axes.items():
        assert rotations.angle_between(q, two.axes[name])[0] == pytest.approx(0, abs=2e-3), name


def test_samples_cross_process_borders():
    sample = sample_zero(Motion(clip(frames=60), bare()))
    again = settle_zero([pickle.loads(pickle.dumps(sample))])
    assert again is not None
    assert "pelvis" in again.axes


def test_a_crouching_figure_has_no_zero_for_hip_and_trunk_and_says_so():
    crouch = {
        f"{side}_{part}": [("X", degrees)]
        for side in ("left", "right")
        for part, degrees in (("thigh", -80), ("shank", 110), ("foot", -30))
    }
    figure = settled(bare(), clip(frames=60, turns=crouch, shifts_m={"pelvis": [0, -0.4, 0]}))
    told = angles_of(Motion(clip(frames=60, turns=crouch), figure))
    names = {one.name for one in told.angles}
    assert "left knee flexion" in names
    assert "left hip flexion" not in names
    assert "trunk flexion" not in names
    reasons = {one.joint: one.reason for one in told.untold}
    assert "no clip of this skeleton stands upright" in reasons["left hip"]


def test_the_unit_of_the_file_does_not_matter():
    still = clip(frames=60)
    scaled = replace(
        still,
        skeleton=replace(still.skeleton, rest_translations=still.skeleton.rest_translations * 100),
        translations=still.translations * 100,
    )
    figure = settled(bare(), scaled)
    assert figure.zero is not None
    assert set(figure.zero.axes) == set(settled(bare(), still).zero.axes)
