"""Policies and cue sheets that are bombs, junk, or wrong in every key."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hostile.bounds import below, in_time
from hostile.oracle import load_and_check
from kinelint.cues import CueSheetTable
from kinelint.errors import PolicyErrors
from kinelint.policy import PolicyTable
from kinelint.toml_places import MOST_BYTES

QUIET = settings(
    deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True
)
KINDS = pytest.mark.parametrize("kind", ["policy", "cues"])
N = 200_000
BOMBS = {
    "deep lists": "a = " + "[" * N + "]" * N,
    "deep lists, open": "a = " + "[" * N,
    "lists as deep as the parser goes": "a = " + "[" * 200 + "]" * 200,
    "deep tables": "a = " + "{a = " * N,
    "a long key": "a." * N + "a = 1",
    "a long header": "[" + "a." * N + "a]",
    "a long quoted key": '"a" . ' * N + "a = 1",
    "a long list header": "[[" + "a." * N + "a]]",
    "a giant number": "a = " + "9" * N,
    "a giant hexadecimal number": "[limits]\nmax_frames = 0x" + "f" * N,
    "a number beyond 64 bits": "[limits]\nmax_frames = 99999999999999999999",
    "a giant fraction": "sample_rate_hz = 9999." + "1" * N,
    "an infinity": "sample_rate_hz = inf",
    "no number": "ground_m = nan",
    "a huge text": 'fail_on = "' + "x" * N + '"',
    "a huge text of lines": 'fail_on = """' + 'x"\n' * N + '"""',
    "a huge text of escapes": 'fail_on = "' + "\\n" * N + '"',
    "a huge key": "x" * N + " = 1",
    "a huge quoted key": '"' + "\\u001b" * 1000 + '" = 1',
    "only quotes": '"' * N,
    "only apostrophes": "'" * N,
    "only brackets": "[" * N,
    "only dots": "." * N,
    "only words": "a " * N,
    "very many keys": "".join(f"k{i} = 1\n" for i in range(N // 10)),
    "very many unknown rules": "".join(f"[rules.r{i}]\n" for i in range(N // 20)),
    "very many entries": "[[cue]]\n[[scope]]\n" * (N // 40),
    "very many wrong words": "[[cue]]\nclips=['a']\nonly_parts=["
    + "'left_hund'," * (N // 20)
    + "]",
    "control characters": 'fail_on = "\\u001b[31m\\u0007"',
    "a line of another system": 'fail_on = "error"\rroot = "."',
    "a name no file can have": 'cues = "' + "x" * 5000 + '"\nroot = "' + "y/" * 3000 + '"',
    "a name with an end": 'cues = "a\\u0000b"\nroot = "a\\u0000b"',
    "a date": "ground_m = 1979-05-27T07:32:00+23:59\nroot = 00:00:00.999999999",
    "a date that is none": "ground_m = 1979-02-31",
}


@KINDS
@pytest.mark.parametrize("name", BOMBS)
def test_a_bomb_is_refused_with_its_line_in_time_and_memory(
    name: str, kind: str, tmp_path: Path
) -> None:
    path = tmp_path / "bomb.toml"
    path.write_bytes(BOMBS[name].encode())
    with in_time(), below((8 << 20) + 160 * path.stat().st_size):
        error = load_and_check(path, kind)
    assert error is not None


@KINDS
@pytest.mark.parametrize("encoding", ["utf-16", "utf-32", "latin-1", "utf-8-sig"])
def test_only_utf_8_is_read(kind: str, encoding: str, tmp_path: Path) -> None:
    path = tmp_path / "odd.toml"
    path.write_bytes("# Fähre\n".encode(encoding))
    error = load_and_check(path, kind)
    assert (error is None) == (encoding == "utf-8-sig")


@KINDS
def test_a_file_beyond_the_limit_is_refused(kind: str, tmp_path: Path) -> None:
    path = tmp_path / "large.toml"
    path.write_bytes(b"#" * (MOST_BYTES + 1))
    error = load_and_check(path, kind)
    assert error is not None
    assert "more than" in error.what


def test_of_very_many_faults_the_first_are_told(tmp_path: Path) -> None:
    path = tmp_path / "wrong.toml"
    path.write_text("".join(f"k{i} = 1\n" for i in range(1000)))
    error = load_and_check(path, "policy")
    assert isinstance(error, PolicyErrors)
    assert len(error.problems) == 51
    assert "more is wrong" in error.problems[-1].what


PATTERNS = [
    "*a" * 60 + "b", "**/" * 60 + "b", "**/a/" * 40 + "b", "?*" * 60 + "b", "*" * 5000, "[" * 5000,
    "[a" * 2000, "[z-a]*", "[!]x", "[!z-a]", "[]]", "[^a]", "[a&&b]", "[--a]", "[[a]", "[\\]", "\\",
    "(a+)+$", "{a,b}", "#" * 3000, "[#]#[#]", "a#*b#c", "/", "//", "./", "", "\n", "é*", "\ud7ff",
]  # fmt: skip


@pytest.mark.parametrize("pattern", PATTERNS)
def test_any_pattern_matches_or_not_in_time(pattern: str, tmp_path: Path) -> None:
    path = tmp_path / "patterns.toml"
    scope = {"clips": [pattern, f"x#{pattern}"]}
    path.write_text(tomli_w.dumps({"assets": [pattern], "scope": [scope]}), encoding="utf-8")
    with in_time(5.0):
        assert load_and_check(path, "policy") is None


ANYTHING = st.recursive(
    st.one_of(
        st.booleans(),
        st.integers(-(2**63), 2**63 - 1),
        st.floats(),
        st.text(max_size=12),
        st.dates(),
        st.sampled_from(["error", "left_hand", "**", "locomotion", "../x", "\x1b[0m", "."]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.text(max_size=8), inner, max_size=3),
    ),
    max_leaves=6,
)


def keys_of(schema: dict[str, Any]) -> st.SearchStrategy[dict[str, Any]]:
    """Tables with the right keys, whose values are of the right kind now and then."""
    tables = schema.get("$defs", {})

    def value(one: dict[str, Any]) -> st.SearchStrategy[Any]:
        if "$ref" in one:
            return st.deferred(lambda: table(tables[one["$ref"].rpartition("/")[2]])) | ANYTHING
        if one.get("type") == "array" and "items" in one:
            return st.lists(value(one["items"]), max_size=2) | ANYTHING
        if "anyOf" in one:
            return st.one_of(*map(value, one["anyOf"]))
        if "enum" in one:
            return st.sampled_from(one["enum"]) | ANYTHING
        plain = {
            "number": st.floats(0.1, 4) | st.floats(),
            "integer": st.integers(0, 2**63 - 1),
            "boolean": st.booleans(),
            "string": st.text(max_size=12),
        }
        return plain.get(str(one.get("type")), ANYTHING) | ANYTHING

    def table(one: dict[str, Any]) -> st.SearchStrategy[dict[str, Any]]:
        fields = {key: value(field) for key, field in one.get("properties", {}).items()}
        fields["odd key"] = ANYTHING
        return st.fixed_dictionaries({}, optional=fields)

    return table(schema)


@pytest.mark.parametrize(("kind", "model"), [("policy", PolicyTable), ("cues", CueSheetTable)])
def test_wrong_types_in_any_key_are_refused_with_their_line(
    kind: str, model: Any, tmp_path: Path
) -> None:
    path = tmp_path / "wrong.toml"

    @given(keys_of(model.model_json_schema(by_alias=True)))
    @settings(QUIET, max_examples=300)
    def holds(table: dict[str, Any]) -> None:
        try:
            path.write_text(tomli_w.dumps(table), encoding="utf-8")
        except (TypeError, ValueError):  # what TOML itself has no words for
            return
        with in_time():
            load_and_check(path, kind)

    holds()
