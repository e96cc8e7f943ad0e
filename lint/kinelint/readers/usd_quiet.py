"""Loads usd-core so that it prints nothing and leaves no files; to be imported before it is.

When it ends the process on a damaged file it writes a report into the folder for temporary files,
one each time. It asks for that folder when it is loaded.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def _without_temporary_folder() -> Iterator[None]:
    before = os.environ.get("TMPDIR")
    os.environ["TMPDIR"] = os.devnull
    try:
        yield
    finally:
        if before is None:
            del os.environ["TMPDIR"]
        else:
            os.environ["TMPDIR"] = before


with _without_temporary_folder():
    from pxr import UsdUtils, Work

# One file is little work, threads take memory, and without them a crash is the same each time.
Work.SetConcurrencyLimit(1)

# Takes what usd-core would print.
_DIAGNOSTICS = UsdUtils.CoalescingDiagnosticDelegate()


def drop_diagnostics() -> None:
    """Forget what usd-core had to say, lest it pile up."""
    _DIAGNOSTICS.TakeUncoalescedDiagnostics()
