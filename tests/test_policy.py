"""What the policy says of each clip, and what is said of a policy that is wrong."""

from __future__ import annotations

import pickle

import pytest

from kinelint.errors import PolicyError, PolicyErrors
from kinelint.finding import Level
from kinelint.policy import find_policy, load_policy, root_of
from policy_rules import Graded, HeadHeight, Inapplicable, registered

RULES = registered(HeadHeight, Graded, Inapplicable)


@pytest.fixture
def policy(tmp_path):
    def load(text, rules=RULES):
        path = tmp_path / "kinelint.toml"
        path.write_text(text, encoding="utf-8")
        return load_policy(path, rules, "kinelint.toml")

    return load


def settled(policy, asset="a.bvh", clip="a", class_name=""):
    demands = policy.demands(asset, clip, class_name)
    return {one.rule.id: one for one in demands.rules}


def test_defaults_without_a_file():
    rules = settled(load_policy(None, RULES))
    assert list(rules) == ["graded", "head-height", "inapplicable"]
    assert rules["head-height"].settings.max_height_mm == 1000.0
    assert all(one.enabled and one.level is None and not one.required for one in rules.values())


def test_rule_settings_and_levels(policy):
    rules = settled(
        policy("""
[rules.head-height]
max_height_mm = 1500
words = ["a", "b"]
level = "warning"
[rules.graded]
level = "off"
""")
    )
    assert rules["head-height"].settings.max_height_mm == 1500.0
    assert rules["head-height"].settings.words == ("a", "b")
    assert rules["head-height"].level is Level.WARNING
    assert not rules["graded"].enabled


SCOPED = """
ground_m = 0.1
[rules.head-height]
max_height_mm = 1500
[[scope]]
clips = ["raw/**"]
ground_m = 0.2
[scope.rules.head-height]
max_height_mm = 1600
level = "note"
[[scope]]
class = ["locomotion", "idle"]
required = ["inapplicable"]
rules.head-height.max_height_mm = 1700
[[scope]]
clips = ["*.glb#Climb*"]
class = "climb"
rules.head-height.level = "error"
"""


@pytest.mark.parametrize(
    ("asset", "clip", "class_name", "limit", "level", "required", "ground"),
    [
        ("a.bvh", "a", "", 1500, None, False, 0.1),
        ("raw/a.bvh", "a", "", 1600, Level.NOTE, False, 0.2),
        ("a.bvh", "a", "idle", 1700, None, True, 0.1),
        ("raw/x/a.bvh", "a", "locomotion", 1700, Level.NOTE, True, 0.2),
        ("raw/a.glb", "Climb", "climb", 1600, Level.ERROR, False, 0.2),
        ("raw/a.glb", "Climb", "", 1600, Level.NOTE, False, 0.2),
        ("raw/a.glb", "Walk", "climb", 1600, Level.NOTE, False, 0.2),
    ],
)
def test_later_scopes_win(policy, asset, clip, class_name, limit, level, required, ground):
    scoped = policy(SCOPED)
    rule = settled(scoped, asset, clip, class_name)
    assert rule["head-height"].settings.max_height_mm == limit
    assert rule["head-height"].level is level
    assert rule["inapplicable"].required is required
    assert scoped.demands(asset, clip, class_name).ground_m == ground


def test_setups_tell_rule_scope_and_line(policy):
    setups = [s for s in policy(SCOPED).setups if s.rule_id == "head-height"]
    said = [(s.scope, s.overridden, s.level, s.line) for s in setups]
    assert said == [
        ("", {"max_height_mm": 1500.0}, None, 3),
        ("raw/**", {"max_height_mm": 1600.0}, Level.NOTE, 8),
        ("class locomotion, idle", {"max_height_mm": 1700.0}, None, 14),
        ("*.glb#Climb* of class climb", {"max_height_mm": 1500.0}, Level.ERROR, 18),
    ]


