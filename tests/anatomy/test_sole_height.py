"""How thick soles are taken to be: from a skin, from people, and a little from a declared floor."""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.anatomy.body import build_body
from kinelint.anatomy.ground import ground
from kinelint.clip import Skin
from kinelint.cue import Cue
from kinelint.finding import Finding, Level
from kinelint.kinematics import rotations
from kinelint.motion import Motion
from kinelint.synthetic import bump, person_figure
from kinelint.synthetic_walk import STATURE_M, at_rest, standing_on, walk
from kinelint_rules.feet.ground_contact import GroundContact

BARE = person_figure(STATURE_M)
SKELETON = walk().clip.skeleton
PLACES = np.array([at_rest(name) for name in SKELETON.names])
BALL_M = float(at_rest("left_toes")[1])


def shod(thick_m, tilt_deg=0.0, scale=1.0):
    """Blocks on foot and toes that end `thick_m` under bare soles, in other axes and units."""
    points, owners = [], []
    for side in ("left", "right"):
        for part, ends in (("foot", (-0.06, 0.10)), ("toes", (0.0, 0.06))):
            joint = SKELETON.names.index(f"{side}_{part}")
            x, _, z = PLACES[joint]
            corners = [(dx, y, dz) for dx in (-0.04, 0.04) for dz in ends for y in (-thick_m, 0.03)]
            points += [(x + dx, y, z + dz) for dx, y, dz in corners]
            owners += [joint] * len(corners)
    joints = np.zeros((len(owners), 4), dtype=np.intp)
    joints[:, 0] = owners
    weights = np.tile([1.0, 0.0, 0.0, 0.0], (len(owners), 1))
    turn = rotations.about("X", np.radians([tilt_deg]))

    def placed(at):
        return scale * rotations.rotate(turn, np.asarray(at).T).T

    turns = np.tile(turn[:, 0], (len(SKELETON), 1))
    return Skin("made", placed(points), joints, weights, placed(PLACES), turns)


def judged(clip, ground_m=0.0, skin=None):
    """As from a file that says nothing of its axes, so that no rest pose tells of a floor."""
    body = build_body(BARE, SKELETON, () if skin is None else (skin,))
    return Motion(replace(clip, up_axis=None), BARE.with_body(body), Cue(), ground_m)


def findings(motion):
    settings = GroundContact.settings_type()
    return [one for one in GroundContact.check(motion, settings) if isinstance(one, Finding)]


@pytest.mark.parametrize(("tilt_deg", "scale"), [(0.0, 1.0), (90.0, 1.0), (-30.0, 100.0)])
@pytest.mark.parametrize("thick_m", [0.0, 0.025, 0.045])
def test_a_skin_says_how_thick_its_soles_are(thick_m, tilt_deg, scale):
    found = judged(walk().clip, None, shod(thick_m, tilt_deg, scale)).derive(ground)
    for under_m in found.under_ball_m.values():
        assert under_m == pytest.approx(BALL_M + thick_m, abs=0.002)
    assert found.height_m == pytest.approx(-thick_m, abs=0.002)


def test_a_bind_pose_with_other_legs_says_nothing():
    skin = shod(0.045)
    bind = np.array(skin.bind_positions)
    bind[[SKELETON.names.index(f"left_{one}") for one in ("foot", "toes")]] += [0.0, 0.3, 0.3]
    motion = judged(walk().clip, None, replace(skin, bind_positions=bind))
    assert motion.figure.body.soles_m == {}
    assert motion.derive(ground).height_m == pytest.approx(0.0, abs=0.004)


@pytest.mark.parametrize("skin", [None, shod(0.0)])
@pytest.mark.parametrize(
    ("ground_m", "level"),
    [
        (-0.075, Level.ERROR),
        (-0.050, Level.WARNING),
        (0.0375, Level.WARNING),
        (0.0625, Level.ERROR),
        (0.010, None),
        (-0.010, None),
    ],
)
def test_a_clip_over_or_under_its_declared_floor_is_seen(ground_m, level, skin):
    """1.25 times each limit, with and without a skin; what lies within a sole's doubt is not."""
    found = findings(judged(walk().clip, ground_m, skin))
    assert [one.level for one in found] == ([] if level is None else [level])
    if level is not None:
        assert found[0].measured == pytest.approx(1000.0 * abs(ground_m), abs=4.0)


def test_a_declared_floor_corrects_the_soles_of_people_and_says_so():
    found = judged(walk().clip, -0.012).derive(ground)
    assert found.offset_m == pytest.approx(0.0, abs=1e-9)
    assert "thicker than people's" in found.note.text
    by_skin = judged(walk().clip, -0.012, shod(0.0)).derive(ground)
    assert by_skin.offset_m == pytest.approx(0.012, abs=0.002)
    assert "people" not in by_skin.note.text


def test_a_dip_of_a_clip_that_floats_is_not_said_to_be_under_the_ground():
    """58 mm under its other foot and 12 mm above the ground."""
    down = 0.058 * bump(181, 60, 120)
    dipped = standing_on({"left": np.stack((0 * down, -down, 0 * down))}, frames=181, drop_m=0.1)
    whole, foot = findings(judged(dipped.clip, -0.070))
    assert whole.message.endswith("above the floor")
    assert foot.parts == ("left_foot",)
    assert foot.message.endswith("58 mm under the level the clip stands on")
