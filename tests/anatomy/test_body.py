"""The volume of a body: where capsules lie, which pairs count, what rest poses allow."""

import pickle
from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.body import Body, body_overlaps, build_body, capsule_ends
from kinelint.anatomy.hints import BodyHints
from kinelint.anatomy.neighbours import carrier, limb, may_collide, reach, steps
from kinelint.clip import Skeleton
from kinelint.kinematics import rotations
from kinelint.motion import Motion
from kinelint.synthetic import clip, motion, person, person_figure, standing

STATURE_M = 1.75


def body_of(hints: BodyHints | None = None, skeleton: Skeleton | None = None) -> Body:
    figure = replace(person_figure(STATURE_M), body=None)
    return build_body(figure, skeleton or person(STATURE_M), (), hints)


def radii_of(body: Body, part: str) -> list[float]:
    return [float(r) for r, p in zip(body.capsules.radii_m, body.parts, strict=True) if p == part]


def rest_ends(body: Body, skeleton: Skeleton):
    """Ends of each capsule at rest, ``(caps, 2, 3)``."""
    still = replace(clip(frames=1), skeleton=skeleton, rotations=skeleton.rest_rotations[..., None])
    still = replace(still, translations=skeleton.rest_translations[still.translated][..., None])
    ends = capsule_ends(Motion(still, person_figure(STATURE_M).with_body(body)))
    return np.stack([end[..., 0] for end in ends], axis=1)


def test_every_part_of_a_person_has_a_volume_and_left_is_right():
    body = body_of()
    assert not body.missing
    assert not body.doubts
    assert set(body.radii_from.values()) == {"girth"}
    ends = rest_ends(body, person(STATURE_M))
    mirror = np.array([-1.0, 1.0, 1.0])
    for part in ("upper_arm", "forearm", "hand", "thigh", "shank", "foot", "toes"):
        left = [i for i, p in enumerate(body.parts) if p == f"left_{part}"]
        right = [i for i, p in enumerate(body.parts) if p == f"right_{part}"]
        assert len(left) == len(right) > 0
        np.testing.assert_allclose(ends[left], ends[right] * mirror, atol=1e-12)


@pytest.mark.parametrize(
    ("sex", "stature_mm", "upper_arm_mm", "breadth_mm", "depth_mm"),
    [("male", 1756.2, 57.0, 346.0, 246.0), ("female", 1628.5, 48.6, 354.0, 233.0)],
)
def test_full_girth_is_that_of_the_survey(sex, stature_mm, upper_arm_mm, breadth_mm, depth_mm):
    """ANSUR II means (4,082 men, 1,986 women): biceps girth as a radius, hips as a stadium."""
    figure = replace(person_figure(STATURE_M), body=None, stature_m=stature_mm / 1000.0)
    body = build_body(figure, person(STATURE_M), (), BodyHints(sex=sex, girth_ratio=1.0))
    assert 1000 * radii_of(body, "left_upper_arm")[0] == pytest.approx(upper_arm_mm, rel=0.005)
    hips = [i for i, part in enumerate(body.parts) if part == "pelvis"]
    radius = body.capsules.radii_m[hips[0]]
    across = np.abs(body.capsules.offsets_m[hips, 0, 0]).max()
    # The section's middle lies between hips and waist (326 x 238 mm and 300 x 213 mm).
    assert breadth_mm * 0.9 < 2000 * (across + radius) < breadth_mm
    assert depth_mm * 0.95 < 2000 * radius < depth_mm


def test_thickness_scales_with_stature():
    child = replace(person_figure(STATURE_M), body=None, stature_m=STATURE_M / 2)
    small = build_body(child, person(STATURE_M), ())
    np.testing.assert_allclose(
        np.array(radii_of(small, "left_thigh")) * 2, radii_of(body_of(), "left_thigh"), rtol=1e-12
    )


