"""Clips that belong together: alignment and mirror image against SciPy, timing against Hoyet."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from accuracy.seed_groups import chain, image, moved, offset, pair, part_of, partners
from kinelint.assemble import figure_of
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level
from kinelint.intake import prepare
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint_rules.groups import blend_window, chain_ends
from kinelint_rules.groups.chain_seam import ChainSeam, ChainSeamSettings
from kinelint_rules.groups.contact_sync import ContactSync, ContactSyncSettings
from kinelint_rules.groups.mirror_match import MirrorMatch, MirrorMatchSettings
from kinelint_rules.groups.pairing import pairs
from kinelint_rules.limbs.asymmetry import Asymmetry, AsymmetrySettings
from real_data import real

SETTINGS = {
    ChainSeam: ChainSeamSettings,
    ContactSync: ContactSyncSettings,
    MirrorMatch: MirrorMatchSettings,
}


def said(rule, group, **settings):
    every = list(rule.check(group, SETTINGS[rule](**settings)))
    assert all(one.member == 1 for one in every)
    return [one.what for one in every if isinstance(one.what, Finding)]


@pytest.fixture(scope="module")
def walk():
    clip = prepare(read(real("bvh/cmu_131_01_start_walk_stop.bvh")).clips[0]).clip
    return clip, figure_of((clip,))


def test_every_pair_of_frames_has_the_alignment_that_a_minimiser_finds():
    chance = np.random.default_rng(4)
    one, other = chance.normal(size=(2, 9, 3, 4))
    large = np.ones(9, np.bool_)
    gaps, _ = blend_window._aligned(one, other, large)
    for i, j in [(0, 0), (1, 3), (3, 2)]:

        def left(x, a=one[..., i], b=other[..., j]):
            turned = Rotation.from_euler("Y", x[0]).apply(a)
            return np.sum((turned + np.array((x[1], 0.0, x[2])) - b) ** 2)

        best = min(minimize(left, (yaw, 0.0, 0.0)).fun for yaw in (-2.0, 0.0, 2.0))
        assert np.sum(gaps[:, i, j] ** 2) == pytest.approx(best, rel=1e-6)


@pytest.mark.parametrize("step", [0, 1])
def test_a_take_cut_in_two_meets_wherever_the_second_stands(walk, step):
    clip, figure = walk
    for cut in (60, 150, 240):
        second = moved(part_of(clip, cut + step, clip.frames - 1), figure, 117.0, (2.0, 0.0, -1.0))
        assert said(ChainSeam, chain(clip, figure, cut, step, after=second)) == []


@pytest.mark.parametrize("part", ["left_upper_arm", "right_forearm", "left_thigh"])
@pytest.mark.parametrize("degrees", [6.25, 10.0, 20.0])
def test_a_part_set_off_is_found_with_its_angle(walk, part, degrees):
    clip, figure = walk
    second = offset(part_of(clip, 150, clip.frames - 1), figure, part, degrees, np.array([1, 2, 3]))
    second = moved(second, figure, -40.0, (0.0, 0.0, 3.0))
    [found] = said(ChainSeam, chain(clip, figure, 150, 0, after=second))
    assert found.parts[0] == part
    assert found.measured == pytest.approx(degrees, abs=0.2)
    assert found.level is Level.ERROR
    assert found.setting == "gap_deg"


def test_the_best_window_is_where_the_take_was_cut(walk):
    clip, figure = walk
    # The second begins 12 frames before the first ends: the same frames are in both.
    group = chain(clip, figure, 150, -12)
    one, other = (member.motion for member in group.members)
    found = pairs(one, other)
    window = blend_window.best_window(one, other, found, 0.5, (5.0, 20.0, 500.0))
    assert window.worst_deg == pytest.approx(0.0, abs=0.1)
    assert (150 - window.end) + window.start == 12
    seam = chain_ends.chain_seam(one, other, found)
    if said(ChainSeam, group):
        assert "the seam falls to 0.0 deg" in said(ChainSeam, group)[0].remedy
    assert seam.gap_deg.max() > 1.0


@pytest.mark.parametrize(
    ("late_ms", "level"),
    # Hoyet et al. 2012: errors of more than 150 ms were accepted less than half of the time,
    # early and late alike.
    [(0, None), (80, None), (140, Level.WARNING), (160, Level.ERROR), (-160, Level.ERROR)],
)
def test_early_and_late_are_told_by_hoyets_limit(walk, late_ms, level):
    one = Motion(*walk)
    group = partners(one, one, 1.0, late_ms / 1000.0, ("", ""), 0.0)
    found = said(ContactSync, group)
    assert [one.level for one in found] == ([level] if level else [])
    for one in found:
        assert one.measured == pytest.approx(late_ms)
        assert one.detail == ("late" if late_ms > 0 else "early")


@pytest.mark.parametrize("apart_m", [0.1, 0.3])
def test_dancers_of_one_world_are_as_far_apart_as_they_are_set(apart_m):
    names = ("bvh/cmu_60_10_salsa_manA.bvh", "bvh/cmu_61_10_salsa_womanB.bvh")
    clips = [prepare(read(real(name)).clips[0]).clip for name in names]
    man, woman = (Motion(clip, figure_of((clip,))) for clip in clips)
    joints = [one.part("left_foot").joint for one in (man, woman)]
    frame = 400
    at_s = (frame + man.clip.frame_offset) / man.sample_rate_hz
    group = partners(man, woman, at_s, 0.0, ("left_foot", "left_foot"), apart_m)
    off = man.clip.frame_offset - woman.clip.frame_offset
    there = woman.positions_m[joints[1], :, frame + off] - man.positions_m[joints[0], :, frame]
    expected = 1000.0 * np.linalg.norm(there + np.array((0.0, apart_m, 0.0)))
    [found] = said(ContactSync, group, reach_mm=1.0)
    assert found.measured == pytest.approx(expected, abs=0.5)


def test_a_real_take_and_its_image_match_and_an_edit_is_found(walk):
    clip, figure = walk
    other = image(part_of(clip, 0, 200), figure)
    if other is None:
        pytest.skip("the take's skeleton cannot be mirrored joint by joint")
    # The rest pose of a captured skeleton is not quite even: places differ by what its limbs do.
    plain = pair(part_of(clip, 0, 200), moved(other, figure, 30.0, (1.0, 0.0, 0.0)), figure)
    assert said(MirrorMatch, plain, gap_mm=80.0) == []
    edited = offset(other, figure, "right_upper_arm", 12.0, np.array([0.0, 0.0, 1.0]))
    found = said(MirrorMatch, pair(part_of(clip, 0, 200), edited, figure), gap_mm=200.0)
    assert found[0].parts[0] == "right_upper_arm"
    assert found[0].measured == pytest.approx(12.0, abs=1.0)


def test_other_skeletons_are_not_laid_over_each_other(walk):
    clip, figure = walk
    other = prepare(read(real("bvh/accad_male2_b3_walk.bvh")).clips[0]).clip
    group = chain(clip, figure, 100, 0)
    second = Motion(other, figure_of((other,)))
    strange = type(group)(group.bond, (group.members[0], type(group.members[1])("two", "", second)))
    with pytest.raises(NotApplicable, match="skeletons differ"):
        list(ChainSeam.check(strange, ChainSeamSettings()))


def test_asymmetry_is_the_difference_of_the_rest_offsets(walk):
    """The forearms of this skeleton, as its file's OFFSET lines have them."""
    clip, figure = walk
    found = {
        one.parts[0]: one for one in Asymmetry.check(Motion(clip, figure), AsymmetrySettings())
    }
    lengths = {}
    for side in ("left", "right"):
        hand = figure.anatomy.joints[f"{side}_hand"][0]
        lengths[side] = np.linalg.norm(clip.skeleton.rest_translations[hand])
    percent = 100.0 * 2.0 * (lengths["right"] - lengths["left"]) / sum(lengths.values())
    assert found["right_forearm"].measured == pytest.approx(percent, abs=0.1)
