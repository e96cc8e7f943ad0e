"""Keeps inputs that broke the oracle, each fault once."""

from __future__ import annotations

import hashlib
import re
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path


class Found:
    """Writes inputs to a folder, with what went wrong beside them."""

    def __init__(self, kind: str, folder: Path) -> None:
        self.kind = kind
        self.folder = folder
        self.known: set[str] = set()

    @contextmanager
    def fault(self, data: bytes) -> Iterator[None]:
        """Any exception inside is kept, and goes no further: it must not end the run."""
        try:
            yield
        except Exception as error:
            self.keep(data, error)

    def keep(self, data: bytes, error: Exception) -> None:
        """Writes down an input, unless its trace is known but for names and numbers."""
        trace = "".join(traceback.format_exception(error))
        alike = re.sub(r"\d+|'.*?'|\".*?\"", "", trace)
        name = f"{self.kind}-{hashlib.sha256(alike.encode(errors='replace')).hexdigest()[:12]}"
        if name in self.known:
            return
        self.known.add(name)
        self.folder.joinpath(name).write_bytes(data)
        text = self.folder.joinpath(f"{name}.txt")
        text.write_text(trace, encoding="utf-8", errors="replace")
