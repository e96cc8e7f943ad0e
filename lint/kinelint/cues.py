"""The cue sheet, `cues.toml`: what each clip is meant to be.

```toml
[[cue]]
clips = ["crew/*.glb#Walk*"]
class = "locomotion"
loop = true
```

Entries that fit a clip are merged in their order: of single values the later one holds, lists
(parts, contacts, surfaces) are gathered. A sheet named by the policy, or beside it, has patterns
that start at the root of the run; one that lies beside clips has patterns from its own folder.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import islice
from pathlib import Path

from pydantic import ValidationError

from kinelint.cue import Cue
from kinelint.cue_checks import problems_in
from kinelint.cue_merge import merged
from kinelint.cue_tables import CueSheetTable, HolderTable, PropTable
from kinelint.discover import shown_path
from kinelint.errors import PolicyError
from kinelint.globs import any_clip
from kinelint.toml_check import MOST_PROBLEMS, checked, problems_of, raise_if_any
from kinelint.toml_places import TomlFile, read_toml

CUES_NAME = "cues.toml"


@dataclass(frozen=True)
class CueSheet:
    """A sheet as read. `prefix` is its folder from the root of the run, "" for the root."""

    table: CueSheetTable
    file: TomlFile
    prefix: str = ""

    def entries(self, asset: str, clip: str) -> tuple[int, ...]:
        """Which entries fit a clip; the asset's path is from the root of the run."""
        if not asset.startswith(self.prefix):
            return ()
        path = asset[len(self.prefix) :]
        return tuple(
            number for number, one in enumerate(self.table.cue) if any_clip(one.clips, path, clip)
        )

    def props(self, asset: str, clip: str) -> tuple[PropTable, ...]:
        """The props that are in a clip."""
        if not asset.startswith(self.prefix):
            return ()
        path = asset[len(self.prefix) :]
        return tuple(one for one in self.table.prop if any_clip(one.clips, path, clip))


@dataclass(frozen=True)
class CueSheets:
    """All sheets of a run, outer folders first."""

    sheets: tuple[CueSheet, ...] = ()

    def cue(self, asset: str, clip: str) -> tuple[Cue, tuple[tuple[int, int], ...]]:
        """What a clip is meant to be, and the (sheet, entry) numbers that say so."""
        fits = [
            (number, entry)
            for number, sheet in enumerate(self.sheets)
            for entry in sheet.entries(asset, clip)
        ]
        tables = [self.sheets[number].table.cue[entry] for number, entry in fits]
        props = [one for sheet in self.sheets for one in sheet.props(asset, clip)]
        return merged(tables, props, self._holders), tuple(fits)

    @cached_property
    def _holders(self) -> dict[str, HolderTable]:
        return {one.name: one for sheet in self.sheets for one in sheet.table.holder}


def load_sheets(named: Path | None, folders: Iterable[Path], root: Path) -> CueSheets:
    """The sheets of a run.

    Args:
        named: the policy's sheet, whose patterns start at the root; other sheets are then left
            alone.
        folders: that hold assets; their sheets, and those of the folders above them up to the
            root, are read if none is named.
        root: of the run.

    Raises:
        PolicyError: one is wrong.
    """
    if named is not None:
        return CueSheets((load_sheet(named, "", shown_path(named, root)),))
    above = {one for folder in folders for one in (folder, *folder.parents)}
    held = {one for one in above if one.is_relative_to(root) and (one / CUES_NAME).is_file()}
    sheets: list[CueSheet] = []
    for folder in sorted(held, key=lambda one: one.parts):
        prefix = "" if folder == root else shown_path(folder, root) + "/"
        sheets.append(load_sheet(folder / CUES_NAME, prefix, prefix + CUES_NAME, sheets))
    return CueSheets(tuple(sheets))


def load_sheet(
    path: Path, prefix: str = "", shown: str = "", outer: Sequence[CueSheet] = ()
) -> CueSheet:
    """Reads and checks a sheet; it may name the props and holders of `outer` ones.

    Raises:
        PolicyError: it cannot be read, or is wrong; `PolicyErrors` if in several ways.
    """
    file = read_toml(path, shown)
    problems: list[PolicyError] = []
    table: CueSheetTable | None = None
    try:
        table = checked(CueSheetTable, file.data)
    except ValidationError as error:
        problems = problems_of(error, CueSheetTable, file)
    props = [one.name for sheet in outer for one in sheet.table.prop]
    holders = [one.name for sheet in outer for one in sheet.table.holder]
    more = problems_in(file, props, holders)
    raise_if_any([*problems, *islice(more, MOST_PROBLEMS + 1)])
    assert table is not None
    return CueSheet(table, file, prefix)
