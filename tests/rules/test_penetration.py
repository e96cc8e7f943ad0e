"""The rule `penetration`: depths against coal, what cue sheets let through, real clips."""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.body import capsule_ends
from kinelint.anatomy.neighbours import limb
from kinelint.assemble import figure_of, motion_of
from kinelint.cue import Cue, WantedContact
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level, Unjudged
from kinelint.intake import prepare
from kinelint.kinematics import rotations
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint.synthetic import bump, motion, standing
from kinelint.testing import check_rule
from kinelint_rules.contact.part_pairs import names_part
from kinelint_rules.contact.penetration import Penetration, PenetrationSettings
from real_data import real


def found(one: Motion, **settings) -> list[Finding]:
    said = Penetration.check(one, PenetrationSettings(**settings))
    return [f for f in said if isinstance(f, Finding)]


def pushed(degrees: float = 6.0, rate_hz: float = 60.0, seconds: float = 0.5, **made) -> Motion:
    """The left arm pressed inward, in the middle of two seconds."""
    frames = round(2.0 * rate_hz)
    first, last = ((1.0 + sign * seconds / 2) * rate_hz for sign in (-1.0, 1.0))
    inward = degrees * bump(frames, first, last)
    turns = {"left_upper_arm": [("Z", -inward)]}
    return motion(frames=frames, sample_rate_hz=rate_hz, turns=turns, **made)


def test_keeps_its_promises():
    check_rule(Penetration)


def coal_depth(one: Motion, parts: tuple[str, str], frame: int):
    """Depth of two parts by coal, the deepest of their capsules, mm."""
    coal = pytest.importorskip("coal")
    body = one.figure.body
    assert body is not None
    starts, ends = (end[..., frame] for end in capsule_ends(one))
    shapes = []
    for cap, radius in enumerate(body.capsules.radii_m):
        axis = (ends - starts)[cap]
        length = float(np.linalg.norm(axis))
        turn = rotations.between(np.array([[0.0], [0.0], [1.0]]), axis[:, None])
        place = coal.Transform3s(rotations.to_matrix(turn)[..., 0], (starts[cap] + ends[cap]) / 2.0)
        shapes.append((coal.Capsule(float(radius), length), place))
    depth = 0.0
    for a in (i for i, part in enumerate(body.parts) if part == parts[0]):
        for b in (i for i, part in enumerate(body.parts) if part == parts[1]):
            result = coal.DistanceResult()
            request = coal.DistanceRequest()
            depth = max(depth, -coal.distance(*shapes[a], *shapes[b], request, result))
    return 1000.0 * depth


@pytest.mark.parametrize(
    "turns",
    [
        {"left_upper_arm": [("Z", -7.0)]},
        {"right_upper_arm": [("Z", 12.0)], "right_forearm": [("X", -30.0)]},
        {"left_forearm": [("X", -90.0)], "left_upper_arm": [("Y", -55.0)]},
        {"right_upper_arm": [("Z", -95.0)], "right_forearm": [("Z", -155.0)]},
        {"left_thigh": [("Z", -12.0)], "left_shank": [("Z", -8.0)]},
    ],
)
def test_depth_parts_and_frame_are_those_that_coal_gives(turns):
    """Oracle: coal's signed distance of the same capsules."""
    shape = bump(120, 40, 80)
    over_time = {
        part: [(axis, degrees * shape) for axis, degrees in steps] for part, steps in turns.items()
    }
    one = motion(frames=120, turns=over_time)
    said = [f for f in found(one) if not f.detail]
    assert said
    for finding in said:
        assert finding.worst_frame is not None
        by_coal = coal_depth(one, finding.parts, finding.worst_frame)
        assert finding.measured == pytest.approx(by_coal, abs=1e-6)
        assert coal_depth(one, finding.parts, finding.span.first - 1) <= 10.0
        assert coal_depth(one, finding.parts, finding.span.first) > 10.0
    moved = {limb(part) for part in turns}
    assert all(moved & {limb(part) for part in f.parts} for f in said)
    assert sum("goes with" not in f.message for f in said) == 1


