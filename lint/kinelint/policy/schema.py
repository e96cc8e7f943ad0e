"""JSON Schema (draft 2020-12) of policies and cue sheets, for editors."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, get_args

from pydantic import BaseModel

from kinelint.policy.model import LevelWord, PolicyTable
from kinelint.registry import Registered

DRAFT = "https://json-schema.org/draft/2020-12/schema"
_LEVEL = {
    "enum": list(get_args(LevelWord)),
    "description": "Level of the rule's findings, whatever it grades them; off leaves it out.",
}


def policy_schema(rules: Mapping[str, Registered]) -> dict[str, Any]:
    """The schema of `kinelint.toml` with the settings of these rules.

    Args:
        rules: by id.
    """
    schema = sheet_schema(PolicyTable)
    parts: dict[str, Any] = schema.setdefault("$defs", {})
    properties = {}
    for name, one in rules.items():
        properties[name] = {"$ref": f"#/$defs/rule:{name}"}
        parts[f"rule:{name}"] = _rule_schema(one, parts)
    table = {"type": "object", "additionalProperties": False, "properties": properties}
    for owner in (schema, parts["ScopeTable"]):
        said = owner["properties"]["rules"]
        owner["properties"]["rules"] = {**table, "description": said.get("description", "")}
    parts["ScopeTable"]["properties"]["required"]["items"] = {"enum": list(rules)}
    pins = schema["properties"]["pins"]
    pins["additionalProperties"] = False
    pins["properties"] = {name: {"enum": list(one.versions)} for name, one in rules.items()}
    return schema


def sheet_schema(model: type[BaseModel]) -> dict[str, Any]:
    """The schema of one of our TOML files."""
    return {"$schema": DRAFT, **model.model_json_schema(by_alias=True)}


def _rule_schema(one: Registered, parts: dict[str, Any]) -> dict[str, Any]:
    made = one.rule.settings_type.model_json_schema(ref_template="#/$defs/{model}")
    parts.update(made.pop("$defs", {}))
    made["title"] = one.rule.id
    made["description"] = one.info.title
    made.pop("required", None)
    made["properties"] = {"level": _LEVEL, **made.get("properties", {})}
    return made
