"""Limb lengths, on real files whose lengths are known to change or not."""

from dataclasses import replace

import numpy as np
import pytest

from kinelint import synthetic
from kinelint.assemble import figure_of, motion_of
from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level
from kinelint.intake import prepare
from kinelint.readers import read
from kinelint_rules.limbs.limb_stretch import LimbStretch, LimbStretchSettings
from real_data import real


def _said(motion, **settings):
    said = LimbStretch.check(motion, LimbStretchSettings(**settings))
    return [one for one in said if isinstance(one, Finding)]


def _clips(name):
    asset = read(real(name))
    clips = [prepare(clip).clip for clip in asset.clips]
    figure = figure_of(clips, skins=asset.skins)
    return {clip.name: motion_of(clip, figure) for clip in clips}


def _shin_longer(percent, **made):
    frames = made.get("frames", 60)
    pull = percent / 100.0 * 0.2529 * 1.75 * synthetic.bump(frames, frames // 3, 2 * frames // 3)
    shift = np.stack((0 * pull, -pull, 0 * pull))
    return synthetic.motion(shifts_m={"left_foot": shift}, **made)


# Harrison, Rensink & van de Panne 2004 (ACM TOG 23:569): 3 percent is noticed when attended to.
@pytest.mark.parametrize(("percent", "found"), [(2.7, 0), (3.75, 1), (-3.75, 1), (19.0, 1)])
def test_the_published_limit(percent, found):
    findings = _said(_shin_longer(percent))
    assert len(findings) == found
    for one in findings:
        assert one.measured == pytest.approx(percent, abs=0.01)


@pytest.mark.parametrize("rate_hz", [30.0, 60.0, 120.0])
def test_the_verdict_does_not_depend_on_the_frame_rate(rate_hz):
    (one,) = _said(_shin_longer(5.0, frames=round(rate_hz), sample_rate_hz=rate_hz))
    assert one.parts == ("left_shank",)
    assert one.measured == pytest.approx(5.0, abs=0.05)


def test_two_limbs_are_two_findings_and_say_where_to():
    pull = 0.06 * 0.2529 * 1.75
    motion = synthetic.motion(
        shifts_m={
            "left_foot": np.outer([0, -1, 0], pull * synthetic.bump(60, 10, 30)),
            "right_hand": np.outer([0, 1, 0], pull * synthetic.bump(60, 30, 50)),
        }
    )
    findings = {one.parts: one for one in _said(motion)}
    assert set(findings) == {("left_shank",), ("right_forearm",)}
    shin = findings["left_shank",]
    np.testing.assert_allclose(shin.direction, (0, 1, 0), atol=1e-9)
    assert "back by 27 mm" in shin.remedy


def test_an_additive_clip_is_not_judged():
    with pytest.raises(NotApplicable, match="additive"):
        _said(replace(_shin_longer(5.0), cue=Cue(additive=True)))


def test_turning_never_stretches():
    turns = {"left_thigh": [("X", -80)], "left_shank": [("X", 120)], "abdomen": [("Z", 30)]}
    motion = synthetic.motion(turns=turns, shifts_m={"left_foot": [0, 0, 0], "thorax": [0, 0, 0]})
    assert _said(motion) == []


@pytest.mark.parametrize(
    "name", ["bvh/cmu_02_01_walk.bvh", "bvh/accad_male2_g2_frontkick.bvh", "bvh/fair1_dab_zup.bvh"]
)
def test_takes_that_only_turn_joints_cannot_stretch(name):
    with pytest.raises(NotApplicable, match="no limb can stretch"):
        _said(next(iter(_clips(name).values())))


def test_feet_that_hang_from_the_root_have_a_limit_of_their_own():
    # The file's description: feet are root-level joints; in one clip the head moves off by 8 times.
    clips = _clips("gltf/RobotExpressive.glb")
    assert _said(clips["Walking"]) == []
    shins = {one.parts[0] for one in _said(clips["Walking"], detached_percent=1.0)}
    assert shins <= {"left_shank", "right_shank"}
    assert shins
    assert max(abs(one.measured) for one in _said(clips["Death"])) > 700


def test_a_stylised_figure_stretches_with_a_warning_unless_it_is_held_as_people_are():
    plain = _shin_longer(6.0)
    skeleton = plain.clip.skeleton
    rest = np.array(skeleton.rest_translations)
    for name in ("left_forearm", "left_hand", "right_forearm", "right_hand"):
        rest[skeleton.names.index(name)] *= 1.8
    clip = replace(plain.clip, skeleton=replace(skeleton, rest_translations=rest))
    stylised = replace(plain, clip=clip, _derived={})
    assert [one.level for one in _said(plain)] == [None]
    assert [one.level for one in _said(stylised)] == [Level.WARNING]
    assert [one.level for one in _said(stylised, stylised_as_people=True)] == [None]
