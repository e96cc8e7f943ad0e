"""Real motion files, which the repository does not hold.

Point KINELINT_TEST_DATA at a folder of them, or keep it at ../shared/data beside the repository.
Tests that need one are skipped where it is absent.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

_BESIDE = Path(__file__).resolve().parents[2] / "shared" / "data"


def folder() -> Path:
    """Where the files would be."""
    return Path(os.environ.get("KINELINT_TEST_DATA") or _BESIDE)


def real(name: str) -> Path:
    """The path of a file, as "bvh/walk.bvh"; skips the test if it is absent."""
    path = folder() / name
    if not path.is_file():
        pytest.skip(f"real motion file {name} is not here (KINELINT_TEST_DATA)")
    return path
