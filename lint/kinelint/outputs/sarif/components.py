"""The tool in a log: its driver, the packs that extend it, and references to their rules."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from kinelint.finding import Level
from kinelint.outputs.rule_pages import markdown, text_page
from kinelint.outputs.sarif.encode import plain_value
from kinelint.outputs.sarif.own_rules import NOTICES, TROUBLE_RULES
from kinelint.outputs.wording import rule_name
from kinelint.rule_info import RuleInfo

BUILT_IN = "kinelint"
# The greatest length that code hosts take.
_LONGEST_DESCRIPTION = 1024
_SEMANTIC = re.compile(r"\d+\.\d+\.\d+(-[0-9A-Za-z.-]+)?(\+[0-9A-Za-z.-]+)?")
_SEVERITY = {Level.ERROR: "error", Level.WARNING: "warning", Level.NOTE: "recommendation"}


class Components:
    """Driver and extensions (3.18), with the place of every rule in them."""

    def __init__(self, rules: Sequence[RuleInfo], version: str) -> None:
        by_pack: dict[str, list[RuleInfo]] = {BUILT_IN: []}
        for rule in sorted(rules, key=lambda one: (one.pack, one.id)):
            by_pack.setdefault(rule.pack, []).append(rule)
        self._references: dict[str, dict[str, Any]] = {}
        self._driver = _component(BUILT_IN, version, by_pack.pop(BUILT_IN))
        self._driver["rules"] += [_own(one.descriptor("error")) for one in TROUBLE_RULES]
        self._driver["language"] = "en-US"
        self._driver["notifications"] = [one.descriptor(_notice_level(one.id)) for one in NOTICES]
        self._note(self._driver, None)
        self._extensions = []
        for index, (pack, of_pack) in enumerate(by_pack.items()):
            extension = _component(pack, of_pack[0].pack_version, of_pack)
            self._note(extension, {"name": extension["name"], "index": index})
            self._extensions.append(extension)

    def _note(self, component: dict[str, Any], reference: dict[str, Any] | None) -> None:
        for index, rule in enumerate(component["rules"]):
            place = {"id": rule["id"], "index": index}
            if reference is not None:
                place["toolComponent"] = reference
            self._references.setdefault(rule["id"], place)

    def tool(self) -> dict[str, Any]:
        """The tool object."""
        tool: dict[str, Any] = {"driver": self._driver}
        if self._extensions:
            tool["extensions"] = self._extensions
        return tool

    def reference(self, rule_id: str) -> dict[str, Any]:
        """A reportingDescriptorReference (3.52); the id alone for a rule nobody described."""
        return self._references.get(rule_id, {"id": rule_id})

    def of_result(self, rule_id: str) -> dict[str, Any]:
        """How a result names its rule; a pack's rule needs `rule` (3.27.7)."""
        place = self.reference(rule_id)
        if "toolComponent" in place:
            return {"ruleId": rule_id, "rule": place}
        named: dict[str, Any] = {"ruleId": rule_id}
        if "index" in place:
            named["ruleIndex"] = place["index"]
        return named


def _component(name: str, version: str, rules: Sequence[RuleInfo]) -> dict[str, Any]:
    made: dict[str, Any] = {"name": name}
    if version:
        made["version"] = version
    if _SEMANTIC.fullmatch(version):
        made["semanticVersion"] = version
    made["rules"] = [_described(rule) for rule in rules]
    return made


def _described(rule: RuleInfo) -> dict[str, Any]:
    title = rule.title or rule.id
    configuration: dict[str, Any] = {"enabled": True, "level": rule.level.value}
    if rule.settings:
        configuration["parameters"] = {s.name: plain_value(s.default) for s in rule.settings}
    return {
        "id": rule.id,
        "name": rule_name(rule.id),
        "shortDescription": {"text": title},
        "fullDescription": {"text": _shortened(" ".join(rule.text.split()) or title)},
        "help": {"text": text_page(rule), "markdown": markdown(rule)},
        "defaultConfiguration": configuration,
        "properties": {
            "tags": ["animation"],
            "version": rule.version,
            "precision": "high",
            "problem.severity": _SEVERITY[rule.level],
        },
    }


def _own(descriptor: dict[str, Any]) -> dict[str, Any]:
    properties = {"tags": ["run"], "precision": "very-high", "problem.severity": "error"}
    return {**descriptor, "properties": properties}


def _notice_level(notice_id: str) -> str:
    return {"assumption": "note", "results-left-out": "warning"}.get(notice_id, "error")


def _shortened(text: str) -> str:
    if len(text) <= _LONGEST_DESCRIPTION:
        return text
    return text[: _LONGEST_DESCRIPTION - 1].rsplit(" ", 1)[0] + "…"
