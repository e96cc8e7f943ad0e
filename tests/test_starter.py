"""The starter policy: it loads, and says what there is in the tree."""

from __future__ import annotations

import tomllib

import pytest

from ferry_tree import bvh, write
from kinelint.errors import PolicyError
from kinelint.policy import load_policy
from kinelint.starter import compose, look
from policy_rules import Graded, HeadHeight, registered

RULES = registered(HeadHeight, Graded)


@pytest.fixture
def tree(tmp_path):
    return write(tmp_path, crew__idle=bvh(), crew__climb=bvh([0.98, 1.2, 1.5, 1.9]))


def test_a_starter_policy_loads_and_changes_nothing(tree):
    text = compose(look(tree, RULES), RULES)
    (tree / "kinelint.toml").write_text(text, encoding="utf-8")
    policy = load_policy(tree / "kinelint.toml", RULES)
    asked = policy.demands("crew/idle.bvh", "idle", "")
    assert asked == load_policy(None, RULES).demands("crew/idle.bvh", "idle", "")
    assert policy.table.assets == ("*.bvh",)


def test_every_default_in_its_comments_is_valid(tree):
    """All lines of the form "# key = value", taken in, still make a policy."""
    text = compose(look(tree, RULES), RULES)
    lines = [
        line[2:] if line.startswith("# ") and " = " in line and "`" not in line else line
        for line in text.splitlines()
    ]
    tables = [line for line in lines if line != "[[scope]]" and not line.startswith("clips")]
    opened = "\n".join(tables)
    wrong = opened.partition("required = ")  # of a scope whose header stays in a comment
    opened = wrong[0] + wrong[2].partition("[rules.")[1] + wrong[2].partition("[rules.")[2]
    opened = opened.replace('class = "locomotion"\n', "")
    opened = opened.replace('left_thigh = "name of its joint"', 'left_thigh = "x"')
    (tree / "bodies").mkdir()
    (tree / "bodies" / "…").touch()
    (tree / "cues.toml").touch()
    (tree / "kinelint.toml").write_text(opened, encoding="utf-8")
    policy = load_policy(tree / "kinelint.toml", RULES)
    assert policy.table.figure.sex == "female"
    assert policy.table.rules["head-height"]["max_height_mm"] == 1000.0


def test_no_level_is_shown_as_a_default(tree):
    """A rule grades its findings one by one: a level said for it only bounds that."""
    lines = compose(look(tree, RULES), RULES).splitlines()
    levels = [line for line in lines if "level = " in line and "rules." not in line]
    assert len(levels) == len([line for line in lines if line.startswith("[rules.")]) == 2
    assert all("the highest its findings may have" in line for line in levels)


def test_one_is_said_as_one(tree):
    (tree / "crew" / "climb.bvh").unlink()
    text = " ".join(compose(look(tree, RULES), RULES).replace("\n# ", " ").split())
    assert "a look at 1 file (1 .bvh) with 1 clip; yours" in text
    assert " 1 clip, as crew/idle.bvh: " in text
    assert " 1 clips" not in text


def test_it_says_what_there_is(tree):
    write(tree, broken="no motion")
    seen = look(tree, RULES)
    assert (seen.files, seen.clips, dict(seen.formats)) == (3, 2, {".bvh": 2})
    [skeleton] = seen.skeletons
    assert (skeleton.clips, skeleton.stated) == (2, False)
    assert skeleton.metres_per_unit == 1.0
    assert skeleton.stature_m == pytest.approx(1.75, rel=0.03)
    text = compose(seen, RULES)
    data = tomllib.loads(text)
    assert data["metres_per_unit"] == 1.0
    assert data["skeleton"][0]["signature"] == skeleton.signature
    assert "Could not be read: broken.bvh" in text.replace("\n# ", " ")
    assert max(map(len, text.splitlines())) <= 80


def test_clips_that_close_are_named(tree):
    turn = bvh(frames=21).splitlines()
    head = turn.index("MOTION") + 3
    # The left forearm swings out and back: its third channel block after the root's six numbers.
    for number in range(21):
        values = turn[head + number].split()
        values[6 + 3 * 6] = str(40.0 * (1 - abs(number - 10) / 10))
        turn[head + number] = " ".join(values)
    write(tree, wave="\n".join(turn) + "\n")
    seen = look(tree, RULES)
    assert seen.loops == ["wave.bvh#wave"]
    assert '#   "wave.bvh#wave",' in compose(seen, RULES)


def test_a_folder_without_motion_is_refused(tmp_path):
    with pytest.raises(PolicyError, match="no motion file"):
        look(tmp_path, RULES)
