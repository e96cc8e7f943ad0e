"""The bytes of an asset, as many as the options allow."""

from __future__ import annotations

import os
from pathlib import Path
from typing import BinaryIO

from kinelint.errors import AssetError
from kinelint.plain_file import TooLargeError, read_plain
from kinelint.readers.options import ReadOptions

_MEND = "Raise the limit of bytes or split the file."


def read_bytes(path: Path, options: ReadOptions) -> bytes:
    """All of a file.

    Raises:
        AssetError: it holds more than `options.max_bytes`.
        OSError: it cannot be opened, or is no ordinary file.
    """
    try:
        return read_plain(path, options.max_bytes)
    except TooLargeError as error:
        raise AssetError(str(error), path=str(path), mend=_MEND) from error


def refuse_too_large(file: BinaryIO, options: ReadOptions) -> None:
    """Raises AssetError if an open file holds more than `options.max_bytes`."""
    size = os.fstat(file.fileno()).st_size
    if size > options.max_bytes:
        what = f"holds {size} bytes, more than the {options.max_bytes} that may be read"
        raise AssetError(what, mend=_MEND)
