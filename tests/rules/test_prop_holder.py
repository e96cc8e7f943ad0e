"""Props taken from holders and put back; rods and boxes in the body, against other libraries."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.cue import Box, Cue, Held, Kept, Prop
from kinelint.finding import Finding, Level, Unjudged
from kinelint.kinematics.distance import overlaps_of
from kinelint.synthetic import motion as made
from kinelint.synthetic_props import carried, with_prop
from kinelint.testing import check_rule
from kinelint_rules.props.box_depth import box_depths
from kinelint_rules.props.fist import fist
from kinelint_rules.props.holder_settings import PropHolderSettings
from kinelint_rules.props.prop_holder import HOOK, PropHolder, _taken

coal = pytest.importorskip("coal")


def said(motion, **settings):
    return list(PropHolder.check(motion, PropHolderSettings(**settings)))


def test_the_contract():
    check_rule(PropHolder)


def _posed(rotation, place):
    return coal.Transform3s(rotation.as_matrix(), np.asarray(place))


def _capsule_pose(start, end):
    """Coal's capsules lie along Z about their middle."""
    way = end - start
    turn, _ = Rotation.align_vectors([way / np.linalg.norm(way)], [[0.0, 0.0, 1.0]])
    return _posed(turn, 0.5 * (start + end)), float(np.linalg.norm(way))


def _signed_distance(one, at_one, other, at_other):
    """Coal: negative where they lie in each other (GJK and EPA)."""
    request, result = coal.DistanceRequest(), coal.DistanceResult()
    request.enable_signed_distance = True
    coal.distance(one, at_one, other, at_other, request, result)
    return result.min_distance


def test_boxes_and_capsules_are_as_deep_as_coal_says():
    chance = np.random.default_rng(4)
    half, radius = np.array([0.2, 0.15, 0.15]), 0.05
    starts = chance.uniform(-0.4, 0.4, (3, 400))
    ends = starts + chance.normal(0.0, 0.25, (3, 400))
    depth, _ = box_depths(starts, ends, radius, half)
    box = coal.Box(*(2.0 * half))
    there = coal.Transform3s(np.eye(3), np.zeros(3))
    theirs = []
    for start, end in zip(starts.T, ends.T, strict=True):
        at, length = _capsule_pose(start, end)
        theirs.append(-_signed_distance(coal.Capsule(radius, length), at, box, there))
    assert np.sum(depth > 0.0) > 100
    assert np.sum(depth < 0.0) > 50
    assert depth == pytest.approx(np.array(theirs), abs=2e-5)


def test_the_way_out_of_a_box_clears_it():
    chance = np.random.default_rng(5)
    half, radius = np.array([0.2, 0.15, 0.15]), 0.05
    starts = chance.uniform(-0.25, 0.25, (3, 300))
    ends = starts + chance.normal(0.0, 0.2, (3, 300))
    depth, way = box_depths(starts, ends, radius, half)
    inside = depth > 1e-4
    # The box moves by the depth along the way: seen from it, the capsule moves back.
    moved = (depth * way)[:, inside]
    after, _ = box_depths(starts[:, inside] - moved, ends[:, inside] - moved, radius, half)
    assert after == pytest.approx(np.zeros(inside.sum()), abs=1e-6)


def test_a_rod_in_a_limb_is_as_deep_as_coal_says():
    chance = np.random.default_rng(6)
    for _ in range(50):
        points = chance.uniform(-0.2, 0.2, (4, 3))
        told = overlaps_of(
            points[[0, 2]][:, :, None],
            points[[1, 3]][:, :, None],
            np.array([0.017, 0.06]),
            np.array([[0, 1]]),
        )
        (at, length), (other, long) = (_capsule_pose(*points[i : i + 2]) for i in (0, 2))
        capsules = coal.Capsule(0.017, length), coal.Capsule(0.06, long)
        apart = _signed_distance(capsules[0], at, capsules[1], other)
        if apart < -1e-6:
            assert told.depth_m[0] == pytest.approx(-apart, abs=2e-5)
        else:
            assert not len(told)


@pytest.mark.parametrize("rate_hz", [24.0, 30.0, 60.0, 120.0])
@pytest.mark.parametrize("back", [False, True])
def test_a_jump_between_rack_and_hand_is_found_both_ways(rate_hz, back):
    frames = round(2 * rate_hz) + 1
    time = np.arange(frames) / rate_hz
    swing = 20.0 * np.minimum(np.abs(time - 1.0), 0.6) ** 2
    figure = made(
        frames=frames, sample_rate_hz=rate_hz, turns={"right_upper_arm": [("Z", swing - 45)]}
    )
    in_hand, turn = carried(figure, "right_hand", (0.0, -0.0625, -0.317))
    at = frames // 2
    rack = in_hand[:, at] + np.array([0.0, 0.05, 0.0])
    racked = time >= 1.0 if back else time < 1.0
    place = np.where(racked, rack[:, None], in_hand)
    spans = ((1.0, None), (None, 1.0)) if back else ((None, 1.0), (1.0, None))
    w, x, y, z = turn[:, at]
    cue = Cue(
        props=(HOOK,),
        kept=(Kept("boathook", "rack", "", tuple(rack), (w, x, y, z), *spans[0]),),
        held=(Held("boathook", "right_hand", "fore", *spans[1]),),
    )
    turns = np.where(racked, turn[:, at : at + 1], turn)
    [found] = said(with_prop(figure, "boathook", place, turns, cue=cue))
    assert found.detail == "boathook: jumps, mm"
    assert found.worst_frame == at
    assert found.measured == pytest.approx(50.0, abs=0.1)
    assert found.level is Level.WARNING
    assert ("right hand to the rack" in found.message) is back


