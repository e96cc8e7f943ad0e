"""Hands spoilt FBX files to the reader, one by one, and holds what comes out to the rules."""

from __future__ import annotations

import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from hostile.oracle import TIGHT, read_and_check
from kinelint.clip import Asset, Clip
from kinelint.errors import AssetError
from kinelint.readers import ReadOptions
from readers.fbx_writer_checks import positions_m

# A file that does nothing but waste time must not take longer than this.
LONGEST_S = TIGHT.max_seconds / 2
# How the host tells of a child that a file has cost its life.
_LOST = ("the FBX library", "the process that reads FBX", "the child that reads FBX")


@dataclass
class Held:
    """Reads files in one folder and counts what became of them."""

    folder: Path
    options: ReadOptions = TIGHT
    came: Counter[str] = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)

    def read(self, data: bytes, name: str = "spoilt.fbx", label: str = "") -> Asset | AssetError:
        """An asset or the one error; Broken if anything else."""
        path = self.folder / name
        path.write_bytes(data)
        found, took_s = self._timed(path)
        if took_s >= LONGEST_S:
            # What else the machine does holds up one reading; a file that wastes time, each.
            found, took_s = self._timed(path)
        assert took_s < LONGEST_S, f"{label}: {took_s:.1f} s"
        if isinstance(found, Asset):
            self.came["read"] += 1
        elif found.what.startswith(_LOST):
            self.came["lost"] += 1
            self.lost.append(f"{label}: {found.what}")
        else:
            self.came["refused"] += 1
        return found

    def _timed(self, path: Path) -> tuple[Asset | AssetError, float]:
        began = time.monotonic()
        found = read_and_check(path, self.options)
        return found, time.monotonic() - began

    def refused(self, data: bytes, label: str = "") -> AssetError:
        """The error of a file that must not be read."""
        found = self.read(data, label=label)
        assert isinstance(found, AssetError), f"{label}: read as {found}"
        return found

    def clip(self, data: bytes, label: str = "") -> Clip:
        """The clip of a file that must be read."""
        found = self.read(data, label=label)
        assert isinstance(found, Asset), f"{label}: {found}"
        (clip,) = found.clips
        return clip


def same_motion(found: Asset, whole: Asset) -> bool:
    """Whether every clip is one of the whole file's, joint for joint."""
    theirs = {clip.name: clip for clip in whole.clips}
    for clip in found.clips:
        other = theirs.get(clip.name)
        if other is None or clip.skeleton.names != other.skeleton.names:
            return False
        if clip.frames != other.frames:
            return False
        if not np.allclose(positions_m(clip), positions_m(other), atol=1e-6):
            return False
    return len(found.clips) == len(whole.clips)
