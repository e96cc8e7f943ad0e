"""What every worker knows of a run, and what it hands back about a file."""

from __future__ import annotations

import traceback
from collections import OrderedDict
from dataclasses import dataclass, field, replace
from pathlib import Path

from kinelint.anatomy.hints import BodyHints
from kinelint.clip import Asset
from kinelint.cue import Cue
from kinelint.cues import CueSheets
from kinelint.discover import plain_text
from kinelint.engine.steady import read_steady
from kinelint.policy import Policy
from kinelint.readers import ReadOptions

# A skeleton's signature and the policy's entries that speak of it: one figure each.
FigureKey = tuple[str, tuple[int, ...]]
# Enough to read a small tree once only, and no more however large the tree is.
CACHED_BYTES = 16 * 1024 * 1024


@dataclass(frozen=True)
class Context:
    """What every worker knows of a run.

    Attributes:
        policy: with the installed rules.
        cues: all cue sheets.
        root: of the run; paths are shown from there.
    """

    policy: Policy
    cues: CueSheets
    root: Path
    _assets: OrderedDict[str, tuple[int, Asset, str]] = field(
        default_factory=OrderedDict, repr=False, compare=False
    )

    @property
    def options(self) -> ReadOptions:
        """How files are read."""
        limits = self.policy.table.limits
        return ReadOptions(
            sample_rate_hz=self.policy.table.sample_rate_hz,
            max_bytes=limits.max_megabytes * 1024 * 1024,
            max_frames=limits.max_frames,
            max_joints=limits.max_joints,
            max_seconds=limits.read_seconds,
            max_memory_bytes=limits.read_megabytes * 1024 * 1024,
        )

    def cue(self, asset: str, clip: str) -> Cue:
        """What a clip is meant to be."""
        return self.cues.cue(asset, clip)[0]

    def hints(
        self, entries: tuple[int, ...], metres_per_unit: float | None, up_axis: str | None
    ) -> BodyHints:
        """What the policy says of the body of a skeleton, the format's own word being known."""
        table, own = self.policy.table, self.policy.skeleton(entries)
        who = table.figure
        # What the whole tree is said to be in holds only for formats that do not say it.
        unit = table.metres_per_unit if metres_per_unit is None else None
        axis = table.up_axis if up_axis is None else None
        said = BodyHints(
            metres_per_unit=own.metres_per_unit or unit,
            up_axis=own.up_axis or axis,
            stature_m=own.stature_m or who.stature_m,
            sex=who.sex,
            parts=dict(own.parts),
            radii_mm=dict(own.radii_mm),
        )
        return said if who.girth_ratio is None else replace(said, girth_ratio=who.girth_ratio)

    def read(self, path: Path) -> Asset:
        """The asset, from a small store if it was read a moment ago.

        Raises:
            AssetError: it cannot be read.
        """
        return self.read_known(path)[0]

    def read_known(self, path: Path) -> tuple[Asset, str]:
        """The same, with the SHA-256 of the bytes it was read from."""
        key = str(path)
        if key in self._assets:
            self._assets.move_to_end(key)
        else:
            asset, sha256 = read_steady(path, self.options)
            asset = _as_text(asset)
            self._assets[key] = (_bytes_of(asset), asset, sha256)
        _, asset, sha256 = self._assets[key]
        while len(self._assets) > 1 and sum(n for n, *_ in self._assets.values()) > CACHED_BYTES:
            self._assets.popitem(last=False)
        return asset, sha256


def _as_text(asset: Asset) -> Asset:
    """The same with clip names that any report can hold; they may come from odd file names."""
    clips = tuple(replace(one, name=plain_text(one.name)) for one in asset.clips)
    changed = any(a.name != b.name for a, b in zip(clips, asset.clips, strict=True))
    return replace(asset, clips=clips) if changed else asset


def _bytes_of(asset: Asset) -> int:
    clips = sum(c.rotations.nbytes + c.translations.nbytes + c.scales.nbytes for c in asset.clips)
    return clips + sum(skin.vertices.nbytes * 4 for skin in asset.skins)


def short_traceback(error: BaseException) -> str:
    """A traceback without this machine's folders, so that reports can be compared."""
    lines = []
    for frame in traceback.extract_tb(error.__traceback__):
        parts = Path(frame.filename).parts[-2:]
        lines.append(f"{'/'.join(parts)}:{frame.lineno} in {frame.name}: {frame.line}")
    return "\n".join([*lines, f"{type(error).__name__}: {error}"])
