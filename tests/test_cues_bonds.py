"""What the cue sheet says of moments, props and clips that belong together."""

from __future__ import annotations

import pytest

from kinelint.bonds import bound
from kinelint.cue import Box, Chain, Held, Kept, Mirrored, Partners, Rod
from kinelint.cues import CueSheets, load_sheet, load_sheets
from kinelint.errors import PolicyError, PolicyErrors

SHEET = """
[[prop]]
name = "boathook"
joint = "boathook"
clips = ["hook/**"]
rod = { from_m = [0, -0.9, 0], to_m = [0, 1.3, 0], radius_mm = 17 }
grips = { fore = [0, 0.3, 0], rear = [0, -0.2, 0] }

[[prop]]
name = "crate"
joint = "crate"
box = { size_m = [0.4, 0.3, 0.3] }

[[holder]]
name = "rack"
at_m = [0.5, 1.2, 0]

[[cue]]
clips = ["hook/take.bvh"]
stage = "edited"
returns = true
moments = { grasp = 1.1, reach = 0.6 }
phases = { preparation = ["start", "grasp"], action = ["grasp", 1.8] }
held = [{ prop = "boathook", hand = "right_hand", grip = "fore", from = "grasp" }]
kept = [{ prop = "boathook", holder = "rack", to = "grasp" }]

[[chain]]
name = "haul"
steps = ["haul#start", "haul#loop", "haul#end"]

[[chain]]
before = "haul#loop"
after = ["haul#slip", "haul#end"]
blend_s = 0.2

[[partners]]
clips = ["line/throw*", "line/catch*"]
moments = ["release", ""]
touch = ["right_hand", "boathook"]
reach_mm = 150

[[mirrored]]
clips = ["left.bvh", "right.bvh"]
"""


@pytest.fixture
def sheet(tmp_path):
    def load(text=SHEET):
        path = tmp_path / "cues.toml"
        path.write_text(text, encoding="utf-8")
        return load_sheet(path, "", "cues.toml")

    return load


def test_moments_phases_and_props_of_a_clip(sheet):
    cue, _ = CueSheets((sheet(),)).cue("hook/take.bvh", "take")
    assert (cue.stage, cue.returns) == ("edited", True)
    assert cue.moments == (("reach", 0.6), ("grasp", 1.1))
    assert cue.phases == (("preparation", 0.0, 1.1), ("action", 1.1, 1.8))
    assert [one.name for one in cue.props] == ["boathook", "crate"]
    hook, crate = cue.props
    assert hook.bulk == Rod((0, -0.9, 0), (0, 1.3, 0), 0.017)
    assert hook.grip("rear") == (0, -0.2, 0)
    assert hook.grip("top") is None
    assert crate.bulk == Box((0, 0, 0), (0.4, 0.3, 0.3))
    assert cue.held == (Held("boathook", "right_hand", "fore", 1.1, None),)
    assert cue.kept == (Kept("boathook", "rack", "", (0.5, 1.2, 0), from_s=None, to_s=1.1),)


def test_a_prop_is_in_its_own_clips_only(sheet):
    cue, _ = CueSheets((sheet(),)).cue("deck/walk.bvh", "walk")
    assert [one.name for one in cue.props] == ["crate"]


CLIPS = [
    *(("haul.glb", name) for name in ("start", "loop", "end", "slip")),
    ("line/catch_1.bvh", "catch_1"),
    ("line/catch_2.bvh", "catch_2"),
    ("line/throw_1.bvh", "throw_1"),
    ("line/throw_2.bvh", "throw_2"),
    ("left.bvh", "left"),
    ("right.bvh", "right"),
]