def test_a_policy_crosses_process_borders(policy):
    scoped = policy(SCOPED)
    again = pickle.loads(pickle.dumps(scoped))
    assert settled(again, "raw/a.bvh") == settled(scoped, "raw/a.bvh")


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        ('fail_no = "error"', 1, ("'fail_no'", "'fail_on'")),
        ('\nfail_on = "erorr"', 2, ("fail_on", "erorr", "'error'")),
        ("[rule.head-height]", 1, ("'rule'", "'rules'")),
        ("[rules.head-hight]", 1, ("'head-hight'", "'head-height'")),
        ("[rules.head-height]\nmax_hight_mm = 1", 2, ("'max_hight_mm'", "'max_height_mm'")),
        ('[rules.head-height]\nmax_height_mm = "1"', 2, ("max_height_mm", "a number", "text '1'")),
        ("[rules.head-height]\nmax_height_mm = true", 2, ("a number", "true")),
        ("[rules.head-height]\nmax_height_mm = nan", 2, ("a finite number",)),
        ("[rules.head-height]\nmax_height_mm = -1", 2, ("greater than 0", "-1")),
        ("[rules.head-height]\nmin_height_mm = 2000", 1, ("must lie below",)),
        ('[rules.head-height]\nlevel = "erro"', 2, ("'erro'", "'error'")),
        ("[rules]\nhead-height = 3", 2, ("rules.head-height", "a table", "3")),
        ("[figure]\nsex = 'femal'", 2, ("figure.sex", "'female'")),
        ("[figure]\nstature = 1.8", 2, ("[figure]", "'stature'", "'stature_m'")),
        ("assets = 'a'", 1, ("assets", "a list", "the text 'a'")),
        ("assets = ['a',\n 3]", 2, ("assets", "text in quotes", "3")),
        ("[[scope]]\nclips = ['a']\nrequired = [\n'graded',\n'heigt']", 5, ("'heigt'",)),
        ("[[scope]]\nclips = ['a']\nklass = 'b'", 3, ("[scope]", "'klass'", "'class'")),
        ("[[scope]]\nclips = ['a']\nclass = 3", 3, ("scope.class", "3")),
        ("[[scope]]\nrequired = ['graded']", 1, ("no clips, no class and no stage",)),
        ("[[scope]]\nclips=['a']\n[[scope]]\nclips=['b']\nrules.graded.x = 1", 5, ("'x'",)),
        ("[[skeleton]]\nup_axis = 'y'", 1, ("no assets and no signature",)),
        ("[[skeleton]]\nassets=['a']\n[skeleton.parts]\nleft_thig='j'", 4, ("'left_thigh'",)),
        ("[skeleton]\nassets = ['a']", 1, ("skeleton", "a list", "a table")),
        ("\ncues = 'none.toml'", 2, ("cues names 'none.toml'", "no such file")),
        ("[[skeleton]]\nassets=['a']\nbody='b.glb'", 3, ("skeleton.body names 'b.glb'",)),
        ("[[skeleton]]\nassets=['a']\nradii_mm={left_hnd=3}", 3, ("'left_hand'",)),
        ("[[skeleton]]\nassets=['a']\nradii_mm={left_hand=0}", 3, ("greater than 0",)),
        ("root = 'none'", 1, ("no such folder",)),
        ("limits.max_frames = 0.5", 1, ("limits.max_frames", "a whole number")),
    ],
)
def test_a_wrong_policy_is_named_with_line_key_and_mend(policy, text, line, words):
    with pytest.raises(PolicyError) as caught:
        policy(text)
    said = str(caught.value)
    assert said.startswith(f"kinelint.toml: line {line}: "), said
    assert all(word in said for word in words), said
    assert "\n" not in said


def test_all_faults_at_once_in_the_order_of_lines(policy):
    with pytest.raises(PolicyErrors) as caught:
        policy("""fail_no = 1
[rules.head-height]
max_hight_mm = 3
[[scope]]
clips = ["a"]
required = ["nothing"]
[rules.hed-height]
""")
    places = [one.place for one in caught.value.problems]
    assert places == ["line 1", "line 3", "line 6", "line 7"]
    again = pickle.loads(pickle.dumps(caught.value))
    assert str(again) == str(caught.value)


def test_a_fault_of_the_base_is_said_once(policy):
    with pytest.raises(PolicyError) as caught:
        policy("""[rules.head-height]
max_height_mm = "tall"
[[scope]]
clips = ["a"]
rules.head-height.min_height_mm = 3
""")
    assert not isinstance(caught.value, PolicyErrors)


def test_scopes_that_contradict_each_other_are_refused_where_they_meet(policy):
    two = policy("""
[[scope]]
clips = ["raw/**"]
rules.head-height.max_height_mm = 100
[[scope]]
class = "climb"
rules.head-height.min_height_mm = 500
""")
    assert settled(two, "raw/a.bvh")
    with pytest.raises(PolicyError, match=r"line 5.*must lie below"):
        settled(two, "raw/a.bvh", "a", "climb")


def test_skeleton_entries_are_merged(policy, tmp_path):
    (tmp_path / "bodies").mkdir()
    (tmp_path / "bodies" / "a.glb").touch()
    (tmp_path / "bodies" / "b.glb").touch()
    one = policy("""
[[skeleton]]
assets = ["crew/**"]
body = "bodies/a.glb"
metres_per_unit = 0.01
parts = { left_thigh = "A", left_shank = "B" }
radii_mm.left_hand = 20
[[skeleton]]
signature = "abc"
body = "bodies/b.glb"
parts.left_thigh = "C"
""")
    assert one.skeleton_entries("x.bvh", "abd") == ()
    assert one.skeleton_entries("x.bvh", "abcdef") == (1,)
    both = one.skeleton(one.skeleton_entries("crew/x.bvh", "abcdef"))
    assert both.body == "bodies/b.glb"
    assert both.metres_per_unit == 0.01
    assert both.radii_mm == {"left_hand": 20.0}
    assert both.parts == {"left_thigh": "C", "left_shank": "B"}


def test_the_nearest_policy_up_to_the_repository_is_found(tmp_path, monkeypatch):
    clips = tmp_path / "game" / "clips" / "crew"
    clips.mkdir(parents=True)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    (tmp_path / "kinelint.toml").touch()
    (tmp_path / "game" / ".git").mkdir()
    assert find_policy([clips]) is None  # not beyond the repository
    assert root_of([clips], None) == (tmp_path / "game").resolve()
    (tmp_path / "game" / "kinelint.toml").touch()
    assert find_policy([clips]) == (tmp_path / "game" / "kinelint.toml").resolve()
    (clips / "kinelint.toml").touch()
    assert find_policy([clips / "a.bvh", clips / "b.bvh"]) == (clips / "kinelint.toml").resolve()
    assert root_of([elsewhere], clips) == elsewhere.resolve()
    assert root_of([clips / "a"], clips) == clips.resolve()
