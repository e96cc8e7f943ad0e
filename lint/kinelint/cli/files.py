"""Written files: whole or not at all, and never over a clip or a policy."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from kinelint.errors import PolicyError


def refuse_inputs(target: Path, inputs: Collection[Path], endings: Collection[str]) -> None:
    """Checks before a long run that a file can be written and is no input.

    Raises:
        PolicyError: it is a motion file, a policy or a cue sheet, or its folder does not exist.
    """
    mend = "Name another file for the output."
    if target.suffix.lower() in endings or target.suffix.lower() == ".toml":
        raise PolicyError(
            "will not be written: it has the ending of an input", path=str(target), mend=mend
        )
    if target.exists() and any(one.exists() and target.samefile(one) for one in inputs):
        raise PolicyError("will not be written: it is an input", path=str(target), mend=mend)
    if target.is_dir():
        raise PolicyError("is a folder", path=str(target), mend=mend)
    if not target.parent.is_dir():
        raise PolicyError(
            "cannot be written: its folder does not exist", path=str(target), mend="Make it first."
        )


def write_whole(target: Path, write: Callable[[BinaryIO], object]) -> None:
    """Calls `write` with a new file, which takes the target's place once it is complete.

    Raises:
        PolicyError: the folder does not let us.
    """
    try:
        with _beside(target) as file:
            write(file)
    except OSError as error:
        raise PolicyError(
            f"cannot be written: {error.strerror or error}",
            path=str(target),
            mend="Check the folder's rights and the space left.",
        ) from error


@contextmanager
def _beside(target: Path) -> Iterator[BinaryIO]:
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
        os.chmod(name, 0o666 & ~_umask())  # noqa: PTH101 - a name, not a path of ours
        os.replace(name, target)  # noqa: PTH105
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
