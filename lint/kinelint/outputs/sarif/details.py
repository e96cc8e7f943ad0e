"""What a log says besides the report: which run it is, where it ran, what was written."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

Profile = Literal["full", "upload"]

SCHEMA_URI = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)
ROOT = "SRCROOT"


@dataclass(frozen=True, slots=True)
class RunDetails:
    """The surroundings of a run.

    Attributes:
        category: runs of one category follow one another (`automationDetails.id`).
        folder: where the root of the run lies below the root of the repository.
        repository_uri, revision_id, branch: the revision that was checked, if known.
        run_id, guid, started, ended, command_line: left out of a deterministic log.
    """

    category: str = "kinelint"
    folder: str = ""
    repository_uri: str = ""
    revision_id: str = ""
    branch: str = ""
    run_id: str = ""
    guid: str = ""
    started: datetime | None = None
    ended: datetime | None = None
    command_line: str = ""


@dataclass(slots=True)
class SarifCounts:
    """What was written into a log, and what was not.

    `left_out` counts findings over the cap of the upload profile; `withheld` those results that
    this profile has no place for (waived, not applicable).
    """

    errors: int = 0
    warnings: int = 0
    notes: int = 0
    not_applicable: int = 0
    passed: int = 0
    waived: int = 0
    left_out: int = 0
    withheld: int = 0

    @property
    def results(self) -> int:
        """Results in the log, of every kind."""
        return self.errors + self.warnings + self.notes + self.not_applicable + self.passed


def utc(moment: datetime) -> str:
    """As SARIF wants it (3.9)."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
