"""Where the policy is, and which folder the run's paths start from."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

POLICY_NAME = "kinelint.toml"


def find_policy(paths: Sequence[Path]) -> Path | None:
    """The nearest policy: in or above the given paths up to a repository's root, then here.

    Several paths must share it: the search starts at the folder that holds them all.
    """
    start = common_folder(paths) if paths else Path.cwd()
    for folder in (*_up_to_repository(start), Path.cwd()):
        if (folder / POLICY_NAME).is_file():
            return folder / POLICY_NAME
    return None


def root_of(paths: Sequence[Path], policy_root: Path | None) -> Path:
    """The folder that reports and patterns start from.

    The policy's own root if all paths lie below it; else the repository that holds them all,
    else the current folder if it does, else the folder that holds them all.
    """
    if policy_root is not None and all(below(one, policy_root) for one in paths):
        return policy_root.resolve()
    shared = common_folder(paths) if paths else Path.cwd()
    repository = repository_of(shared)
    if repository is not None:
        return repository
    here = Path.cwd()
    return here if below(shared, here) else shared


def repository_of(folder: Path) -> Path | None:
    """The root of the repository that a folder lies in."""
    *_, last = _up_to_repository(folder)
    return last if _is_repository(last) else None


def below(path: Path, folder: Path) -> bool:
    """Whether a path is the folder or lies in it."""
    return path.resolve().is_relative_to(folder.resolve())


def common_folder(paths: Sequence[Path]) -> Path:
    """The folder that holds all paths; a single folder is its own."""
    real = [one.resolve() for one in paths]
    folders = [one if one.is_dir() else one.parent for one in real]
    try:
        return Path(os.path.commonpath(folders))
    except ValueError:  # on different drives
        return folders[0]


def _up_to_repository(folder: Path) -> Iterator[Path]:
    """The folder and those above it, the root of a repository being the last."""
    for one in (folder.resolve(), *folder.resolve().parents):
        yield one
        if _is_repository(one):
            return


def _is_repository(folder: Path) -> bool:
    return any((folder / name).exists() for name in (".git", ".hg", ".svn"))