def test_moving_by_the_depth_along_the_direction_clears():
    one = pushed()
    worst = max(found(one), key=lambda f: f.measured or 0.0)
    assert worst.direction is not None
    assert worst.measured is not None
    step = np.array(worst.direction) * (worst.measured + 0.01) / 1000.0
    body, frame = one.figure.body, worst.worst_frame
    assert body is not None
    starts, ends = (np.array(end[..., frame]) for end in capsule_ends(one))
    mine = [i for i, part in enumerate(body.parts) if part == worst.parts[0]]
    starts[mine] += step
    ends[mine] += step
    other = [i for i, part in enumerate(body.parts) if part == worst.parts[1]]
    share = np.linspace(0.0, 1.0, 200)[:, None]
    for i in mine:
        for j in other:
            a = starts[i] + share * (ends[i] - starts[i])
            b = starts[j] + share * (ends[j] - starts[j])
            nearest = np.linalg.norm(a[:, None] - b[None], axis=-1).min()
            assert nearest >= body.capsules.radii_m[[i, j]].sum() - 1e-9
    assert "outward" in worst.remedy


@pytest.mark.parametrize("degrees", [4.0, 6.0, 9.0])
def test_the_verdict_does_not_depend_on_the_frame_rate(degrees: float):
    said = []
    for rate_hz in (30.0, 60.0, 120.0):
        findings = found(pushed(degrees, rate_hz))
        said.append({(f.parts, f.level) for f in findings})
        for finding in findings:
            assert finding.span.first / rate_hz == pytest.approx(0.82, abs=0.08)
            assert finding.span.last / rate_hz == pytest.approx(1.18, abs=0.08)
    assert said[0] == said[1] == said[2] != set()


@pytest.mark.parametrize(
    ("rate_hz", "frames", "finds"),
    [
        (30.0, 1, False),
        (30.0, 2, True),
        (60.0, 2, False),
        (60.0, 3, True),
        (120.0, 6, True),
    ],
)
def test_an_overlap_counts_from_a_twentieth_of_a_second(rate_hz: float, frames: int, finds: bool):
    degrees = np.zeros(120)
    degrees[50 : 50 + frames] = 6.0
    one = motion(frames=120, sample_rate_hz=rate_hz, turns={"left_upper_arm": [("Z", -degrees)]})
    assert bool(found(one)) == finds


def test_the_deepest_leads_and_what_goes_with_it_is_a_note():
    said = found(pushed(9.0))
    leader = max(said, key=lambda f: f.measured or 0.0)
    assert leader.level is not Level.NOTE
    rest = [f for f in said if f is not leader]
    assert rest
    assert all(f.level is Level.NOTE and "goes with" in f.message for f in rest)


def test_two_arms_are_two_defects():
    shape = 9.0 * bump(120, 40, 80)
    both = {"left_upper_arm": [("Z", -shape)], "right_upper_arm": [("Z", shape)]}
    graded = [f for f in found(motion(frames=120, turns=both)) if f.level is not Level.NOTE]
    assert {limb(f.parts[0]) for f in graded} == {"left arm", "right arm"}


def test_grades():
    levels = [
        max(found(pushed(degrees)), key=lambda f: f.measured or 0.0).level
        for degrees in (2.8, 4.0, 12.0)
    ]
    assert levels == [Level.NOTE, Level.WARNING, Level.ERROR]


def test_a_wanted_contact_is_let_through_to_its_depth():
    contacts = (
        WantedContact(("forearm", "thigh"), 60.0),
        WantedContact(("left_thigh", "left_hand")),
        WantedContact(("forearm", "pelvis")),
    )
    assert not found(pushed(4.0, cue=Cue(wanted_contacts=contacts)))
    deeper = found(pushed(11.0, cue=Cue(wanted_contacts=contacts)))
    thigh = [f for f in deeper if f.parts[1] == "left_thigh"]
    assert [f.parts[0] for f in thigh] == ["left_forearm"]
    assert thigh[0].limit == 60.0


@pytest.mark.parametrize(
    ("word", "part", "means"),
    [
        ("left_hand", "left_hand", True),
        ("hand", "right_hand", True),
        ("hand", "right_forearm", False),
        ("arm", "left_upper_arm", False),
        ("thorax", "thorax", True),
        ("left_hand", "right_hand", False),
    ],
)
def test_words_of_the_cue_sheet(word: str, part: str, means: bool):
    assert names_part(word, part) == means


def test_parts_that_nobody_captured_are_not_judged():
    cue = Cue(not_captured=("forearm", "left_hand", "upper_arm"))
    assert not found(pushed(11.0, cue=cue))