def test_both_ends_follow_their_joints():
    bent = motion(turns={"left_forearm": [("X", -90.0)]}, shifts_m={"left_hand": [0, -0.05, 0]})
    starts, ends = capsule_ends(bent)
    body = bent.figure.body
    assert body is not None
    first, last = (i for i, part in enumerate(body.parts) if part == "left_forearm")
    np.testing.assert_allclose(starts[first], bent.part("left_forearm").position_m, atol=1e-12)
    np.testing.assert_allclose(ends[last], bent.part("left_hand").position_m, atol=1e-12)


def test_the_trunk_lies_across_and_follows_the_hips_and_the_shoulders():
    turned = motion(turns={"thorax": [("Y", 90.0)]})
    starts, ends = capsule_ends(turned)
    body = turned.figure.body
    assert body is not None
    low = [starts[i, :, 0] for i, part in enumerate(body.parts) if part == "abdomen"]
    high = [ends[i, :, 0] for i, part in enumerate(body.parts) if part == "abdomen"]
    across_low, across_high = low[0] - low[1], high[0] - high[1]
    assert np.abs(across_low[0]) > 0.03
    np.testing.assert_allclose(across_low[1:], 0.0, atol=1e-12)
    # The same line, turned to the body's right side with the chest: along -Z.
    np.testing.assert_allclose(across_high, [0.0, 0.0, -across_low[0]], atol=1e-12)


def test_joint_axes_do_not_matter():
    """Every joint's axes turned at random, the same body in space: the same capsules."""
    plain = person(STATURE_M)
    rng = np.random.default_rng(3)
    world = rng.normal(size=(len(plain), 4))
    world /= np.linalg.norm(world, axis=1, keepdims=True)
    local, moved = np.array(world), np.array(plain.rest_translations)
    for joint, parent in enumerate(plain.parents):
        if parent >= 0:
            turn = world[parent][:, None]
            local[joint] = rotations.multiply(rotations.conjugate(turn), world[joint][:, None])[
                :, 0
            ]
            moved[joint] = rotations.unrotate(turn, moved[joint][:, None])[:, 0]
    twisted = replace(plain, rest_rotations=local, rest_translations=moved)
    one, other = body_of(), body_of(skeleton=twisted)
    assert one.parts == other.parts
    np.testing.assert_allclose(one.capsules.radii_m, other.capsules.radii_m, atol=1e-12)
    np.testing.assert_allclose(rest_ends(one, plain), rest_ends(other, twisted), atol=1e-9)


def test_a_rest_pose_with_all_bones_one_way_allows_nothing():
    """Some files lay every bone along one axis: its overlaps are no pose's overlaps."""
    plain = person(STATURE_M)
    lengths = np.linalg.norm(plain.rest_translations, axis=1)
    straight = np.outer(lengths, [0.0, 1.0, 0.0])
    odd = replace(plain, rest_translations=straight)
    assert not np.any(body_of(skeleton=odd).allowed_m)


def test_rest_overlap_is_allowed_and_no_more():
    fat = body_of(BodyHints(girth_ratio=1.3))
    assert np.any(fat.allowed_m > 0.02)
    still = standing()
    figure = still.figure.with_body(fat)
    found = body_overlaps(Motion(still.clip, figure))
    assert found is not None
    assert np.all(found.depth_m - fat.allowed_m[found.pair] < 1e-9)
    pressed = clip(turns={"left_upper_arm": [("Z", -5.0)]})
    found = body_overlaps(Motion(pressed, figure))
    assert found is not None
    assert (found.depth_m - fat.allowed_m[found.pair]).max() > 0.02


def test_a_standing_person_overlaps_nowhere():
    found = body_overlaps(standing())
    assert found is not None
    assert len(found) == 0


@pytest.mark.parametrize(
    ("part", "other", "apart"),
    [
        ("left_hand", "right_thigh", 7),
        ("left_upper_arm", "thorax", 2),
        ("left_thigh", "right_thigh", 2),
        ("head", "thorax", 2),
        ("left_forearm", "left_index_1", 3),
        ("left_hand", "tail", 99),
    ],
)
def test_steps_on_the_graph_of_parts(part: str, other: str, apart: int):
    assert steps(part, other) == steps(other, part) == apart
    assert may_collide(part, other) == (apart > 2)


