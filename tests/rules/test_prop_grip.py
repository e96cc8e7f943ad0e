"""Props in hands: sizes against SciPy and ANSUR II, joints by name, hands and faces."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.cue import Box, Cue, Held, Prop, Rod
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level, Unjudged
from kinelint.synthetic import motion as made
from kinelint.synthetic import person_figure
from kinelint.synthetic_props import carried, with_prop
from kinelint.testing import check_rule
from kinelint_rules.props.fist import fist
from kinelint_rules.props.grip_settings import PropGripSettings
from kinelint_rules.props.prop_grip import GRIP_M, SIDE_M, PropGrip
from kinelint_rules.props.props import joint_called, typical_turn

ROD = Prop("oar", "oar", Rod((0, 0, -1), (0, 0, 1), 0.017))


def said(motion, **settings):
    return list(PropGrip.check(motion, PropGripSettings(**settings)))


def findings(motion, **settings):
    return [one for one in said(motion, **settings) if isinstance(one, Finding)]


def held(hand="right_hand", prop=ROD, place_m=(0, -GRIP_M, -SIDE_M), turn=(1, 0, 0, 0), **made_by):
    figure = made(**made_by)
    cue = Cue(props=(prop,), held=(Held(prop.name, hand),))
    return with_prop(figure, prop.joint, *carried(figure, hand, place_m, turn), cue=cue)


def test_the_contract():
    check_rule(PropGrip)


@pytest.mark.parametrize(
    ("sex", "stature_m", "grip_mm"), [("male", 1.7562, 62.1), ("female", 1.6285, 58.9)]
)
def test_a_fist_holds_where_the_survey_has_it(sex, stature_m, grip_mm):
    # ANSUR II, 4,082 men and 1,986 women: centre of grip beyond the wrist.
    motion = made(stature_m=stature_m)
    motion = replace(motion, figure=replace(person_figure(stature_m), sex=sex), _derived={})
    assert 1000.0 * fist(motion, "left_hand").reach_m == pytest.approx(grip_mm, abs=0.01)


def test_spread_of_people_is_no_finding_and_twice_the_warning_is():
    for beyond_mm in (-14.0, 0.0, 14.0):  # two standard deviations
        assert findings(held(place_m=(0, -GRIP_M - beyond_mm / 1000, -SIDE_M))) == []
    # Without a grip the nearest point of the rod counts: along it nothing is off.
    assert findings(held(place_m=(0, -GRIP_M, 0.4))) == []
    [found] = findings(held(place_m=(0.1, -GRIP_M, 0)))
    # 100 mm beside the middle of the hand, less half the palm and the radius of the rod.
    thick = fist(made(), "right_hand").thick_m
    assert found.measured == pytest.approx(100.0 - 17.0 - 1000.0 * thick, abs=0.1)
    assert found.level is Level.WARNING


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120])
@pytest.mark.parametrize("factor", [0.4, 1.25, 3.0])
def test_turns_are_what_scipy_says(rate_hz, factor):
    frames = 2 * rate_hz + 1
    shape = np.zeros(frames)
    shape[rate_hz : rate_hz + rate_hz // 4] = 1.0
    tilt = Rotation.from_rotvec(np.radians(20.0 * factor) * shape[:, None] * [0.6, 0.8, 0.0])
    quats = tilt.as_quat()[:, [3, 0, 1, 2]].T
    swing = {"right_upper_arm": [("X", 20.0 * np.sin(np.arange(frames) / rate_hz * 5.0))]}
    motion = held(
        place_m=(0, -GRIP_M, 0), turn=quats, frames=frames, sample_rate_hz=rate_hz, turns=swing
    )
    found = findings(motion)
    if factor < 0.5:
        assert found == []
        return
    away = tilt.apply([0.0, 0.0, 1.0])[:, 2]
    [one] = found
    assert one.detail == "oar: turns"
    assert one.measured == pytest.approx(np.degrees(np.arccos(away.min())), abs=0.01)
    assert (one.span.first, one.span.last) == (rate_hz, rate_hz + rate_hz // 4 - 1)


def test_a_rod_that_turns_about_itself_is_still():
    spin = Rotation.from_rotvec(np.linspace(0, 2, 61)[:, None] * [0.0, 0.0, 1.0])
    assert findings(held(turn=spin.as_quat()[:, [3, 0, 1, 2]].T, frames=61)) == []


def test_the_typical_turn_is_what_most_frames_have():
    chance = np.random.default_rng(3)
    base, off = Rotation.random(random_state=1), Rotation.random(random_state=2)
    quats = np.repeat(base.as_quat()[None], 50, axis=0)
    quats[5:20] = (base * off).as_quat()
    quats *= chance.choice([-1.0, 1.0], size=(50, 1))
    w, x, y, z = typical_turn(quats[:, [3, 0, 1, 2]].T)[:, 0]
    assert np.degrees((Rotation.from_quat([x, y, z, w]).inv() * base).magnitude()) < 0.01


def test_joints_are_found_by_name_by_path_and_in_namespaces():
    motion = held()
    last = len(motion.clip.skeleton) - 1
    assert joint_called(motion, "oar") == last
    names = (*motion.clip.skeleton.names[:-1], "deck:oar")
    spaced = replace(motion, clip=replace(
        motion.clip, skeleton=replace(motion.clip.skeleton, names=names)), _derived={})  # fmt: skip
    assert joint_called(spaced, "oar") == last
    under = with_prop(motion, "oar", (0, 1, 0), parent="left_hand")
    with pytest.raises(NotApplicable, match="2 joints"):
        joint_called(replace(under, clip=replace(under.clip, skeleton=replace(
            under.clip.skeleton, names=(*names[:-1], "a:oar", "b:oar")))), "oar")  # fmt: skip
    assert joint_called(under, "left_hand/oar") == last + 1


def test_a_prop_that_hangs_from_the_hand_is_the_same():
    figure = made(frames=61, turns={"right_forearm": [("X", np.linspace(0, -60, 61))]})
    cue = Cue(props=(ROD,), held=(Held("oar", "right_hand"),))
    pose = carried(figure, "right_hand", (0, -GRIP_M - 0.06, -SIDE_M))
    one, other = (
        findings(with_prop(figure, "oar", *pose, parent=parent, cue=cue))
        for parent in ("", "right_hand")
    )
    assert one[0].measured == pytest.approx(other[0].measured, abs=1e-6)


def _both_hands(prop, shift_m=0.0, **settings):
    """Both forearms level before the body; the hands along X at +-0.2 m or so."""
    bent = {f"{side}_forearm": [("X", -90.0)] for side in ("left", "right")}
    figure = made(frames=61, turns=bent)
    middle = 0.5 * sum(figure.part(f"{side}_hand").position_m for side in ("left", "right"))
    cue = Cue(
        props=(prop,), held=tuple(Held(prop.name, f"{side}_hand") for side in ("left", "right"))
    )
    place = middle + np.array([[0.0], [0.0], [GRIP_M]]) + shift_m
    return findings(with_prop(figure, prop.joint, place, cue=cue), **settings)


def test_two_hands_on_a_crate():
    figure = made()
    apart = abs(2 * figure.part("left_hand").position_m[0, 0])
    palm = fist(figure, "left_hand").thick_m
    wide = apart - 2 * palm
    crate = Prop("crate", "crate", Box((0, 0, 0), (wide, 0.3, 0.3)))
    assert _both_hands(crate) == []
    narrow = Prop("crate", "crate", Box((0, 0, 0), (wide - 0.12, 0.3, 0.3)))
    left, right = _both_hands(narrow)
    assert (left.parts, right.parts) == (("left_hand",), ("right_hand",))
    assert left.measured == pytest.approx(60.0, abs=0.1)
    assert "off the crate" in left.message
    wider = Prop("crate", "crate", Box((0, 0, 0), (wide + 0.1, 0.3, 0.3)))
    assert "50 mm inside the crate" in _both_hands(wider)[0].message
    beside = np.array([[apart], [0.0], [0.0]])
    assert any("same side" in one.message for one in _both_hands(crate, beside))


def test_two_hands_that_come_together_on_a_rod():
    bent = {f"{side}_forearm": [("X", -90.0)] for side in ("left", "right")}
    rod = Prop("oar", "oar", Rod((-1, 0, 0), (1, 0, 0), 0.017))
    frames = 121
    in_between = (np.arange(frames) > 50) & (np.arange(frames) < 80)
    out = np.where(in_between, 0.015, 0.0)
    shift = np.stack((out, 0 * out, 0 * out))
    moved = {"left_hand": shift, "right_hand": -shift}
    figure = made(frames=frames, turns=bent, shifts_m=moved)
    middle = 0.5 * sum(figure.part(f"{side}_hand").position_m for side in ("left", "right"))
    cue = Cue(props=(rod,), held=tuple(Held("oar", f"{side}_hand") for side in ("left", "right")))
    place = middle + np.array([[0.0], [0.0], [GRIP_M]])
    found = findings(with_prop(figure, "oar", place, cue=cue))
    [both] = [one for one in found if one.detail == "oar: hands"]
    assert both.measured == pytest.approx(30.0, abs=0.1)
    assert both.level is Level.WARNING
    assert set(both.parts) == {"left_hand", "right_hand"}
    assert findings(with_prop(figure, "oar", place, cue=cue), slides=("oar",)) == []


def test_a_rod_across_the_fingers_and_a_closed_fist():
    # With fingers: the palm of a hanging hand looks to the body, the knuckles lie along Z.
    closed = {
        f"right_{finger}_{number}": [("Z", -60.0)]
        for finger in ("index", "middle", "ring", "little")
        for number in (1, 2)
    }
    inside = fist(made(), "right_hand").thick_m + 0.017
    at = (inside, -GRIP_M, 0)
    assert findings(held(place_m=at, fingers=True, turns=closed)) == []
    [open_one] = findings(held(place_m=at, fingers=True))
    assert (open_one.detail, open_one.level) == ("oar: open", Level.NOTE)
    upright = (np.sqrt(0.5), np.sqrt(0.5), 0, 0)
    [across] = findings(held(place_m=at, fingers=True, turns=closed, turn=upright))
    assert across.detail == "oar: across"
    assert across.measured > 60.0
    # On the back of the hand nothing holds it.
    [back] = findings(held(place_m=(-0.08, -GRIP_M, 0), fingers=True, turns=closed))
    assert back.measured == pytest.approx(80.0, abs=0.5)


def test_what_cannot_be_judged_is_said():
    motion = held()
    cue = replace(motion.cue, held=(*motion.cue.held, Held("oar", "left_hand", "blade")))
    told = said(replace(motion, cue=cue, _derived={}))
    assert [one.reason for one in told if isinstance(one, Unjudged)] == [
        "the oar has no grip called 'blade'"
    ]
    nowhere = replace(motion.cue, held=(Held("oar", "right_hand", "", 90.0),))
    with pytest.raises(NotApplicable, match="no hold lies inside"):
        said(replace(motion, cue=nowhere, _derived={}))
