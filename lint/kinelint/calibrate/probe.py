"""Policies under which every size is measured, however small: limits near zero."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, TypeAlias

from pydantic import ValidationError

from kinelint.policy import Policy
from kinelint.rule import RuleSettings
from kinelint.toml_check import checked

Limits: TypeAlias = tuple[str, ...]

# What is smaller than this part of today's lowest limit counts as nothing.
NEAR_ZERO = 0.02
# Each further limit of a group is this much higher than the one before, so that none is skipped.
_STEP = 0.01


@dataclass(frozen=True)
class Probe:
    """One run: its policy, and the limits that it lowers, by rule and setting."""

    policy: Policy
    lowered: Mapping[str, Mapping[str, float]]


def probes(policy: Policy) -> Iterator[Probe]:
    """The runs that together measure every quantity of every rule that names its limits.

    First all limits are low at once. Where a rule has several quantities, one that is over its
    limit may keep another from being told, so each is then lowered by itself. Clips for which a
    scope sets some of these limits anew are not judged by that rule.
    """
    groups = {
        name: one.rule.limits
        for name, one in policy.rules.items()
        if one.rule.limits and _level(policy, name) != "off"
    }
    yield _probe(policy, groups)
    for number in range(max((len(some) for some in groups.values()), default=0)):
        alone = {
            name: (some[number],)
            for name, some in groups.items()
            if len(some) > 1 and number < len(some)
        }
        if alone:
            yield _probe(policy, alone)


def settings_of(policy: Policy, name: str) -> RuleSettings:
    """The settings of a rule for the whole tree, without its scopes."""
    said = {key: one for key, one in policy.table.rules.get(name, {}).items() if key != "level"}
    return checked(policy.rules[name].rule.settings_type, said)


def _level(policy: Policy, name: str) -> object:
    return policy.table.rules.get(name, {}).get("level")


def _probe(policy: Policy, groups: Mapping[str, tuple[Limits, ...]]) -> Probe:
    lowered: dict[str, dict[str, float]] = {}
    for name, some in groups.items():
        settings = settings_of(policy, name)
        for group in some:
            values = _low(settings, group)
            if _fit(settings, {**lowered.get(name, {}), **values}):
                lowered.setdefault(name, {}).update(values)
    rules: dict[str, dict[str, Any]] = {}
    for name in policy.rules:
        own = {key: one for key, one in policy.table.rules.get(name, {}).items() if key != "level"}
        rules[name] = {**own, **lowered[name]} if name in lowered else {"level": "off"}
    scopes = tuple(
        scope.model_copy(update={"rules": _scoped(scope.rules, lowered), "required": ()})
        for scope in policy.table.scope
    )
    table = policy.table.model_copy(update={"rules": rules, "scope": scopes})
    return Probe(Policy(table, policy.rules, policy.file, policy.folder), lowered)


def _low(settings: RuleSettings, group: Limits) -> dict[str, float]:
    today = getattr(settings, group[0]) or getattr(type(settings)(), group[0])
    return {
        name: float(today) * NEAR_ZERO * (1.0 + _STEP * number) for number, name in enumerate(group)
    }


def _fit(settings: RuleSettings, values: Mapping[str, float]) -> bool:
    try:
        checked(type(settings), {**settings.model_dump(mode="json"), **values})
    except ValidationError:
        return False
    return True


def _scoped(
    rules: Mapping[str, Mapping[str, Any]], lowered: Mapping[str, Mapping[str, float]]
) -> dict[str, dict[str, Any]]:
    made: dict[str, dict[str, Any]] = {}
    for name, said in rules.items():
        own = {key: one for key, one in said.items() if key != "level"}
        apart = name not in lowered or set(own) & set(lowered[name]) or said.get("level") == "off"
        made[name] = {"level": "off"} if apart else own
    return made
