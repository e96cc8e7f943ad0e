"""What the cue sheet says of each clip."""

from __future__ import annotations

import pytest

from kinelint.cue import Cue, Surface, WantedContact
from kinelint.cue_words import expanded
from kinelint.cues import CueSheets, load_sheet
from kinelint.errors import PolicyError

SHEET = """
[[cue]]
clips = ["crew/*.glb#Walk*", "walks/**"]
class = "locomotion"
loop = true
not_captured = ["fingers", "left_toes"]

[[cue]]
clips = ["#WalkInPlace"]
in_place = true
travel_m_per_s = [0, 0, 1.4]
not_captured = ["toes"]
class = "treadmill"

[[cue]]
clips = ["crew/crate.bvh"]
loop = false
additive = false
only_parts = ["hand", "left_forearm"]
ground_m = 0
contact = [{ parts = ["hand", "thorax"], depth_mm = 20 }]
[[cue.contact]]
parts = ["left_hand", "right_thigh"]
[[cue.surface]]
name = "crate"
top_m = 0.4
from_m = [0, 0]
to_m = [0.6, 0.5]
""".replace('contact = [{ parts = ["hand", "thorax"], depth_mm = 20 }]\n', "")


@pytest.fixture
def sheet(tmp_path):
    def load(text=SHEET, prefix=""):
        path = tmp_path / "cues.toml"
        path.write_text(text, encoding="utf-8")
        return load_sheet(path, prefix, "cues.toml")

    return load


def test_a_clip_that_no_entry_fits_has_no_cue(sheet):
    cue, entries = CueSheets((sheet(),)).cue("idle/a.bvh", "a")
    assert (cue, entries) == (Cue(), ())


def test_entries_are_merged_in_order(sheet):
    cue, entries = CueSheets((sheet(),)).cue("crew/deckhand.glb", "WalkInPlace")
    assert entries == ((0, 0), (0, 1))
    assert (cue.class_name, cue.loop, cue.in_place) == ("treadmill", True, True)
    assert cue.travel_m_per_s == (0.0, 0.0, 1.4)
    assert "right_little_3" in cue.not_captured
    assert {"left_toes", "right_toes"} <= set(cue.not_captured)
    assert len(cue.not_captured) == len(set(cue.not_captured)) == 42


def test_all_that_a_sheet_can_say(sheet):
    cue, _ = CueSheets((sheet(),)).cue("crew/crate.bvh", "crate")
    assert cue == Cue(
        loop=False,
        only_parts=("left_hand", "right_hand", "left_forearm"),
        wanted_contacts=(WantedContact(("left_hand", "right_thigh")),),
        surfaces=(Surface("crate", 0.4, (0.0, 0.0), (0.6, 0.5)),),
        ground_m=0.0,
    )


def test_a_sheet_beside_clips_starts_at_its_folder(sheet):
    sheets = CueSheets((sheet(prefix="art/"),))
    assert sheets.cue("art/walks/a.bvh", "a")[0].loop is True
    assert sheets.cue("walks/a.bvh", "a")[0].loop is None


@pytest.mark.parametrize(
    ("word", "parts"),
    [
        ("pelvis", ("pelvis",)),
        ("hand", ("left_hand", "right_hand")),
        ("right_thumb", tuple(f"right_thumb_{number}" for number in range(4))),
        ("index_1", ("left_index_1", "right_index_1")),
        ("tail", ()),
        ("left_tail", ()),
        ("left_pelvis", ()),
    ],
)
def test_families_of_parts(word, parts):
    assert expanded(word) == parts


def test_fingers_are_twenty_a_hand():
    assert len(expanded("left_fingers")) == 20
    assert len(expanded("fingers")) == 40


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ("[[cues]]\nclips = ['a']", 1, ("'cues'", "'cue'")),
        ("[[cue]]\nloop = true", 1, ("cue.clips", "is missing")),
        ("[[cue]]\nclips = ['a']\nlopp = true", 3, ("'lopp'", "'loop'")),
        ("[[cue]]\nclips = ['a']\nloop = 'yes'", 3, ("true or false", "'yes'")),
        ("[[cue]]\nclips = ['a']\nonly_parts = ['left_hnd']", 3, ("'left_hnd'", "'left_hand'")),
        ("[[cue]]\nclips = ['a']\nnot_captured = ['fingres']", 3, ("'fingers'",)),
        ("[[cue]]\nclips = ['a']\n[[cue.contact]]\nparts = ['hand', 'thihg']", 4, ("'thigh'",)),
        ("[[cue]]\nclips = ['a']\n[[cue.contact]]\nparts = ['hand']", 4, ("parts",)),
        ("[[cue]]\nclips = ['a']\ntravel_m_per_s = [1, 2]", 3, ("travel_m_per_s",)),
        ("[[cue]]\nclips = ['a']\n[[cue.surface]]\ntop_m = 1", 3, ("from_m", "is missing")),
    ],
)
def test_a_wrong_sheet_is_named_with_line_and_mend(sheet, text, line, words):
    with pytest.raises(PolicyError) as caught:
        sheet(text)
    said = str(caught.value)
    assert f"cues.toml: line {line}: " in said, said
    assert all(word in said for word in words), said
