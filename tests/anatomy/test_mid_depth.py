"""The trunk's capsules lie at mid-depth, wherever the spine's joints lie."""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.body import Body, build_body
from kinelint.anatomy.hints import BodyHints
from kinelint.anatomy.mid_depth import merged
from kinelint.anatomy.scale import sample_body, settle_figure
from kinelint.anatomy.volume_build import RestPose
from kinelint.clip import Skeleton
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.distance import end_points
from kinelint.synthetic import clip, person, person_figure

STATURE_M = 1.75
# ANSUR II (4,082 men, 1,986 women), chest depth 254 and 247 mm by stature 1756.2 and 1628.5 mm.
CHEST_DEPTH_M = STATURE_M * (254.0 / 1756.2 + 247.0 / 1628.5) / 2.0


def spine_behind(by_m: float) -> Skeleton:
    """A person whose spine joints lie so far behind hips and shoulders.

    People's vertebral bodies lie behind mid-depth of the trunk (anatomy, from memory: some 50 mm).
    """
    plain = person(STATURE_M)
    moved = np.array(plain.rest_translations)
    moved[plain.names.index("abdomen"), 2] -= by_m
    for name in ("neck", "left_clavicle", "right_clavicle"):
        moved[plain.names.index(name), 2] += by_m
    return replace(plain, rest_translations=moved)


def body_of(skeleton: Skeleton, ratio: float, radii_mm: dict[str, float] | None = None) -> Body:
    figure = replace(person_figure(STATURE_M), body=None)
    return build_body(figure, skeleton, (), BodyHints(girth_ratio=ratio, radii_mm=radii_mm or {}))


def front_and_back(body: Body, skeleton: Skeleton, part: str = "thorax") -> tuple[float, float]:
    """How far the part's lower ends reach in front of the hips and behind them, at rest."""
    rest = RestPose.of(skeleton, 1.0, person_figure(STATURE_M).to_y_up)
    low, _ = end_points(body.capsules, rest.positions_m[..., None], rest.orientations[..., None])
    mine = [i for i, one in enumerate(body.parts) if one == part]
    radius = body.capsules.radii_m[mine]
    middle = low[mine, 2, 0]
    return float((middle + radius).max()), float((radius - middle).max())


@pytest.mark.parametrize("ratio", [0.95, 1.0])
@pytest.mark.parametrize("behind_m", [0.0, 0.02, 0.05])
def test_the_breast_lies_half_a_chest_depth_before_the_line(ratio: float, behind_m: float) -> None:
    skeleton = spine_behind(behind_m)
    front, back = front_and_back(body_of(skeleton, ratio), skeleton)
    assert front == pytest.approx(ratio * CHEST_DEPTH_M / 2.0, abs=0.010)
    assert back == pytest.approx(ratio * CHEST_DEPTH_M / 2.0, abs=0.010)


def test_spine_joints_in_front_of_the_line_stay_the_middle() -> None:
    """Some rigs hang the spine from the middle of the belly: nothing moves backwards."""
    skeleton = spine_behind(-0.03)
    front, back = front_and_back(body_of(skeleton, 1.0), skeleton)
    assert front - back == pytest.approx(2 * 0.03, abs=1e-9)


def test_no_joint_is_taken_to_lie_outside_the_back() -> None:
    skeleton = spine_behind(0.30)
    front, back = front_and_back(body_of(skeleton, 1.0), skeleton)
    shift = 0.30 + (front - back) / 2.0
    assert shift == pytest.approx(0.45 * CHEST_DEPTH_M, abs=1e-3)


def test_a_radius_of_the_policy_is_about_the_joints() -> None:
    skeleton = spine_behind(0.05)
    front, back = front_and_back(body_of(skeleton, 1.0, {"thorax": 100.0}), skeleton)
    assert (front, back) == pytest.approx((0.05, 0.15), abs=1e-9)


def test_poses_tell_what_a_rest_pose_with_a_lying_spine_does_not() -> None:
    """A chest at rest on its back: the poses turn it up, and the front is where it was."""
    upright = spine_behind(0.05)
    chest = upright.names.index("abdomen")
    down = rotations.about("X", np.array([np.pi / 2]))
    rest = np.array(upright.rest_rotations)
    rest[chest] = rotations.multiply(rest[chest][:, None], down)[:, 0]
    lying = replace(upright, rest_rotations=rest)
    poses = replace(clip(frames=20), skeleton=lying)
    shape = poses.rotations.shape
    poses = replace(
        poses, rotations=np.broadcast_to(upright.rest_rotations[..., None], shape).copy()
    )
    anatomy = person_figure(STATURE_M).anatomy
    figure = settle_figure(lying, anatomy, [sample_body(poses, anatomy)], BodyHints(), 1.0, "y")
    assert float(figure.mid_depths_m["thorax"][2]) == pytest.approx(0.05, abs=1e-6)
    body = build_body(figure, lying, (), BodyHints(girth_ratio=1.0))
    low, _ = end_points(body.capsules, *posed(upright))
    mine = [i for i, part in enumerate(body.parts) if part == "thorax"]
    front = float((low[mine, 2, 0] + body.capsules.radii_m[mine]).max())
    assert front == pytest.approx(CHEST_DEPTH_M / 2.0, abs=0.010)


def test_clips_are_merged_by_their_medians() -> None:
    several = [{"thorax": (0.0, 0.0, z)} for z in (0.02, 0.03, 0.9)]
    np.testing.assert_allclose(merged(several)["thorax"], [0.0, 0.0, 0.03])
    assert merged([]) == {}


def posed(skeleton: Skeleton) -> tuple[Floats, Floats]:
    rest = RestPose.of(skeleton, 1.0, person_figure(STATURE_M).to_y_up)
    return rest.positions_m[..., None], rest.orientations[..., None]
