"""Lines of keys in TOML texts."""

from __future__ import annotations

import tomllib

import pytest

from kinelint.errors import PolicyError
from kinelint.toml_places import key_lines, parse_toml, read_toml

TEXT = '''# a comment with [brackets] and = signs
fail_on = "error"   # and one behind

assets = [
  "clips/**", # a ] in a comment
  """several
lines = 3
""",
  'raw/#1',
]
figure = { sex = "female", age = { years = 30 } }
"odd key".'x.y' . z = 1

[rules.foot-slide]
slide_error_mm = 40
note = \'\'\'
[not.a.table]
'\'\'\'

[[scope]]
clips = ["a"]
[scope.rules.limb-stretch]
level = "off"
[[scope]]
clips = [["b", "c"], []]
[scope.rules]
"loop-seam" = { level = "note" }
[[scope.deep]]
x = 1979-05-27T07:32:00Z
[[scope.deep]]
y = 2
'''


def every_path(value, path=()):
    """All key paths of parsed TOML: the reference is the standard library's own parser."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, inner in items:
        yield (*path, key)
        if isinstance(inner, dict | list):
            yield from every_path(inner, (*path, key))


def test_knows_every_key_that_the_parser_knows():
    lines = key_lines(TEXT)
    assert set(every_path(tomllib.loads(TEXT))) == set(lines)


@pytest.mark.parametrize(
    ("path", "begins"),
    [
        (("fail_on",), "fail_on"),
        (("assets",), "assets"),
        (("assets", 0), '  "clips/**"'),
        (("assets", 1), '  """several'),
        (("assets", 2), "  'raw/#1'"),
        (("figure", "age", "years"), "figure"),
        (("odd key", "x.y", "z"), '"odd key"'),
        (("rules", "foot-slide"), "[rules.foot-slide]"),
        (("rules", "foot-slide", "slide_error_mm"), "slide_error_mm"),
        (("rules", "foot-slide", "note"), "note = "),
        (("scope", 0, "rules", "limb-stretch", "level"), "level"),
        (("scope", 1, "clips", 0, 1), 'clips = [["b"'),
        (("scope", 1, "rules", "loop-seam", "level"), '"loop-seam"'),
        (("scope", 1, "deep", 1, "y"), "y = 2"),
    ],
)
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_finds_the_line(path, begins, ends):
    line = key_lines(TEXT.replace("\n", ends))[path]
    assert TEXT.split("\n")[line - 1].startswith(begins)


def test_a_missing_key_is_at_its_table():
    file = parse_toml(TEXT, "k.toml")
    assert file.line(("rules", "foot-slide", "nothing")) == file.line(("rules", "foot-slide"))
    assert file.line(("nothing",)) == 1


@pytest.mark.parametrize(
    ("text", "line"), [("a = 1\nb = \n", 2), ("a = 1\na = 2\n", 2), ("a = [1,\n", 2)]
)
def test_names_the_line_of_bad_toml(text, line):
    with pytest.raises(PolicyError, match="not valid TOML") as caught:
        parse_toml(text, "k.toml")
    assert caught.value.place == f"line {line}"


def test_names_the_line_of_bad_bytes(tmp_path):
    (tmp_path / "k.toml").write_bytes(b"a = 1\nb = '\xff'\n")
    with pytest.raises(PolicyError, match=r"line 2: is not UTF-8"):
        read_toml(tmp_path / "k.toml")
    with pytest.raises(PolicyError, match="cannot be read"):
        read_toml(tmp_path / "none.toml")
