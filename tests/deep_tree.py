"""A folder in a folder in a folder …, taken away again: what removes a tree by calls that nest,
as the test runner does with old temporary folders, would break on it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path


@contextmanager
def deep_tree(folder: Path, depth: int = 1200, **inner: str) -> Iterator[None]:
    """Folders called "d", each in the last, with text files in the innermost by name."""
    handles = [os.open(folder, os.O_RDONLY)]
    names = [name.replace("__", ".") for name in inner]
    try:
        for _ in range(depth):
            os.mkdir("d", dir_fd=handles[-1])
            handles.append(os.open("d", os.O_RDONLY, dir_fd=handles[-1]))
            if len(handles) > 2:
                os.close(handles.pop(0))
        for name, text in zip(names, inner.values(), strict=True):
            made = os.open(name, os.O_CREAT | os.O_WRONLY, 0o644, dir_fd=handles[-1])
            os.write(made, text.encode())
            os.close(made)
        yield
    finally:
        for handle in handles:
            os.close(handle)
        _removed(folder, depth, names)


def _removed(folder: Path, depth: int, names: list[str]) -> None:
    here = os.open(folder, os.O_RDONLY)
    for _ in range(depth):
        inner = os.open("d", os.O_RDONLY, dir_fd=here)
        os.close(here)
        here = inner
    for name in names:
        with suppress(FileNotFoundError):
            os.unlink(name, dir_fd=here)
    for _ in range(depth):
        above = os.open("..", os.O_RDONLY, dir_fd=here)
        os.close(here)
        os.rmdir("d", dir_fd=above)
        here = above
    os.close(here)
