"""Virtual soles of made figures, whose feet are known, and of real ones."""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.feet import ANKLE_HEIGHT, FOOT_LENGTH, HEEL_BEHIND_ANKLE
from kinelint.anatomy.sole import soles
from kinelint.assemble import motion_of
from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.intake import prepare
from kinelint.kinematics import rotations
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint.synthetic import motion, person_figure
from kinelint.synthetic_walk import STATURE_M, at_rest, walk
from real_data import real


def test_proportions_are_those_of_the_survey():
    """ANSUR II (Gordon et al. 2014): men's foot length 271.2 mm of a stature of 1,756 mm."""
    assert pytest.approx(271.2 / 1756.0, abs=0.0005) == FOOT_LENGTH
    assert 0.03 < ANKLE_HEIGHT < 0.05


def test_a_standing_sole_lies_on_the_floor_under_its_joints():
    for side, sole in motion().derive(soles).items():
        ankle, toes = at_rest(f"{side}_foot"), at_rest(f"{side}_toes")
        assert sole.placed == "standing"
        assert np.allclose(sole.ball_m[:, 0], [toes[0], 0.0, toes[2]], atol=1e-9)
        behind = HEEL_BEHIND_ANKLE * STATURE_M
        assert np.allclose(sole.heel_m[:, 0], [ankle[0], 0.0, ankle[2] - behind], atol=1e-9)


def test_heel_and_ball_of_a_rolling_foot_bear_on_the_floor():
    """The made walk rolls over the heel, stands flat and rolls over the ball, exactly."""
    placed = walk(sample_rate_hz=60.0)
    for side, sole in placed.motion().derive(soles).items():
        for one in placed.stances:
            frames = [round(t * 60.0) for t in (one.heel_strike_s, one.flat_s, one.heel_off_s)]
            if one.side != side or frames[0] < 0 or one.toe_off_s > 4.0:
                continue
            assert np.abs(sole.heel_m[1, frames[0] + 1 : frames[2]]).max() < 1e-6
            until = round(one.toe_off_s * 60.0)
            assert np.abs(sole.ball_m[1, frames[1] + 1 : until]).max() < 1e-6


def test_turning_a_joints_own_axes_moves_no_sole():
    """The axes that a file gives its joints are arbitrary: points must not depend on them."""
    placed = walk(sample_rate_hz=60.0)
    before = placed.motion().derive(soles)
    clip = placed.clip
    skeleton = clip.skeleton
    turn = rotations.normalise(np.array([[0.4], [0.5], [-0.3], [0.7]]))
    local = np.array(clip.rotations)
    tips = [skeleton.names.index(f"{side}_toes end") for side in ("left", "right")]
    offsets = np.array(skeleton.rest_translations)
    for side, tip in zip(("left", "right"), tips, strict=True):
        toes = skeleton.names.index(f"{side}_toes")
        local[toes] = rotations.multiply(local[toes], turn)
        offsets[tip] = rotations.unrotate(turn, offsets[tip][:, None])[:, 0]
    turned = replace(clip, rotations=local, skeleton=replace(skeleton, rest_translations=offsets))
    after = Motion(turned, person_figure(STATURE_M), Cue(), 0.0).derive(soles)
    for side in ("left", "right"):
        assert np.allclose(before[side].ball_m, after[side].ball_m, atol=1e-9)
        assert np.allclose(before[side].tip_m, after[side].tip_m, atol=1e-9)


def test_a_foot_without_toes_is_stiff():
    made = motion()
    anatomy = made.figure.anatomy
    kept = tuple(one for one in anatomy.assignments if not one.part.endswith("toes"))
    tips = {
        f"{side}_foot": made.clip.skeleton.names.index(f"{side}_toes end")
        for side in ("left", "right")
    }
    stiff = Motion(made.clip, replace(made.figure, anatomy=Anatomy(kept, tips)), Cue(), 0.0)
    for sole in stiff.derive(soles).values():
        assert sole.tip_m is not None
        assert sole.heel_m[2, 0] < 0.0 < sole.ball_m[2, 0] < sole.tip_m[2, 0]
        assert np.abs(sole.ball_m[1]).max() < 0.002


def test_a_foot_that_is_one_joint_points_ahead():
    made = motion()
    anatomy = made.figure.anatomy
    kept = tuple(one for one in anatomy.assignments if not one.part.endswith("toes"))
    bare = Motion(made.clip, replace(made.figure, anatomy=Anatomy(kept, {})), Cue(), 0.0)
    for sole in bare.derive(soles).values():
        assert sole.ball_m[2, 0] - sole.heel_m[2, 0] > 0.1 * STATURE_M
        assert sole.ball_m[0, 0] == pytest.approx(sole.heel_m[0, 0], abs=1e-9)


def test_feet_that_were_not_captured_have_no_sole():
    with pytest.raises(NotApplicable, match="not captured"):
        motion(cue=Cue(not_captured=("left_foot", "right_foot"))).derive(soles)


@pytest.mark.parametrize(
    "name", ["bvh/cmu_02_01_walk.bvh", "bvh/accad_male2_b3_walk.bvh", "bvh/fair1_zombie_zup.bvh"]
)
def test_soles_of_real_walks_reach_the_floor_and_hardly_pass_it(name):
    """Common practice, no source: planted soles of a clean capture stay within 20 mm."""
    from kinelint.anatomy.contacts import contacts
    from kinelint.anatomy.ground import ground

    walked = motion_of(prepare(read(real(name)).clips[0]).clip)
    floor = walked.derive(ground).floor
    planted = []
    for one in walked.derive(contacts):
        span = one.planted(walked, 0.08)
        if span is not None and one.point == "ball":
            path = walked.derive(soles)[one.side].ball_m[:, span[0] : span[1] + 1]
            planted.append(path[1] - floor.at(path[0], path[2]))
    heights = np.concatenate(planted)
    assert abs(np.median(heights)) < 0.006
    assert np.quantile(np.abs(heights), 0.9) < 0.020
