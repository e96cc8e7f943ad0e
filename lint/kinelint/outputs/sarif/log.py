"""The log as a stream of bytes: header, results one at a time, then the tables they point into."""

from __future__ import annotations

import uuid
import zlib
from collections.abc import Iterator
from dataclasses import replace
from typing import Any, BinaryIO

from kinelint.errors import ReportError
from kinelint.outputs.incidents import incidents
from kinelint.outputs.sarif.choice import choose
from kinelint.outputs.sarif.components import Components
from kinelint.outputs.sarif.details import ROOT, SCHEMA_URI, Profile, RunDetails, SarifCounts
from kinelint.outputs.sarif.encode import encoded
from kinelint.outputs.sarif.entries import Entry, Passed, Unfit, assets_in_order, entries
from kinelint.outputs.sarif.identity import Identities
from kinelint.outputs.sarif.invocation import Invocation
from kinelint.outputs.sarif.places import Places
from kinelint.outputs.sarif.results import Results, rule_id_of
from kinelint.outputs.sarif.tables import Artifacts, LogicalLocations
from kinelint.report import Located, Report

# Of a code host: results that it keeps, bytes of the compressed file that it takes.
UPLOAD_CAP = 5000
UPLOAD_BYTES = 10_000_000


def write_sarif(
    report: Report,
    stream: BinaryIO,
    *,
    profile: Profile = "full",
    deterministic: bool = True,
    details: RunDetails | None = None,
    passes: bool = False,
    upload_bytes: int = UPLOAD_BYTES,
) -> SarifCounts:
    """Writes a SARIF 2.1.0 log, minified, one result at a time.

    Args:
        report: the run.
        stream: takes the bytes.
        profile: "full" is true to the standard; "upload" is what code hosts accept: failures
            that no waiver lets pass, lines on every file, the 5,000 worst.
        deterministic: leaves out times, run ids and the command line, so that equal reports make
            equal bytes.
        details: what is known of the run's surroundings.
        passes: writes a result for each rule that found nothing as well (full profile only).
        upload_bytes: the largest compressed size in the upload profile.

    Raises:
        ReportError: an upload would be too large; nothing has been written then.
    """
    details = _settled(details or RunDetails(), deterministic)
    if profile == "upload":
        _refuse_too_large(_Log(report, profile, details, passes=False), upload_bytes)
    log = _Log(report, profile, details, passes=passes and profile == "full")
    for chunk in log.chunks():
        stream.write(chunk)
    return log.counts


def _settled(details: RunDetails, deterministic: bool) -> RunDetails:
    if deterministic:
        return replace(details, run_id="", guid="", started=None, ended=None, command_line="")
    return details if details.guid else replace(details, guid=str(uuid.uuid4()))


def _refuse_too_large(log: _Log, limit: int) -> None:
    compressor = zlib.compressobj(6, zlib.DEFLATED, 31)
    size = 0
    for chunk in log.chunks():
        size += len(compressor.compress(chunk))
    size += len(compressor.flush())
    if size > limit:
        raise ReportError(
            f"the SARIF log for upload would have {size:,} bytes compressed; code hosts take "
            f"{limit:,}",
            mend="Gate fewer assets in one run, or use the full profile.",
        )


class _Log:
    """One log, made once."""

    def __init__(
        self, report: Report, profile: Profile, details: RunDetails, *, passes: bool
    ) -> None:
        self.counts = SarifCounts()
        self._report, self._details, self._passes = report, details, passes
        self._for_host = profile == "upload"
        self._troubles = incidents(report)
        self._components = Components(report.rules, report.version)
        assets = assets_in_order(report, self._troubles)
        policy = (report.policy_path, report.policy_sha256)
        artifacts = Artifacts(assets, policy, details.folder, rooted=not self._for_host)
        self._places = Places(artifacts, LogicalLocations(), lines_always=self._for_host)
        self._fallback = assets[0] if assets else None

    def chunks(self) -> Iterator[bytes]:
        """The bytes of the log, in order."""
        yield b'{"$schema":' + encoded(SCHEMA_URI) + b',"version":"2.1.0","runs":[{'
        yield _members(self._head())
        yield b',"results":['
        cap = UPLOAD_CAP if self._for_host else None
        choice = choose(self._entries(), cap)
        self.counts.left_out = choice.left_out
        yield from self._results(choice.written, choice.flows, choice.any_waived)
        yield b"],"
        yield _members(self._tail(choice.left_out))
        yield b"}]}\n"

    def _entries(self) -> Iterator[Entry]:
        return entries(self._report, self._troubles, passes=self._passes)

    def _results(
        self, written: frozenset[int] | None, flows: frozenset[int], any_waived: bool
    ) -> Iterator[bytes]:
        suppressions = any_waived and not self._for_host
        results = Results(
            self._components, self._places, suppressions=suppressions, for_host=self._for_host
        )
        identities, separator = Identities(), b""
        for number, entry in enumerate(self._entries()):
            # Counted for every entry, so that a profile or a waiver changes no identity.
            identity = identities.of(entry, rule_id_of(entry))
            placed = self._placed(entry)
            if placed is None or (written is not None and number not in written):
                self.counts.withheld += placed is None or not entry.fails or entry.waived
                continue
            made = results.of(placed, identity, flow=number in flows)
            yield separator + encoded(made)
            separator = b","
            _count(self.counts, entry)

    def _placed(self, entry: Entry) -> Entry | None:
        """A code host refuses a log with a result that has no file: give it some, or None."""
        if entry.asset is not None or not self._for_host or self._report.policy_path:
            return entry
        return replace(entry, asset=self._fallback) if self._fallback else None

    def _head(self) -> dict[str, Any]:
        details = self._details
        automation: dict[str, Any] = {"id": f"{details.category.strip('/')}/{details.run_id}"}
        if details.guid:
            automation["guid"] = details.guid
        head: dict[str, Any] = {"tool": self._components.tool(), "automationDetails": automation}
        if self._for_host:
            return head
        if details.repository_uri:
            head["versionControlProvenance"] = [_revision(details)]
        root = {"description": {"text": "The root of the run; its absolute place is left out."}}
        return head | {"originalUriBaseIds": {ROOT: root}}

    def _tail(self, left_out: int) -> dict[str, Any]:
        invocation = Invocation(self._report, self._troubles, self._components, self._places)
        invoked = invocation.made(self._details, notes=not self._for_host, left_out=left_out)
        return {
            "columnKind": "unicodeCodePoints",
            "artifacts": self._places.artifacts.rows(),
            "logicalLocations": self._places.logical.rows(),
            "invocations": [invoked],
        }


def _members(value: dict[str, Any]) -> bytes:
    return encoded(value)[1:-1]


def _revision(details: RunDetails) -> dict[str, Any]:
    known = {"revisionId": details.revision_id, "branch": details.branch}
    made: dict[str, Any] = {"repositoryUri": details.repository_uri}
    made |= {name: value for name, value in known.items() if value}
    return made | {"mappedTo": {"uriBaseId": ROOT}}


def _count(counts: SarifCounts, entry: Entry) -> None:
    what = entry.what
    if isinstance(what, Unfit):
        counts.not_applicable += 1
    elif isinstance(what, Passed):
        counts.passed += 1
    else:
        level = what.level.value if isinstance(what, Located) else "error"
        name = f"{level}s"
        setattr(counts, name, getattr(counts, name) + 1)
        counts.waived += entry.waived
