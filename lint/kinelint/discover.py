"""Which files of a tree are judged, always in the same order."""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from kinelint.errors import PolicyError
from kinelint.globs import any_asset
from kinelint.report import Trouble


@dataclass(frozen=True)
class Found:
    """One file to judge. `shown` is its path from the root of the run, with "/"."""

    path: Path
    shown: str
    size_bytes: int


@dataclass(frozen=True)
class Tree:
    """All files to judge, sorted by `shown`, and the folders that could not be listed."""

    files: tuple[Found, ...]
    troubles: tuple[Trouble, ...] = ()


def discover(
    paths: Sequence[Path],
    root: Path,
    endings: Collection[str],
    only: Sequence[str] = ("**",),
    leave_out: Sequence[str] = (),
) -> Tree:
    """The files under some folders, and the files named themselves.

    A file that is named itself is judged whatever its ending and the patterns say. Hidden files
    and folders are left out; a folder reached twice through links is walked once.

    Args:
        paths: files and folders.
        root: what shown paths start from.
        endings: of motion files, lower case with the dot.
        only: patterns, one of which a file must fit.
        leave_out: patterns, none of which it may fit.

    Raises:
        PolicyError: a path does not exist.
    """
    walk = _Walk(root.resolve(), endings)
    files: dict[str, Found] = {}
    for path in paths:
        for one in walk.below(path):
            fits = any_asset(only, one.shown) and not any_asset(leave_out, one.shown)
            if fits or not path.is_dir():
                files[one.shown] = one
    return Tree(tuple(sorted(files.values(), key=lambda one: one.shown)), tuple(walk.troubles))


def shown_path(path: Path, root: Path) -> str:
    """A path from the root with "/" between its parts, as text that any file can hold."""
    return plain_text(os.path.relpath(path, root).replace(os.sep, "/"))


def plain_text(name: str) -> str:
    """A file's name as text: bytes that are no UTF-8 become a replacement character."""
    return name.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:  # a link to itself: if it is named like a clip, reading it will say so
        return False


class _Walk:
    def __init__(self, root: Path, endings: Collection[str]) -> None:
        self.root = root
        self.endings = endings
        self.seen: set[tuple[int, int]] = set()
        self.troubles: list[Trouble] = []

    def below(self, path: Path) -> Iterator[Found]:
        if not path.exists():
            raise PolicyError("there is no such file or folder", path=str(path))
        if path.is_dir():
            yield from self._under(path.resolve())
        else:
            # The name stays as it was given; only the folder is resolved.
            yield self._found(path.parent.resolve() / path.name)

    def _under(self, top: Path) -> Iterator[Found]:
        """All files below a folder; a tree may be deeper than calls may nest."""
        waiting = [top]
        while waiting:
            folders: list[Path] = []
            for entry in self._entries(waiting.pop()):
                if entry.name.startswith("."):
                    continue
                if _is_folder(entry):
                    folders.append(Path(entry.path))
                elif Path(entry.name).suffix.lower() in self.endings:
                    yield self._found(Path(entry.path))
            # In the order of names: it decides by which way a folder with two is found.
            waiting.extend(reversed(folders))

    def _entries(self, folder: Path) -> list[os.DirEntry[str]]:
        try:
            # Not by the real path: finding that out takes long in a deep tree.
            found = os.stat(folder)  # noqa: PTH116 - as `scandir` sees it
            if (found.st_dev, found.st_ino) in self.seen:
                return []
            self.seen.add((found.st_dev, found.st_ino))
            with os.scandir(folder) as entries:  # closed now, however the listing ends
                return sorted(entries, key=lambda one: one.name)
        except OSError as error:
            shown = shown_path(folder, self.root)
            text = f"the folder cannot be listed: {error.strerror or error}"
            self.troubles.append(Trouble("unreadable-asset", text, path=shown))
            return []

    def _found(self, path: Path) -> Found:
        try:
            size = path.stat().st_size
        except OSError:  # a dangling link: reading it will say what is wrong
            size = 0
        return Found(path, shown_path(path, self.root), size)
