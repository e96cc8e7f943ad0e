"""Made reports as SARIF logs, for tests."""

from __future__ import annotations

import io
import json

from kinelint.outputs.sarif import write_sarif
from outputs.sarif_rules import validator

SCHEMA = validator()
PROFILES = ("full", "upload")


def raw(report, **options):
    stream = io.BytesIO()
    counts = write_sarif(report, stream, **options)
    return stream.getvalue(), counts


def run_of(report, **options):
    data, _ = raw(report, **options)
    return json.loads(data)["runs"][0]


def by_rule(run, rule_id):
    """Failures of a rule that no waiver lets pass."""
    return [
        one
        for one in run["results"]
        if one["ruleId"] == rule_id and one["kind"] == "fail" and not one.get("suppressions")
    ]
