"""Bytes to clips, one format a file. `read` picks the reader by the file's content.

Importing this package imports no reader.
"""

from __future__ import annotations

from pathlib import Path

from kinelint.clip import Asset
from kinelint.errors import AssetError, KinelintError
from kinelint.plain_file import open_plain
from kinelint.readers.files import refuse_too_large
from kinelint.readers.options import ReadOptions
from kinelint.readers.registry import Reader, endings, pick
from kinelint.readers.short import short_line, short_notes

__all__ = ["ReadOptions", "Reader", "endings", "read"]

_HEAD_BYTES = 4096


def read(path: Path, options: ReadOptions = ReadOptions()) -> Asset:  # noqa: B008 - frozen
    """All motion in one file.

    Raises:
        AssetError: and nothing else; it names the file, the place in it and the mend.
    """
    try:
        return short_notes(pick(_head(path, options), path).read(path, options))
    except KinelintError as error:
        raise AssetError(
            short_line(error.what),
            path=error.path or str(path),
            place=short_line(error.place, 200),
            mend=error.mend,
            details=error.details,
        ) from error
    except OSError as error:
        what = f"cannot be opened: {error.strerror or error}"
        raise AssetError(what, path=str(path), mend="Check the path and its rights.") from error
    except MemoryError as error:
        what = "needs more memory than there is"
        raise AssetError(what, path=str(path), mend="Split the file.") from error
    except Exception as error:
        # A fault of a reader must cost one asset, never the run.
        what = short_line(f"the reader failed on it: {type(error).__name__}: {error}")
        mend = "Please report this with the file; kinelint should have said what is wrong."
        raise AssetError(what, path=str(path), mend=mend) from error


def _head(path: Path, options: ReadOptions) -> bytes:
    with open_plain(path) as file:
        head = file.read(_HEAD_BYTES)
        refuse_too_large(file, options)
    if not head:
        raise AssetError("the file is empty", mend="Export it again.")
    return head