def test_bonds_find_their_clips(sheet):
    text = SHEET.replace('"haul#', '"haul.glb#')
    found, notes = bound(CueSheets((sheet(text),)), CLIPS)
    assert notes == []
    chains = [[clip for _, clip in one.clips] for one in found if isinstance(one.bond, Chain)]
    pairs = [("start", "loop"), ("loop", "end"), ("loop", "slip"), ("loop", "end")]
    assert chains == [list(pair) for pair in pairs]
    assert [one.bond.blend_s for one in found if isinstance(one.bond, Chain)] == [0, 0, 0.2, 0.2]
    partners = [one for one in found if isinstance(one.bond, Partners)]
    assert [one.clips[0][1] + one.clips[1][1] for one in partners] == [
        "throw_1catch_1",
        "throw_2catch_2",
    ]
    assert partners[0].bond.reach_m == pytest.approx(0.15)
    assert sum(isinstance(one.bond, Mirrored) for one in found) == 1


def test_bonds_that_bind_nothing_are_said(sheet):
    clips = [one for one in CLIPS if one[1] not in ("catch_1", "right")]
    found, notes = bound(CueSheets((sheet(),)), clips)
    said = [one.text for one in notes]
    assert "cues.toml, line 27: no clip matches haul#start" in said
    assert any("no clip matches right.bvh" in one for one in said)
    # One catch for two throws: it plays with both.
    assert len([one for one in found if isinstance(one.bond, Partners)]) == 2
    more = [*CLIPS, ("line/catch_3.bvh", "catch_3")]
    _, notes = bound(CueSheets((sheet(),)), more)
    assert any("match 2 and 3 clips, which makes no pairs" in one.text for one in notes)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('prop = "boathook", hand', 'prop = "boathok", hand', "Did you mean 'boathook'?"),
        ('holder = "rack"', 'holder = "rock"', "Did you mean 'rack'?"),
        ('to = "grasp"', 'to = "grsp"', "Did you mean 'grasp'?"),
        ('["start", "grasp"]', '["strt", "grasp"]', "Did you mean 'start'?"),
        ('hand = "right_hand"', 'hand = "right_foot"', "must be 'left_hand' or 'right_hand'"),
        ('steps = ["haul#start", "haul#loop", "haul#end"]', 'steps = ["a"]', "what follows what"),
        ('before = "haul#loop"\n', "", "Give steps"),
        ('"right_hand", "boathook"', '"right_hnd", "boathook"', "Did you mean 'right_hand'?"),
        ("radius_mm = 17 }", "radius_mm = 17 }\nbox = { size_m = [1, 1, 1] }", "a rod and a box"),
        ("size_m = [0.4, 0.3, 0.3]", "size_m = [0.4, 0.3, 0]", "greater than 0"),
        ("stage = ", "stag = ", "Did you mean 'stage'?"),
        ("grasp = 1.1", "grasp = -1.1", "at least 0"),
        ("[[mirrored]]", '[[holder]]\nname = "rack"\n[[mirrored]]', "two [[holder]] called 'rack'"),
    ],
)
def test_faults_are_said_with_their_mend(sheet, old, new, said):
    assert old in SHEET
    with pytest.raises(PolicyError) as error:
        sheet(SHEET.replace(old, new, 1))
    assert said in str(error.value)
    assert str(error.value).startswith("cues.toml: line ")


def test_several_faults_are_said_at_once(sheet):
    with pytest.raises(PolicyErrors) as error:
        sheet(SHEET.replace('holder = "rack"', 'holder = "rock"').replace("stage", "stag"))
    assert len(error.value.problems) == 2


def test_an_inner_sheet_may_name_props_of_an_outer_one(tmp_path):
    (tmp_path / "hook").mkdir()
    outer = '[[prop]]\nname = "boathook"\njoint = "b"\n'
    inner = '[[cue]]\nclips = ["**"]\nheld = [{ prop = "boathook", hand = "left_hand" }]\n'
    (tmp_path / "cues.toml").write_text(outer, encoding="utf-8")
    (tmp_path / "hook" / "cues.toml").write_text(inner, encoding="utf-8")
    sheets = load_sheets(None, [tmp_path / "hook"], tmp_path)
    cue, _ = sheets.cue("hook/take.bvh", "take")
    assert (cue.held[0].prop, cue.prop("boathook").joint) == ("boathook", "b")
