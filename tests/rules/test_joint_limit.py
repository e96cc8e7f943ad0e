"""The rule joint-limit, and its ranges against the published tables."""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.joint_angles_of import joint_angles
from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level, Unjudged
from kinelint.motion import Motion
from kinelint.synthetic import bump, clip, motion, person_figure
from kinelint.testing import check_rule
from kinelint_rules.joints.joint_limit import JointLimit, JointLimitSettings, kind_of, limit_of
from kinelint_rules.joints.range import Range
from kinelint_rules.joints.ranges import RANGES


def said(one: Motion, **settings: object) -> list[Finding | Unjudged]:
    return list(JointLimit.check(one, JointLimitSettings(**settings)))


def found(one: Motion, **settings: object) -> list[Finding]:
    return [f for f in said(one, **settings) if isinstance(f, Finding)]


def unjudged(one: Motion) -> list[str]:
    return [u.reason for u in said(one) if isinstance(u, Unjudged)]


def range_of(joint: str, angle: str, sign: int) -> Range:
    (one,) = [r for r in RANGES if (r.joint, r.angle, r.sign) == (joint, angle, sign)]
    return one


def test_keeps_the_contract():
    check_rule(JointLimit)


# Published values, seen or quoted (REFERENCE section 1); those from memory are left out.
@pytest.mark.parametrize(
    ("joint", "angle", "sign", "sex", "deg", "source"),
    [
        ("hip", "flexion", 1, "male", 142, "95th percentile, men of 20-44, CDC public-use data"),
        ("knee", "flexion", 1, "any", 157, "deep squat under load, Hemmerich 2006"),
        ("ankle", "dorsiflexion", 1, "any", 43.2, "weight-bearing lunge"),
        ("trunk", "flexion", 1, "any", 90, "38 CFR 4.71a note 2"),
        ("trunk", "flexion", -1, "any", 30, "38 CFR 4.71a note 2"),
        ("trunk", "side bend", 1, "any", 35, "AAOS"),
        ("neck", "turn", 1, "any", 80, "38 CFR 4.71a note 2"),
        ("neck", "side bend", -1, "any", 45, "38 CFR 4.71a note 2"),
        ("hip", "flexion", -1, "any", 30, "AAOS"),
        ("finger knuckle", "flexion", -1, "any", 45, "AAOS, Eaton"),
        ("thumb end joint", "flexion", -1, "any", 20, "AAOS"),
    ],
)
def test_ranges_are_the_published_ones(joint, angle, sign, sex, deg, source):
    assert range_of(joint, angle, sign).limit_deg(sex) == pytest.approx(deg, abs=1.0), source


# Mean and upper end of the 95 % CI of the mean, 2-8 years: seen on the CDC page.
@pytest.mark.parametrize(
    ("joint", "angle", "sign", "sex", "mean", "ci_high"),
    [
        ("hip", "flexion", 1, "female", 140.8, 142.4),
        ("hip", "flexion", 1, "male", 131.1, 132.8),
        ("hip", "flexion", -1, "female", 26.2, 28.5),
        ("hip", "flexion", -1, "male", 28.3, 29.4),
        ("knee", "flexion", 1, "female", 152.6, 154.0),
        ("knee", "flexion", 1, "male", 147.8, 149.0),
        ("knee", "flexion", -1, "female", 5.4, 6.9),
        ("knee", "flexion", -1, "male", 1.6, 2.3),
    ],
)
def test_no_limit_is_the_confidence_interval_of_a_mean(joint, angle, sign, sex, mean, ci_high):
    one = range_of(joint, angle, sign)
    column = one.female_deg if sex == "female" else one.male_deg
    assert column[0] == mean
    assert one.limit_deg(sex, "2-8") > ci_high + 0.5


@pytest.mark.parametrize("one", RANGES, ids=lambda r: f"{r.joint} {r.words}")
def test_a_wider_profile_is_never_stricter(one):
    assert one.source
    assert one.limit_deg("any", "any") >= one.limit_deg("any", "20-44") > 0
    assert one.limit_deg("any") >= max(one.limit_deg("male"), one.limit_deg("female"))


def test_every_range_is_read_by_some_angle_of_a_person_with_fingers():
    pulse = 80 * bump(60, 5, 55)
    arms = {f"{side}_forearm": [("X", -pulse)] for side in ("left", "right")}
    one = motion(turns=arms, fingers=True)
    from kinelint.anatomy.joint_angles_of import angles_of

    read = {(kind_of(angle), angle.angle) for angle in one.derive(angles_of).angles}
    # Without fingers the wrist's bend takes the place of its flexion.
    assert {(r.joint, r.angle) for r in RANGES} - read == {("wrist", "bend")}
    bare = {(kind_of(a), a.angle) for a in motion().derive(angles_of).angles}
    assert ("wrist", "bend") in bare


def test_message_names_the_joint_the_way_and_the_numbers():
    (one,) = found(motion(turns={"left_shank": [("X", -16 * bump(60, 15, 45))]}))
    assert one.message == "left knee hyperextended 16°, past 10°"
    assert one.limit == pytest.approx(1.6 + 1.645 * 2.1 + 5, abs=1e-3)
    assert "left shank" in one.remedy
    assert "6°" in one.remedy
    assert one.trace is not None
    assert max(one.trace.values) == pytest.approx(one.measured)