def test_pairs_leave_neighbours_out_and_put_the_freer_part_first():
    body = body_of()
    pairs = {body.pair_parts(row) for row in range(len(body.pairs))}
    assert all(may_collide(*pair) for pair in pairs)
    assert ("left_hand", "right_thigh") in pairs
    assert ("left_forearm", "thorax") in pairs
    assert ("left_shank", "pelvis") not in pairs
    assert all(reach(first) >= reach(second) for first, second in pairs)


def test_words_for_regions():
    assert [limb(p) for p in ("left_hand", "right_toes", "neck", "abdomen", "left_index_1")] == [
        "left arm",
        "right leg",
        "head",
        "trunk",
        "left arm",
    ]
    assert [carrier(p) for p in ("left_hand", "right_toes", "head")] == [
        "thorax",
        "pelvis",
        "thorax",
    ]


def test_the_policy_sets_radii():
    body = body_of(BodyHints(radii_mm={"left_thigh": 50.0, "thorax": 80.0}))
    assert radii_of(body, "left_thigh") == [0.05, 0.05]
    assert radii_of(body, "thorax") == [0.08, 0.08]
    assert body.radii_from["left_thigh"] == "policy"
    assert body.radii_from["right_thigh"] == "girth"


def test_narrow_shoulders_put_the_arms_in_doubt():
    plain = person(STATURE_M)
    offsets = np.array(plain.rest_translations)
    for side in ("left", "right"):
        offsets[plain.names.index(f"{side}_upper_arm")] *= 0.4
    body = body_of(skeleton=replace(plain, rest_translations=offsets))
    assert "shoulders" in body.doubts["left_hand"]
    assert "left_foot" not in body.doubts
    # The trunk is as much narrower, so that the arms can hang.
    wide = body_of()
    chest = [i for i, part in enumerate(body.parts) if part == "thorax"]
    assert (
        np.abs(body.capsules.offsets_m[chest, 0, 0]).max() + body.capsules.radii_m[chest].max()
        < np.abs(wide.capsules.offsets_m[chest, 0, 0]).max() + wide.capsules.radii_m[chest].max()
    )


def test_stout_limbs_put_the_whole_figure_in_doubt():
    thick = {
        f"{side}_{part}": 160.0
        for side in ("left", "right")
        for part in ("upper_arm", "forearm", "thigh", "shank")
    }
    body = body_of(BodyHints(radii_mm=thick))
    assert set(body.doubts) == set(body.parts)


def test_no_stature_no_body():
    figure = replace(person_figure(), body=None, stature_m=np.nan, leg_m=np.nan)
    body = build_body(figure, person())
    assert len(body.capsules) == 0
    assert "stature" in body.missing


def test_the_leg_stands_in_for_the_stature():
    figure = replace(person_figure(STATURE_M), body=None, stature_m=np.nan)
    body = build_body(figure, person(STATURE_M))
    assert radii_of(body, "head") == pytest.approx(radii_of(body_of(), "head"), rel=0.001)


def test_parts_without_joints_are_named():
    full = person_figure(STATURE_M)
    kept = tuple(one for one in full.anatomy.assignments if "shank" not in one.part)
    figure = replace(full, body=None, anatomy=Anatomy(kept, full.anatomy.tips))
    body = build_body(figure, person(STATURE_M))
    assert "left shank" in body.missing
    assert "left_thigh" not in body.parts


def test_a_body_crosses_processes():
    body = body_of()
    again = pickle.loads(pickle.dumps(body))
    assert again.parts == body.parts
    np.testing.assert_array_equal(again.pairs, body.pairs)
    np.testing.assert_array_equal(again.capsules.offsets_m, body.capsules.offsets_m)
