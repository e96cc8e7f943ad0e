"""`kinelint exports`: what was exported from what, and the record of it."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from kinelint.cli.files import write_whole
from kinelint.cli.gate import policy_for
from kinelint.engine.exported import pairs_of
from kinelint.errors import PolicyError
from kinelint.exports import record_text
from kinelint.outputs.wording import counted, prose
from kinelint.pair_rule import ExportPair


def run(asked: argparse.Namespace) -> int:
    """Lists the pairs; writes the record where that is asked for."""
    policy = policy_for(asked.policy, [Path(asked.folder)])
    if policy.file is None or not policy.table.export:
        where = policy.file.path if policy.file else ""
        mend = 'Add [[export]] source = "work/{name}.bvh", export = "clips/{name}.glb".'
        raise PolicyError("the policy pairs no working files with exports", path=where, mend=mend)
    found = pairs_of(policy)
    for line in _lines(found):
        print(line)
    if asked.record or asked.record_stale:
        record = policy.folder / policy.table.exports_record
        text = record_text(found, keep_stale=not asked.record_stale)
        write_whole(record, lambda stream: stream.write(text.encode()))
        kept = sum(bool(one.export_sha256) for one in found)
        print(f"{counted(kept, 'export')} recorded in {record.name}.")
    return 0


def _lines(found: list[ExportPair]) -> Iterator[str]:
    for one in found:
        yield f"{_state(one):<12}{prose(one.bond.source)} -> {prose(one.bond.export)}"
    if not found:
        yield "No working file fits the patterns of the policy."


def _state(one: ExportPair) -> str:
    if not one.export_sha256:
        return "missing"
    if one.is_stale:
        return "stale"
    return "current" if one.recorded == (one.source_sha256, one.export_sha256) else "unrecorded"
