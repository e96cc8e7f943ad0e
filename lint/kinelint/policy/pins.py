"""Rules held to a version, so that an upgrade changes no verdict before the team wants it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from kinelint.errors import PolicyError
from kinelint.finding import Note
from kinelint.registry import Registered
from kinelint.toml_check import unknown
from kinelint.toml_places import TomlFile


def pin_problems(file: TomlFile, rules: Mapping[str, Registered]) -> Iterator[PolicyError]:
    """Pins of rules that are not installed, or at versions that these do not have."""
    pins = file.data.get("pins")
    for name, version in pins.items() if isinstance(pins, dict) else ():
        if name not in rules:
            yield unknown("rule", name, rules, file, ("pins", name))
        elif isinstance(version, int) and version not in rules[name].versions:
            known = ", ".join(map(str, rules[name].versions))
            newer = version > rules[name].rule.version
            yield PolicyError(
                f"{name} has no version {version}",
                path=file.path,
                place=f"line {file.line(('pins', name))}",
                mend=f"It has {known}." + (" Is this an older kinelint?" if newer else ""),
            )


def pinned(rules: Mapping[str, Registered], pins: Mapping[str, int]) -> dict[str, Registered]:
    """The rules with those that are pinned at their version; pins that cannot be held are left."""
    return {
        name: one.at(pins[name]) if pins.get(name) in one.versions else one
        for name, one in rules.items()
    }


def behind(rules: Mapping[str, Registered], pins: Mapping[str, int]) -> Iterator[Note]:
    """Says which pins hold a rule back. `rules` are the installed ones, not the pinned."""
    for name, version in sorted(pins.items()):
        if name in rules and version < rules[name].rule.version:
            newest = rules[name].rule.version
            text = f"{name} is pinned to version {version}; version {newest} is there"
            yield Note("pins", text)