@pytest.mark.parametrize("rate", [30.0, 60.0, 120.0])
@pytest.mark.parametrize("seconds", [0.0667, 0.2, 0.5])
def test_the_same_verdict_at_every_frame_rate(rate, seconds):
    """A knee 1.25 times its limit the wrong way for two frames of 30 Hz or more."""
    times = np.arange(round(2 * rate)) / rate
    back = np.where((times >= 1.0) & (times < 1.0 + seconds), -12.6, 0.0)
    (one,) = found(
        motion(frames=len(times), sample_rate_hz=rate, turns={"right_shank": [("X", back)]})
    )
    assert one.parts == ("right_shank",)
    assert one.level is Level.ERROR
    assert one.span.first / rate == pytest.approx(1.0, abs=1 / rate)
    assert one.span.frames / rate == pytest.approx(seconds, abs=1.01 / rate)


def test_one_frame_of_noise_is_no_finding():
    back = np.zeros(60)
    back[30] = -40
    assert not found(motion(turns={"left_shank": [("X", back)]}))


def test_a_value_that_hovers_about_the_limit_is_one_finding():
    back = -11.0 + 0.9 * np.sin(np.arange(60))
    assert len(found(motion(turns={"left_shank": [("X", back)]}))) == 1


def test_two_spans_are_two_findings():
    back = -16 * (bump(120, 10, 40) + bump(120, 70, 100))
    first, second = found(motion(frames=120, turns={"left_shank": [("X", back)]}))
    assert first.span.last < 45 < 65 < second.span.first


def test_one_joint_past_two_limits_at_once_is_one_finding():
    pulse = bump(60, 15, 45)
    (one,) = found(motion(turns={"head": [("X", 80 * pulse), ("Z", 60 * pulse)]}))
    assert one.parts == ("head",)
    assert "also" in one.message


def test_levels_grow_with_how_far_past():
    def level(degrees: float) -> Level | None:
        (one,) = found(motion(turns={"left_shank": [("X", -degrees * bump(60, 15, 45))]}))
        return one.level

    assert level(11) is Level.WARNING
    assert level(14) is Level.ERROR


def test_a_joint_beyond_its_limit_throughout_is_one_note_about_the_zero():
    turns = {f"{side}_thigh": [("X", 60.0)] for side in ("left", "right")}
    (one,) = found(motion(turns=turns))
    assert one.level is Level.NOTE
    assert set(one.parts) == {"left_thigh", "right_thigh"}
    assert "zero" in one.message


def test_a_knee_the_wrong_way_throughout_is_still_found():
    (one,) = found(motion(turns={"left_shank": [("X", -25.0)]}))
    assert one.level is Level.ERROR
    assert one.measured == pytest.approx(25, abs=1e-6)


def test_without_a_zero_hinges_are_judged_and_the_rest_is_said():
    figure = person_figure().with_zero(None)
    back = -16 * bump(60, 15, 45)
    one = Motion(clip(turns={"left_shank": [("X", back)]}), figure)
    assert [f.parts for f in found(one)] == [("left_shank",)]
    reasons = " ".join(unjudged(one))
    assert "left hip: no anatomical zero" in reasons
    assert "trunk: no anatomical zero" in reasons


def test_parts_that_were_not_captured_are_not_judged_and_that_is_said():
    back = {"left_shank": [("X", -30 * bump(60, 15, 45))]}
    one = motion(turns=back, cue=Cue(not_captured=("left_foot",)))
    assert not found(one)
    assert any("left foot was not captured" in reason for reason in unjudged(one))


def test_of_a_partial_clip_only_what_it_moves_is_judged():
    back = {"left_shank": [("X", -30 * bump(60, 15, 45))]}
    arms = motion(turns=back, cue=Cue(only_parts=("left_forearm", "right_forearm")))
    assert not found(arms)
    assert any("only these parts move" in reason for reason in unjudged(arms))
    assert found(motion(turns=back, cue=Cue(only_parts=("left_shank",))))


def test_an_additive_clip_is_not_judged():
    with pytest.raises(NotApplicable, match="additive"):
        said(motion(cue=Cue(additive=True)))


def test_settings_steer_the_limit():
    knee = range_of("knee", "flexion", -1)
    assert limit_of(knee, JointLimitSettings(margin_deg=0)) < 5.1
    assert limit_of(knee, JointLimitSettings(profile_age="2-8")) > 13
    assert limit_of(knee, JointLimitSettings(profile_sex="male")) < 10


def test_a_deep_squat_is_within_a_persons_range():
    """Loaded ankles bend 43 deg and knees 157: limits taken from unloaded ankles fail here."""
    pulse = bump(90, 10, 80)
    turns = {}
    for side in ("left", "right"):
        turns[f"{side}_thigh"] = [("X", -110 * pulse)]
        turns[f"{side}_shank"] = [("X", 145 * pulse)]
        turns[f"{side}_foot"] = [("X", -38 * pulse)]
    one = motion(frames=90, turns=turns)
    assert joint_angles(one)["left ankle dorsiflexion"].max() == pytest.approx(38, abs=1e-6)
    assert not found(one)


def test_a_figure_not_built_like_a_person_is_graded_a_step_lower():
    """Arms as long as legs: a robot may bend its knees as its makers please."""
    one = clip(turns={"left_shank": [("X", -16 * bump(60, 15, 45))]})
    longer = np.array(one.skeleton.rest_translations)
    for side in ("left", "right"):
        for part in ("forearm", "hand"):
            longer[one.skeleton.names.index(f"{side}_{part}")] *= 2.0
    robot = replace(one, skeleton=replace(one.skeleton, rest_translations=longer))
    (person,) = found(Motion(one, person_figure()))
    (built,) = found(Motion(robot, person_figure()))
    assert (person.level, built.level) == (Level.ERROR, Level.WARNING)
    assert built.measured == person.measured
