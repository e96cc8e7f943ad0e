"""What the terminal can show, and the text that goes there."""

from __future__ import annotations

import os
import shutil
import sys

WIDEST = 100


def width() -> int:
    """Cells of a line: the terminal's up to what reads well, 80 in a file or pipe."""
    if not sys.stdout.isatty():
        return 80
    return max(40, min(shutil.get_terminal_size((80, 24)).columns, WIDEST))


def coloured(choice: str) -> bool:
    """Whether to use colours; see https://no-color.org for the variable."""
    if choice != "auto":
        return choice == "always"
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR")
