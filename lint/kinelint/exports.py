"""Working files and their exports: paired by the policy's patterns, recorded by content.

The record is a small TOML file beside the policy, sorted, one table a pair:

```toml
["clips/haul.glb"]
source = "work/haul.bvh"
source_sha256 = "…"
export_sha256 = "…"
```
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import tomli_w

from kinelint.cue import Exported
from kinelint.discover import shown_path
from kinelint.errors import PolicyError
from kinelint.pair_rule import ExportPair
from kinelint.plain_file import open_plain
from kinelint.toml_places import read_toml

PLACE = "{name}"
_SHA256 = re.compile(r"[0-9a-f]{64}")
_HEAD = "# What each export came from, by content. Written by `kinelint exports --record`.\n\n"


@dataclass(frozen=True)
class Pattern:
    """One `[[export]]` of the policy: paths from its root; "{name}" is what both share."""

    source: str
    export: str

    def fault(self) -> str:
        """What is wrong with it; "" if nothing."""
        for word, text in (("source", self.source), ("export", self.export)):
            if text.count(PLACE) > 1:
                return f"{word} has {PLACE} more than once"
            parts = text.split("/")
            if text.startswith("/") or "\\" in text or ".." in parts or ":" in parts[0]:
                return f"{word} is no path with / from the policy's root"
        if (PLACE in self.source) != (PLACE in self.export):
            return f"only one of source and export has {PLACE}"
        return "source and export are one file" if self.source == self.export else ""

    def bonds(self, files: Sequence[str]) -> Iterator[Exported]:
        """A pair for every working file among some paths."""
        before, place, after = self.source.partition(PLACE)
        for path in files:
            if not place:
                name = Path(path).stem if path == self.source else ""
            else:
                long = len(path) > len(before) + len(after)
                fits = long and path.startswith(before) and path.endswith(after)
                name = path[len(before) : len(path) - len(after)] if fits else ""
            if name:
                yield Exported(name, path, self.export.replace(PLACE, name))


def pairs(patterns: Sequence[Pattern], root: Path, record: Path) -> list[ExportPair]:
    """Every working file under a folder with its export, sorted by path.

    Raises:
        PolicyError: the record is wrong.
    """
    if not patterns:
        return []
    known = read_record(record)
    files = sorted(_files(root))
    bonds = {(one.source, one.export): one for pattern in patterns for one in pattern.bonds(files)}
    return [_pair(bond, root, known) for _, bond in sorted(bonds.items())]


def _pair(bond: Exported, root: Path, known: Mapping[str, Mapping[str, str]]) -> ExportPair:
    said = known.get(bond.export)
    told = said if said is not None and said["source"] == bond.source else None
    return ExportPair(
        bond,
        sha256(root / bond.source),
        sha256(root / bond.export),
        None if told is None else (told["source_sha256"], told["export_sha256"]),
    )


def _files(root: Path) -> Iterator[str]:
    """Paths of all files that are not hidden; a linked folder is not followed."""
    for folder, folders, names in os.walk(root):
        folders[:] = sorted(one for one in folders if not one.startswith("."))
        for name in names:
            if not name.startswith("."):
                yield shown_path(Path(folder) / name, root)


def sha256(path: Path) -> str:
    """Of a file's bytes; "" if there is no such file."""
    try:
        with open_plain(path) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def read_record(path: Path) -> dict[str, dict[str, str]]:
    """Export to source and both digests; nothing if there is no record.

    Raises:
        PolicyError: it cannot be read, or an entry is not as it was written.
    """
    if not path.is_file():
        return {}
    file = read_toml(path, path.name)
    for export, said in file.data.items():
        whole = isinstance(said, dict) and isinstance(said.get("source"), str)
        digests = [said.get(f"{one}_sha256") for one in ("source", "export")] if whole else [None]
        if not all(isinstance(one, str) and _SHA256.fullmatch(one) for one in digests):
            raise PolicyError(
                f"the record of {export!r} is not as it was written",
                path=file.path,
                place=f"line {file.line((export,))}",
                mend="Delete the entry and run `kinelint exports --record`.",
            )
    return file.data


def record_text(found: Sequence[ExportPair], *, keep_stale: bool = True) -> str:
    """The record of all pairs that have an export, sorted by it.

    With `keep_stale` the entry of a stale export stays as it is: to write it anew would hide it.
    """
    rows = {}
    for one in sorted(found, key=lambda one: one.bond.export):
        if one.source_sha256 and one.export_sha256:
            kept = one.recorded if keep_stale and one.is_stale else None
            source, export = kept or (one.source_sha256, one.export_sha256)
            rows[one.bond.export] = {
                "source": one.bond.source,
                "source_sha256": source,
                "export_sha256": export,
            }
    return _HEAD + tomli_w.dumps(rows)
