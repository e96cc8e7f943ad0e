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

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, ValidationError

from kinelint.anatomy.parts import ARM, DIGITS, FINGERS, LEG, PARTS, SIDES
from kinelint.cue import Cue, Surface, WantedContact
from kinelint.discover import shown_path
from kinelint.errors import PolicyError
from kinelint.globs import any_clip
from kinelint.toml_check import (
    MOST_PROBLEMS,
    Table,
    checked,
    problems_of,
    raise_if_any,
    unknown,
)
from kinelint.toml_places import Path as Place
from kinelint.toml_places import TomlFile, read_toml

CUES_NAME = "cues.toml"
# A hundred kilometres: beyond any stage, and far from where arithmetic ends.
_Metres = Annotated[float, Field(ge=-1e5, le=1e5)]
_MetresPerS = Annotated[float, Field(ge=-1e4, le=1e4)]
# Words for both sides of a part ("hand"), which wanted contacts keep as they are.
PAIRS = (*ARM, *DIGITS, *LEG)
_PARTS_HINT = "Parts are as left_hand; hand means both, fingers all of them."


class ContactTable(Table):
    """Two parts that are meant to touch."""

    parts: tuple[str, str] = Field(description='As ["left_hand", "right_forearm"].')
    depth_mm: float | None = Field(
        default=None, ge=0, le=1e5, description="How deep; any depth if left out."
    )


class SurfaceTable(Table):
    """Something to stand on besides the floor: an upright box, Y up."""

    name: str = Field(default="surface", description="For people: step, crate, ledge.")
    top_m: _Metres = Field(description="Height of its top.")
    from_m: tuple[_Metres, _Metres] = Field(description="One corner, [x, z].")
    to_m: tuple[_Metres, _Metres] = Field(description="The opposite corner, [x, z].")


class CueTable(Table):
    """What some clips are meant to be."""

    clips: tuple[str, ...] = Field(
        min_length=1, description='Patterns, as "crew/*.glb#Walk*" or "idle/**".'
    )
    class_: str | None = Field(
        default=None, alias="class", description="Class that scopes may name."
    )
    loop: bool | None = Field(default=None, description="The last frame goes on into the first.")
    in_place: bool | None = Field(default=None, description="Feet walk while the figure stays.")
    travel_m_per_s: tuple[_MetresPerS, _MetresPerS, _MetresPerS] | None = Field(
        default=None, description="Velocity that an in-place clip stands for, [x, y, z], Y up."
    )
    additive: bool | None = Field(default=None, description="A difference to add to another clip.")
    only_parts: tuple[str, ...] = Field(default=(), description="The parts a partial clip moves.")
    not_captured: tuple[str, ...] = Field(default=(), description="Parts that nobody recorded.")
    ground_m: _Metres | None = Field(default=None, description="Height of the floor.")
    contact: tuple[ContactTable, ...] = Field(default=(), description="Contacts that are wanted.")
    surface: tuple[SurfaceTable, ...] = Field(default=(), description="What else carries feet.")


class CueSheetTable(Table):
    """A cue sheet: what the clips of a tree are meant to be."""

    cue: tuple[CueTable, ...] = Field(default=(), description="Entries; those that fit are merged.")


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
        return _merged(tables), tuple(fits)


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
    sheets = []
    for folder in sorted(held, key=lambda one: one.parts):
        prefix = "" if folder == root else shown_path(folder, root) + "/"
        sheets.append(load_sheet(folder / CUES_NAME, prefix, prefix + CUES_NAME))
    return CueSheets(tuple(sheets))


def load_sheet(path: Path, prefix: str = "", shown: str = "") -> CueSheet:
    """Reads and checks a sheet.

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
    raise_if_any([*problems, *islice(_part_problems(file), MOST_PROBLEMS + 1)])
    assert table is not None
    return CueSheet(table, file, prefix)


def _part_problems(file: TomlFile) -> Iterator[PolicyError]:
    entries = file.data.get("cue")
    for number, entry in enumerate(entries if isinstance(entries, list) else ()):
        for key in ("only_parts", "not_captured"):
            for index, part in enumerate(_words(entry, key)):
                if not expanded(part):
                    place: Place = ("cue", number, key, index)
                    yield unknown("part", part, _families(), file, place, _PARTS_HINT)
        contacts = entry.get("contact") if isinstance(entry, dict) else ()
        for index, contact in enumerate(contacts if isinstance(contacts, list) else ()):
            for which, part in enumerate(_words(contact, "parts")):
                if part not in PARTS and part not in PAIRS:
                    place = ("cue", number, "contact", index, "parts", which)
                    valid = (*PARTS, *PAIRS)
                    yield unknown("part", part, valid, file, place, _PARTS_HINT)


def _words(table: Any, key: str) -> Sequence[str]:
    found = table.get(key) if isinstance(table, dict) else None
    return [one for one in found if isinstance(one, str)] if isinstance(found, list) else ()


def _families() -> tuple[str, ...]:
    sided = tuple(f"{side}_fingers" for side in SIDES)
    return (*PARTS, *PAIRS, "fingers", *sided, *FINGERS)


def expanded(word: str) -> tuple[str, ...]:
    """The parts that a word stands for: itself, both sides, or fingers; none if unknown."""
    if word in PARTS:
        return (word,)
    side, _, rest = word.partition("_")
    sides = (side,) if side in SIDES else SIDES
    name = rest if side in SIDES else word
    if name in PAIRS:
        return tuple(f"{one}_{name}" for one in sides)
    if name == "fingers" or name in FINGERS:
        digits = [one for one in DIGITS if name == "fingers" or one.startswith(name)]
        return tuple(f"{one}_{digit}" for one in sides for digit in digits)
    return ()


def _merged(tables: Sequence[CueTable]) -> Cue:
    said: dict[str, Any] = {}
    for one in tables:
        for key in ("loop", "in_place", "travel_m_per_s", "additive", "ground_m"):
            if getattr(one, key) is not None:
                said[key] = getattr(one, key)
        if one.class_ is not None:
            said["class_name"] = one.class_
    for key in ("only_parts", "not_captured"):
        words = [word for one in tables for word in getattr(one, key)]
        said[key] = tuple(dict.fromkeys(part for word in words for part in expanded(word)))
    contacts = [contact for one in tables for contact in one.contact]
    surfaces = [surface for one in tables for surface in one.surface]
    return Cue(
        **said,
        wanted_contacts=tuple(WantedContact(one.parts, one.depth_mm) for one in contacts),
        surfaces=tuple(Surface(s.name, s.top_m, s.from_m, s.to_m) for s in surfaces),
    )
