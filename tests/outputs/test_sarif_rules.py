"""Each cross-field rule of `sarif_rules` notices its breach: a check that cannot fail is none."""

from __future__ import annotations

import copy
import hashlib
import io
import json

import pytest

from kinelint.outputs.sarif import write_sarif
from outputs import made_report as made
from outputs import sarif_rules


def sound(name="full", profile="full"):
    stream = io.BytesIO()
    write_sarif(made.ALL[name](), stream, profile=profile)
    return json.loads(stream.getvalue())


LOG = sound()
TROUBLED = sound("troubled")
UPLOAD = sound(profile="upload")
SCHEMA = sarif_rules.validator()


def test_the_schema_is_the_one_of_errata_01():
    assert hashlib.sha256(sarif_rules.schema_bytes()).hexdigest() == (
        "c3b4bb2d6093897483348925aaa73af03b3e3f4bd4ca38cef26dcb4212a2682e"
    )


def test_the_schema_of_errata_01_refuses_a_region_without_a_start():
    """Errata 01 added that; copies of 2019 let it through."""
    log = copy.deepcopy(LOG)
    failure(log)["locations"][0]["physicalLocation"]["region"] = {"properties": {"frame": 3}}
    assert any("region" in line for line in sarif_rules.breaches(log, SCHEMA))


def results(log):
    return log["runs"][0]["results"]


def failure(log):
    return next(
        one
        for one in results(log)
        if one["kind"] == "fail" and "region" in one["locations"][0]["physicalLocation"]
    )


def unfit(log):
    return next(one for one in results(log) if one["kind"] == "notApplicable")


def in_binary(log):
    return next(one for one in results(log) if one["ruleId"] == "penetration")


def of_pack(log):
    return next(one for one in results(log) if "rule" in one)


def put(target, name, value):
    target[name] = value


def invocation(log):
    return log["runs"][0]["invocations"][0]


BREACHES = {
    "a level on what did not fail": (lambda log: put(unfit(log), "level", "error"), "with a level"),
    "a rank on what did not fail": (lambda log: put(unfit(log), "rank", 3.0), "with a rank"),
    "another rule's index": (lambda log: put(failure(log), "ruleIndex", 1), "is not"),
    "no rule id": (lambda log: failure(log).pop("ruleId"), "no rule id"),
    "two rule ids": (lambda log: put(of_pack(log)["rule"], "id", "foot-slide"), "differ"),
    "another component": (
        lambda log: put(of_pack(log)["rule"]["toolComponent"], "name", "x"),
        "not at its index",
    ),
    "suppressions on some": (lambda log: failure(log).pop("suppressions"), "on some"),
    "a baseline state on some": (
        lambda log: put(failure(log), "baselineState", "new"),
        "on some",
    ),
    "equal fingerprints": (
        lambda log: put(
            failure(log),
            "partialFingerprints",
            next(
                one["partialFingerprints"]
                for one in results(log)
                if one["ruleId"] == "foot-slide" and one is not failure(log)
            ),
        ),
        "not unique",
    ),
    "no fingerprints": (lambda log: failure(log).pop("partialFingerprints"), "no partial"),
    "a producer's own fingerprint": (
        lambda log: put(failure(log), "fingerprints", {"a/v1": "b"}),
        "result management",
    ),
    "another artifact's uri": (
        lambda log: put(place(failure(log))["artifactLocation"], "uri", "clips/other.bvh"),
        "uri is not that",
    ),
    "an artifact that is not there": (
        lambda log: put(place(failure(log))["artifactLocation"], "index", 99),
        "does not exist",
    ),
    "an absolute uri": (
        lambda log: put(log["runs"][0]["artifacts"][3]["location"], "uri", "/etc/x"),
        "no relative reference",
    ),
    "a blank in a uri": (
        lambda log: put(log["runs"][0]["artifacts"][3]["location"], "uri", "a b"),
        "no relative reference",
    ),
    "a hash by another name": (
        lambda log: put(log["runs"][0]["artifacts"][0], "hashes", {"sha256": "00"}),
        "IANA",
    ),
    "another name than the cached one": (
        lambda log: put(joint(failure(log)), "fullyQualifiedName", "Other"),
        "differs from the table",
    ),
    "a joint that is not there": (lambda log: put(joint(failure(log)), "index", 99), "not exist"),
    "a parent after its child": (
        lambda log: put(log["runs"][0]["logicalLocations"][0], "parentIndex", 2),
        "does not come before",
    ),
    "a line in a binary file": (
        lambda log: put(place(in_binary(log)), "region", {"startLine": 1}),
        "a line in a binary file",
    ),
    "lines without a column kind": (lambda log: log["runs"][0].pop("columnKind"), "no columnKind"),
    "no text": (lambda log: put(failure(log), "message", {"id": "x", "text": " "}), "no text"),
    "another notification's index": (
        lambda log: put(
            invocation(log)["toolExecutionNotifications"][0]["descriptor"], "index", 0
        ),
        "is not",
    ),
    "an override of another rule": (
        lambda log: put(
            invocation(log)["ruleConfigurationOverrides"][1]["descriptor"], "index", 2
        ),
        "is not",
    ),
}  # fmt: skip


def place(result):
    return result["locations"][0]["physicalLocation"]


def joint(result):
    return result["locations"][0]["logicalLocations"][0]


@pytest.mark.parametrize("name", BREACHES)
def test_a_breach_is_noticed(name):
    spoil, told = BREACHES[name]
    log = copy.deepcopy(LOG)
    assert sarif_rules.breaches(log, SCHEMA) == []
    spoil(log)
    assert any(told in line for line in sarif_rules.breaches(log, SCHEMA))


def test_an_error_notification_in_a_successful_run_is_noticed():
    log = copy.deepcopy(TROUBLED)
    assert sarif_rules.breaches(log, SCHEMA) == []
    invocation(log)["executionSuccessful"] = True
    assert sarif_rules.breaches(log, SCHEMA) == [
        "an error notification in a run that says it succeeded"
    ]


HOSTED = {
    "a base of uris": (
        lambda log: put(place(failure(log))["artifactLocation"], "uriBaseId", "SRCROOT"),
        "uriBaseId",
    ),
    "what did not fail": (lambda log: put(failure(log), "kind", "pass"), "not a failure"),
    "no hash of its own": (
        lambda log: failure(log)["partialFingerprints"].pop("primaryLocationLineHash"),
        "no primaryLocationLineHash",
    ),
    "no region": (lambda log: place(failure(log)).pop("region"), "without lines"),
    "no location": (lambda log: put(failure(log), "locations", []), "no location"),
    "a description that is too long": (
        lambda log: put(rule(log), "fullDescription", {"text": "x" * 1025}),
        "too long",
    ),
    "a severity for security": (
        lambda log: put(rule(log)["properties"], "security-severity", "8"),
        "security-severity",
    ),
    "suppressions": (lambda log: put(failure(log), "suppressions", []), "suppressions"),
}


def rule(log):
    return log["runs"][0]["tool"]["driver"]["rules"][0]


@pytest.mark.parametrize("name", HOSTED)
def test_a_breach_of_a_code_hosts_demands_is_noticed(name):
    spoil, told = HOSTED[name]
    log = copy.deepcopy(UPLOAD)
    assert sarif_rules.hosted(log) == []
    spoil(log)
    assert any(told in line for line in sarif_rules.hosted(log))
