"""How a finding evolves, as a code flow of two or three steps: start, worst, end (3.36)."""

from __future__ import annotations

from typing import Any

from kinelint.outputs.sarif.encode import finite
from kinelint.outputs.sarif.messages import message
from kinelint.outputs.sarif.places import Places, time_at
from kinelint.outputs.wording import amount, clock, prose
from kinelint.report import AssetReport, ClipReport, Located

# Each flow doubles the size of a result: only the worst findings have one.
MOST = 1000


def worth_a_flow(finding: Located) -> bool:
    """One frame has no course."""
    return finding.last > finding.first


def code_flow(
    places: Places, asset: AssetReport, clip: ClipReport, finding: Located, *, escape_braces: bool
) -> dict[str, Any]:
    """The course of one finding."""
    steps = {finding.first: "it starts", finding.last: "it ends"}
    steps[finding.worst] = "the worst frame"
    flow = []
    for order, (frame, what) in enumerate(sorted(steps.items()), start=1):
        value = _value(finding, frame)
        said = f"Frame {frame} ({clock(time_at(finding, frame))}): {what}"
        text = f"{said}, {value}." if value else f"{said}."
        place = places.of_finding(asset, clip, finding, frames=(frame, frame))
        place["message"] = message(text, escape_braces=escape_braces)
        step: dict[str, Any] = {"location": place, "executionOrder": order}
        step["importance"] = "essential" if frame == finding.worst else "important"
        if value:
            name = prose(finding.trace.name) if finding.trace else ""
            step["state"] = {name or "measured": {"text": value}}
        flow.append(step)
    return {"threadFlows": [{"locations": flow}]}


def _value(finding: Located, frame: int) -> str:
    trace = finding.trace
    if trace is not None and 0 <= frame - trace.first < len(trace.values):
        value = trace.values[frame - trace.first]
        return amount(value, trace.unit) if finite(value) else ""
    if frame == finding.worst and finding.measured is not None and finite(finding.measured):
        return amount(finding.measured, finding.unit)
    return ""
