"""Reads a policy, and says all that is wrong with it at once."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from itertools import chain, islice
from pathlib import Path
from typing import Any, get_args

from pydantic import ValidationError

from kinelint.anatomy.parts import PARTS
from kinelint.errors import PolicyError
from kinelint.exports import Pattern
from kinelint.policy.model import LevelWord, PolicyTable
from kinelint.policy.pins import behind, pin_problems, pinned
from kinelint.policy.settle import Policy
from kinelint.registry import Registered
from kinelint.toml_check import (
    MOST_PROBLEMS,
    checked,
    dotted,
    problems_of,
    raise_if_any,
    short,
    unknown,
)
from kinelint.toml_places import Path as Place
from kinelint.toml_places import TomlFile, read_toml

LEVELS = get_args(LevelWord)


def load_policy(path: Path | None, rules: Mapping[str, Registered], shown: str = "") -> Policy:
    """The policy in a file, or the defaults.

    Args:
        path: the file; None for the defaults of all rules.
        rules: installed rules by id.
        shown: what messages call the file.

    Raises:
        PolicyError: the file cannot be read, or is wrong; `PolicyErrors` if in several ways.
    """
    if path is None:
        return Policy(PolicyTable(), rules)
    file = read_toml(path, shown)
    table, problems = _table(file)
    pins = _pins(file)
    installed, rules = rules, pinned(rules, pins)
    more = chain(
        pin_problems(file, installed),
        _rule_problems(file, rules),
        _entry_problems(file),
        _export_problems(file),
        _file_problems(file, path.resolve().parent),
    )
    raise_if_any([*problems, *islice(more, MOST_PROBLEMS + 1)])
    assert table is not None
    notes = tuple(behind(installed, pins))
    return Policy(table, rules, file, path.resolve().parent, notes)


def _pins(file: TomlFile) -> dict[str, int]:
    said = _sub(file.data, "pins")
    return {name: one for name, one in said.items() if type(one) is int}


def _table(file: TomlFile) -> tuple[PolicyTable | None, list[PolicyError]]:
    try:
        return checked(PolicyTable, file.data), []
    except ValidationError as error:
        return None, problems_of(error, PolicyTable, file)


def _rule_problems(file: TomlFile, rules: Mapping[str, Registered]) -> Iterator[PolicyError]:
    """Of every rule table, over what [rules] already says of the rule."""
    base = _sub(file.data, "rules")
    yield from _layer_problems(file, rules, base, {}, ("rules",))
    for number, scope in enumerate(_entries(file.data, "scope")):
        at = ("scope", number, "rules")
        yield from _layer_problems(file, rules, _sub(scope, "rules"), base, at)
        required = scope.get("required")
        for index, name in enumerate(required if isinstance(required, list) else ()):
            if isinstance(name, str) and name not in rules:
                place = ("scope", number, "required", index)
                yield unknown("rule", name, rules, file, place)


def _layer_problems(
    file: TomlFile,
    rules: Mapping[str, Registered],
    layer: dict[str, Any],
    base: dict[str, Any],
    at: Place,
) -> Iterator[PolicyError]:
    for name, said in layer.items():
        if name not in rules:
            yield unknown("rule", name, rules, file, (*at, name))
        elif isinstance(said, dict):
            below = base.get(name)
            under = below if isinstance(below, dict) else {}
            yield from _settings_problems(file, rules[name], said, under, (*at, name))


def _settings_problems(
    file: TomlFile, rule: Registered, said: dict[str, Any], under: dict[str, Any], at: Place
) -> Iterator[PolicyError]:
    level = said.get("level", "off")
    if level not in LEVELS:
        what = f"level of {dotted(at)}:"
        yield unknown(what, str(level), LEVELS, file, (*at, "level"))
    model = rule.rule.settings_type
    values = {key: value for key, value in (under | said).items() if key != "level"}
    try:
        checked(model, values)
    except ValidationError as error:
        listed = error.errors(include_url=False)
        # Of very many problems only the first are put into words.
        for one, problem in zip(listed, problems_of(error, model, file, at), strict=False):
            # What the layer below got wrong was said there.
            if not one["loc"] or one["loc"][0] in said or not under:
                yield problem


def _entry_problems(file: TomlFile) -> Iterator[PolicyError]:
    """Scopes and skeletons that choose nothing, and parts that are none."""
    for number, scope in enumerate(_entries(file.data, "scope")):
        if not any(scope.get(key) for key in ("clips", "class", "stage")):
            mend = 'Add clips = ["raw/**"], class = "…" or stage = "raw".'
            what = "the scope names no clips, no class and no stage"
            yield _says_not(file, ("scope", number), what, mend)
    for number, one in enumerate(_entries(file.data, "skeleton")):
        if not one.get("assets") and not one.get("signature"):
            mend = 'Add assets = ["crew/**"] or signature = "…".'
            yield _says_not(
                file, ("skeleton", number), "the skeleton names no assets and no signature", mend
            )
        for key in ("parts", "radii_mm"):
            for part in _sub(one, key):
                if part not in PARTS:
                    place = ("skeleton", number, key, part)
                    hint = "Parts are as left_upper_arm."
                    yield unknown("part", part, PARTS, file, place, hint)


def _export_problems(file: TomlFile) -> Iterator[PolicyError]:
    for number, one in enumerate(_entries(file.data, "export")):
        source, export = one.get("source"), one.get("export")
        if isinstance(source, str) and isinstance(export, str):
            fault = Pattern(source, export).fault()
            if fault:
                mend = 'As source = "work/{name}.bvh", export = "clips/{name}.glb".'
                yield _says_not(file, ("export", number), fault, mend)


def _file_problems(file: TomlFile, folder: Path) -> Iterator[PolicyError]:
    """Files that the policy names and that are not there."""
    named: list[tuple[Place, object]] = [(("cues",), file.data.get("cues"))]
    for number, one in enumerate(_entries(file.data, "skeleton")):
        named.append((("skeleton", number, "body"), one.get("body")))
        named.append((("skeleton", number, "reference"), one.get("reference")))
    for place, name in named:
        if isinstance(name, str) and name and not _there(folder, name, Path.is_file):
            what = f"{dotted(place)} names {short(name)!r}, and there is no such file"
            yield _says_not(file, place, what, "Paths start at the policy's folder.")
    root = file.data.get("root")
    if isinstance(root, str) and not _there(folder, root, Path.is_dir):
        what = f"root names {short(root)!r}, and there is no such folder"
        yield _says_not(file, ("root",), what, "It starts at the policy's folder.")


def _there(folder: Path, name: str, kind: Callable[[Path], bool]) -> bool:
    try:
        return kind(folder / name)
    except (OSError, ValueError):  # a name that no file can have
        return False


def _says_not(file: TomlFile, place: Place, what: str, mend: str) -> PolicyError:
    return PolicyError(what, path=file.path, place=f"line {file.line(place)}", mend=mend)


def _sub(table: dict[str, Any], key: str) -> dict[str, Any]:
    found = table.get(key)
    return found if isinstance(found, dict) else {}


def _entries(table: dict[str, Any], key: str) -> list[dict[str, Any]]:
    found = table.get(key)
    # Places count all items, so one that is no table must keep its number.
    return (
        [one if isinstance(one, dict) else {"clips": [0], "assets": [0]} for one in found]
        if (isinstance(found, list))
        else []
    )
