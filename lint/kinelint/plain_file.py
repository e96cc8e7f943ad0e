"""Reads ordinary files and nothing else: a pipe would make the run wait, a device never ends.

An asset tree may come from strangers, and files may change while they are read: no more is read
than is allowed, whatever size the folder tells.
"""

from __future__ import annotations

import errno
import os
import stat
from io import BufferedReader
from pathlib import Path

# Opening a pipe that took a file's place must not wait for a writer.
_FLAGS = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


class TooLargeError(OSError):
    """The file holds more bytes than may be read."""


def open_plain(path: Path) -> BufferedReader:
    """The file, opened for reading.

    Raises:
        OSError: it cannot be opened, or is a folder, a pipe, a socket or a device.
    """
    # Asked before opening, since opening a device may already set something off; and after it,
    # since another file may have come in between.
    _refuse_odd(os.stat(path).st_mode)  # noqa: PTH116 - as below
    handle = os.open(path, _FLAGS)
    try:
        _refuse_odd(os.fstat(handle).st_mode)
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def read_plain(path: Path, most: int) -> bytes:
    """All bytes of the file.

    Raises:
        TooLargeError: it holds more than `most` bytes.
        OSError: as of `open_plain`.
    """
    with open_plain(path) as file:
        size = os.fstat(file.fileno()).st_size
        if size > most:
            raise TooLargeError(f"holds {size} bytes, more than the {most} that may be read")
        # Reading takes the memory that is asked for first: ask for what is there.
        content = file.read(size + 1)
        if len(content) > size:
            content += file.read(most + 1 - len(content))
    if len(content) > most:
        raise TooLargeError(f"grew beyond the {most} bytes that may be read while it was read")
    return content


def _refuse_odd(mode: int) -> None:
    if stat.S_ISDIR(mode):
        raise OSError(errno.EISDIR, "it is a folder")
    if not stat.S_ISREG(mode):
        raise OSError(errno.EINVAL, "it is no ordinary file (a pipe, a socket or a device)")