def test_times_count_from_the_files_first_frame():
    whole = _taken(rack_m=(-0.1, 0.0, 0.0))
    cut = replace(whole, clip=whole.clip.cut(7, 60), _derived={})
    [before], [after] = said(whole), said(cut)
    assert after.span == type(after.span)(before.span.first - 7, before.span.last - 7)
    assert after.measured == pytest.approx(before.measured)


def test_a_hand_that_is_not_there_takes_nothing():
    far = _taken()
    cue = far.cue
    late = replace(cue, held=(replace(cue.held[0], hand="left_hand"),))
    details = {one.detail for one in said(replace(far, cue=late, _derived={}))}
    assert "boathook: taken" not in details  # prop-grip says it of the whole hold
    # In the hand's own hold, but let down 60 mm beside it at the moment of the change.
    shift = np.zeros((3, 61))
    shift[1, 30:34] = 0.06
    [told] = [one for one in said(_taken(shift_m=shift)) if one.detail == "boathook: taken"]
    # The arm hangs askew by 45 degrees then. Across the hand half the palm and the rod are free;
    # the rod lies 17 mm off the middle of the hand already, at right angles to the shift.
    room = fist(_taken(), "right_hand").thick_m + 0.017
    shifted = 0.06 * np.sqrt(0.5)
    off = np.hypot(shifted, np.hypot(shifted, 0.017) - room)
    assert told.measured == pytest.approx(1000 * off, rel=0.005)
    assert told.worst_frame == 30


def test_a_crate_in_the_belly_and_a_hook_on_the_back():
    figure = made(frames=61)
    chest = figure.part("abdomen").position_m
    crate = Prop("crate", "crate", Box((0, 0, 0), (0.4, 0.3, 0.3)))
    held = tuple(Held("crate", f"{side}_hand") for side in ("left", "right"))
    cue = Cue(props=(crate,), held=held)
    clear = with_prop(figure, "crate", chest + np.array([[0], [0], [0.4]]), cue=cue)
    assert said(clear) == []
    deep = said(with_prop(figure, "crate", chest + np.array([[0], [0], [0.2]]), cue=cue))
    [trunk] = [one for one in deep if set(one.parts) & {"pelvis", "abdomen", "thorax"}]
    assert trunk.direction[2] > 0.85
    # On a hook on the back it may touch the trunk, and only there.
    joint = figure.part("thorax")
    at = (0.0, 0.1, -0.1)
    place, turn = carried(figure, "thorax", at)
    kept = Cue(props=(HOOK,), kept=(Kept("boathook", "back hook", joint.name, at),))
    assert said(with_prop(figure, "boathook", place, turn, cue=kept)) == []


def test_what_flies_is_nobodys():
    figure = made(frames=61)
    through = figure.part("thorax").position_m
    cue = Cue(props=(HOOK,), held=(Held("boathook", "right_hand", "", 0.0, 0.1),))
    place = through + np.where(np.arange(61) < 6, 2.0, 0.0)
    assert said(with_prop(figure, "boathook", place, cue=cue)) == []


def test_what_cannot_be_judged_is_said():
    figure = made(frames=61)
    bare = Prop("line", "line")
    cue = Cue(props=(bare, HOOK), held=(Held("line", "left_hand"), Held("boathook", "left_hand")))
    found = said(with_prop(figure, "line", (2.0, 1.0, 0.0), cue=cue))
    assert not [one for one in found if isinstance(one, Finding)]
    reasons = [one.reason for one in found if isinstance(one, Unjudged)]
    assert any("no joint" in one for one in reasons)
    assert any("no rod and no box" in one for one in reasons)


def test_a_quick_hand_takes_it_without_a_jump():
    # 2 m/s at 24 Hz is 80 mm a frame: neither hand nor rack makes a jump of it.
    frames = 49
    time = np.arange(frames) / 24.0
    run = np.stack((0 * time, 0 * time, 2.0 * time))
    figure = made(frames=frames, sample_rate_hz=24.0, shifts_m={"pelvis": run})
    in_hand, turn = carried(figure, "right_hand", (0.0, -0.0625, -0.317))
    racked = time < 1.0
    place = np.where(racked, in_hand[:, 24:25], in_hand)
    rack = tuple(in_hand[:, 24])
    cue = Cue(
        props=(HOOK,),
        kept=(Kept("boathook", "rack", "", rack, (1, 0, 0, 0), None, 1.0),),
        held=(Held("boathook", "right_hand", "fore", 1.0),),
    )
    found = said(with_prop(figure, "boathook", place, turn, cue=cue))
    assert [one for one in found if "jumps" in one.detail] == []


@pytest.mark.parametrize("rate_hz", [30.0, 120.0])
def test_what_glides_into_the_hand_does_not_jump(rate_hz):
    frames = round(2 * rate_hz) + 1
    figure = made(frames=frames, sample_rate_hz=rate_hz)
    in_hand, turn = carried(figure, "right_hand", (0.0, -0.0625, -0.317))
    share = np.clip((np.arange(frames) / rate_hz - 0.85) / 0.3, 0.0, 1.0)
    rack = in_hand[:, 0] + np.array([-0.3, 0.0, 0.0])
    place = rack[:, None] + (in_hand - rack[:, None]) * share
    cue = Cue(
        props=(HOOK,),
        kept=(Kept("boathook", "rack", "", tuple(rack), (1, 0, 0, 0), None, 1.0),),
        held=(Held("boathook", "right_hand", "fore", 1.0),),
    )
    details = {one.detail for one in said(with_prop(figure, "boathook", place, turn, cue=cue))}
    assert details == {"boathook: moves in holder", "boathook: taken"}
