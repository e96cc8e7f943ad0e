"""What the whole gate must do with a hostile file among others."""

from __future__ import annotations

import io
import json
import warnings
from pathlib import Path

from hostile.oracle import TIGHT, check_text, hold, rules
from kinelint.engine import run
from kinelint.errors import PolicyError
from kinelint.outputs.cells import cell_width
from kinelint.outputs.console import render
from kinelint.outputs.json_report import dump
from kinelint.outputs.sarif import write_sarif
from kinelint.policy import Policy, PolicyTable
from kinelint.report import Outcome, Report, Verdict
from outputs.sarif_rules import breaches, validator

SCHEMA = validator()
WIDTH = 80
LIMITS = {
    "max_frames": TIGHT.max_frames,
    "max_joints": TIGHT.max_joints,
    "max_megabytes": TIGHT.max_bytes >> 20,
}


def policy() -> Policy:
    """All rules at their defaults, small limits."""
    return Policy(PolicyTable.model_validate({"limits": LIMITS}), rules())


def judge_and_check(*paths: Path) -> Report | PolicyError:
    """Runs the gate in this process and holds its report to the rules.

    Returns the error if no clip was there to be judged.
    """
    try:
        # A warning would stand in people's terminals between the lines of the report.
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            report = run(list(paths), policy(), workers=0)
    except PolicyError as error:
        if "holds a clip" not in error.what:
            raise
        return error
    check_report(report)
    return report


def check_report(report: Report) -> None:
    """Nothing of ours failed, each trouble is one, and every output can be made."""
    for asset in report.assets:
        for one in asset.troubles:
            native = one.kind == "unreadable-asset"  # a child's last words
            hold(native or not one.details, f"a fault of ours: {one.text}\n{one.details}")
            hold(one.kind in ("unreadable-asset", "misread-body"), f"{one.kind}: {one.text}")
        unreadable = [one for one in asset.troubles if one.kind == "unreadable-asset"]
        hold(len({one.clip for one in unreadable}) == len(unreadable), "one fault, two troubles")
        for clip in asset.clips:
            for result in clip.results:
                crashed = result.outcome is Outcome.CRASHED
                hold(not crashed, f"{result.rule_id} crashed: {result.reason}\n{result.details}")
    troubled = bool(report.troubles) or any(asset.troubles for asset in report.assets)
    hold((report.verdict is Verdict.INCOMPLETE) == troubled, f"verdict {report.verdict}")
    check_console(report)
    check_files(report)


def check_console(report: Report) -> None:
    """80 columns, and nothing that a terminal obeys."""
    for line in render(report, width=WIDTH).splitlines():
        hold(cell_width(line) <= WIDTH, f"{cell_width(line)} columns: {line!r}")
        check_text(line, "console")


def check_files(report: Report) -> None:
    """JSON that reads back, SARIF that fits the standard's schema."""
    json.loads(dump(report))
    stream = io.BytesIO()
    write_sarif(report, stream)
    faults = breaches(json.loads(stream.getvalue()), SCHEMA)
    hold(not faults, f"SARIF: {faults[:1]}")
