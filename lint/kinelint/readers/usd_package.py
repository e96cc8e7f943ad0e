"""Checks a .usdz before anything else touches it.

Source: USDZ file format specification (openusd.org): a zip whose entries are neither
compressed nor encrypted, and whose first entry is a USD layer.
"""

from __future__ import annotations

import posixpath
import zipfile
from collections.abc import Iterator
from pathlib import Path

from kinelint.errors import AssetError
from kinelint.readers.usd_sniff import ENDINGS

_MEND = "Package it again with a tool that follows the USDZ specification."
_MOST_ENTRIES = 10_000
_ENCRYPTED = 0x1


def check_package(path: Path) -> frozenset[str]:
    """The names of the package's entries.

    Raises:
        AssetError: it is no zip, or breaks a rule of the standard that keeps readers safe.
    """

    def error(what: str, place: str = "") -> AssetError:
        return AssetError(what, path=str(path), place=place, mend=_MEND)

    try:
        with zipfile.ZipFile(path) as package:
            entries = package.infolist()
    except (zipfile.BadZipFile, ValueError, NotImplementedError, EOFError) as problem:
        raise error(f"is no readable zip: {problem}") from problem
    if not entries or len(entries) > _MOST_ENTRIES:
        raise error(f"holds {len(entries)} entries; 1 to {_MOST_ENTRIES} are read")
    for what, entry in _faults(entries, path.stat().st_size):
        raise error(what, entry[:200])
    return frozenset(entry.filename for entry in entries)


def _faults(entries: list[zipfile.ZipInfo], size: int) -> Iterator[tuple[str, str]]:
    """What is wrong with which entry."""
    first = min(entries, key=lambda one: one.header_offset)
    if posixpath.splitext(first.filename)[1].lower() not in ENDINGS[:3]:
        yield "the first entry of the package is no USD layer", first.filename
    seen: set[str] = set()
    total = 0
    for one in entries:
        name = one.filename
        total += one.file_size
        if one.compress_type != zipfile.ZIP_STORED or one.file_size != one.compress_size:
            yield "the entry is compressed, which the standard does not allow", name
        if one.flag_bits & _ENCRYPTED:
            yield "the entry is encrypted", name
        if name in seen:
            yield "the package holds this entry twice", name
        if _leads_out(name):
            yield "the entry's name leads out of the package", name
        if total > size:
            # Entries that share their bytes: a small file that claims to be a huge one.
            yield "the entries claim more bytes than the file holds", name
        seen.add(name)


def _leads_out(name: str) -> bool:
    parts = name.split("/")
    return not name or name.startswith("/") or ".." in parts or any(c in name for c in "\\\0:[]")
