"""A file's motion and its digest as of one moment: what changes meanwhile is an error.

Trees are judged while exporters write into them. A clip read from the first half of an old file
and the second half of a new one, or reported under the digest of another file, would be worse
than no verdict.
"""

from __future__ import annotations

import hashlib
import os
import time
from pathlib import Path

from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.plain_file import open_plain
from kinelint.readers import ReadOptions, read

# File systems tell times in steps of up to this: a younger file may change without showing it.
_COARSEST_S = 2.5

_Stamp = tuple[int, int, int, int]


def read_steady(path: Path, options: ReadOptions) -> tuple[Asset, str]:
    """All motion in a file, and the SHA-256 of the bytes it was read from.

    Raises:
        AssetError: it cannot be read, or it changed while it was.
    """
    before, sha256 = _stamp(path), sha256_of(path)
    try:
        asset = read(path, options)
    except AssetError as error:
        if _changed(path, before, sha256):
            raise changed(path) from error
        raise
    if _changed(path, before, sha256):
        raise changed(path)
    return asset, sha256


def changed(path: Path) -> AssetError:
    """What is said of a file that did not keep still."""
    mend = "Run again when nothing writes to it."
    return AssetError("changed while it was being read", path=str(path), mend=mend)


def sha256_of(path: Path) -> str:
    """Of a file's bytes; "" if it cannot be read."""
    try:
        with open_plain(path) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError:
        return ""


def _stamp(path: Path) -> _Stamp | None:
    try:
        found = os.stat(path)  # noqa: PTH116 - as elsewhere, links are followed
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns, found.st_ino, found.st_dev


def _changed(path: Path, before: _Stamp | None, sha256: str) -> bool:
    after = _stamp(path)
    if after == before and (after is None or time.time() - after[1] / 1e9 > _COARSEST_S):
        return False
    # Touched or copied over is not changed.
    return sha256_of(path) != sha256