def test_a_clip_of_the_arms_is_judged_against_the_chest_that_carries_them():
    shape = bump(120, 40, 80)
    into_chest = {
        "left_upper_arm": [("Y", -80.0 * shape), ("X", -50.0 * shape)],
        "left_forearm": [("X", -110.0 * shape)],
    }
    everything = found(motion(frames=120, turns=into_chest))
    arms = Cue(only_parts=("upper_arm", "forearm", "hand"))
    partial = found(motion(frames=120, turns=into_chest, cue=arms))
    assert {f.parts[1] for f in partial} == {"thorax"} < {f.parts[1] for f in everything}


@pytest.mark.parametrize("cue", [Cue(additive=True), Cue(only_parts=("head",))])
def test_says_why_a_clip_cannot_be_judged(cue: Cue):
    with pytest.raises(NotApplicable, match=r"additive|no two parts"):
        list(Penetration.check(motion(cue=cue), PenetrationSettings()))


def test_a_figure_without_volume_is_not_applicable():
    still = standing()
    bare = Motion(still.clip, replace(still.figure, body=None))
    with pytest.raises(NotApplicable, match="volume"):
        list(Penetration.check(bare, PenetrationSettings()))


def test_parts_without_volume_are_told():
    still = standing()
    assert still.figure.body is not None
    figure = still.figure.with_body(replace(still.figure.body, missing="no volume for the head"))
    said = list(Penetration.check(Motion(still.clip, figure), PenetrationSettings()))
    assert [one.reason for one in said if isinstance(one, Unjudged)] == ["no volume for the head"]


def test_a_body_of_known_girth_is_held_to_a_tighter_limit():
    one = pushed(6.0)
    body = one.figure.body
    assert body is not None
    known = replace(body, radii_from=dict.fromkeys(body.parts, "skin"))
    guessed, measured = (
        max(found(m), key=lambda f: f.measured or 0.0)
        for m in (one, Motion(one.clip, one.figure.with_body(known)))
    )
    assert guessed.measured == measured.measured
    assert 40.0 < (measured.measured or 0.0) < 100.0
    assert (guessed.level, measured.level) == (Level.WARNING, Level.ERROR)


def test_a_guessed_volume_is_graded_a_level_lower():
    one = pushed(12.0)
    assert one.figure.body is not None
    doubts = dict.fromkeys(one.figure.body.parts, "a guess")
    figure = one.figure.with_body(replace(one.figure.body, doubts=doubts))
    plain, doubted = (
        max(found(m), key=lambda f: f.measured or 0.0) for m in (one, Motion(one.clip, figure))
    )
    assert (plain.level, doubted.level) == (Level.ERROR, Level.WARNING)
    assert "a guess" in doubted.remedy


def real_findings(name: str) -> list[Finding]:
    clip = prepare(read(real(name)).clips[0]).clip
    return found(motion_of(clip, figure_of([clip])))


@pytest.mark.parametrize(
    "name",
    [
        "bvh/accad_male1_a2_sway.bvh",
        "bvh/accad_male1_b17_walk2hop2walk.bvh",
        "bvh/accad_male1_b22_sidestepleft.bvh",
        "bvh/accad_male1_b3_walk.bvh",
        "bvh/accad_male2_b3_walk.bvh",
        "bvh/accad_male2_e1_jableft.bvh",
        "bvh/accad_male2_e8_bounce.bvh",
        "bvh/accad_male2_g2_frontkick.bvh",
        "bvh/cmu_02_01_walk.bvh",
        "bvh/cmu_12_01_walk_tpose0.bvh",
        "bvh/cmu_14_14_jumping_jacks_30fps.bvh",
        "bvh/fair1_dab_zup.bvh",
        "bvh/fair1_zombie_zup.bvh",
        "bvh/mh_zombiewalk_loop_75j.bvh",
    ],
)
def test_clean_recordings_have_nothing_worse_than_a_note(name: str):
    assert [f.message for f in real_findings(name) if f.level is not Level.NOTE] == []


def test_arms_through_the_thighs_of_a_crouch_are_found():
    """Seen when drawn: both forearms pass through the thighs while the figure sits down."""
    errors = [
        f for f in real_findings("bvh/accad_male1_a8_crouchtolie.bvh") if f.level is Level.ERROR
    ]
    assert {f.parts for f in errors} == {
        ("left_forearm", "left_thigh"),
        ("right_forearm", "right_thigh"),
    }
