"""How bad a finding is within one run, to sort by and to cap."""

from __future__ import annotations

from kinelint.finding import Level
from kinelint.report import Located

_BASE = {Level.ERROR: 70.0, Level.WARNING: 40.0, Level.NOTE: 10.0}


def rank_of(finding: Located) -> float:
    """An error from 70, a warning from 40, a note from 10; up to 29 more by the excess."""
    base = _BASE[finding.level]
    measured, limit = finding.measured, finding.limit
    if measured is None or limit is None or not abs(measured) > abs(limit):
        return base
    return round(base + 29.0 * (1.0 - abs(limit) / abs(measured)), 1)
