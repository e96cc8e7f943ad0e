"""How a child is started: as a plain interpreter with our modules, on every system alike."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def interpreter() -> Sequence[str]:
    """The start of its command line."""
    # -P: a folder that happens to be current must not bring modules. UTF-8 mode decides how odd
    # file names are spelled, and both sides must agree. Warnings are of no use to anyone there.
    utf8 = f"utf8={int(sys.flags.utf8_mode)}"
    return (sys.executable, "-P", "-X", utf8, "-W", "ignore")


def environment() -> dict[str, str]:
    """Ours, with our module path, and one thread for each child: there may be one a core."""
    path = os.pathsep.join(str(Path(one or ".").absolute()) for one in sys.path)
    fixed = {"PYTHONPATH": path, "PYTHONSAFEPATH": "1"}
    # Each of many arenas of the allocator would count whole against the limit of memory.
    kind = {"MALLOC_ARENA_MAX": "2", **dict.fromkeys(_ONE_THREAD, "1")}
    return {**kind, **os.environ, **fixed}


def own_group() -> dict[str, Any]:
    """An interrupt from the keyboard goes to the parent alone."""
    if sys.platform == "win32":
        flags = subprocess.CREATE_NEW_PROCESS_GROUP | subprocess.CREATE_NO_WINDOW
        return {"creationflags": flags}
    return {"start_new_session": True}
