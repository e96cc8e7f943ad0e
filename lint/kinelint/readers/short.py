"""What readers say of a file, as short and as plain as a report can carry it.

Files name things at any length and with any characters; errors and notes quote them.
"""

from __future__ import annotations

from dataclasses import replace

from kinelint.clip import Asset
from kinelint.finding import Note

MOST_CHARACTERS = 600
LONGEST_NAME = 1024
"""Characters of a name of a joint, a clip or a mesh."""


def short_line(text: str, most: int = MOST_CHARACTERS) -> str:
    """One line without control characters, its middle left out if it is long."""
    if not text.isprintable():
        text = "".join(one if one.isprintable() else repr(one)[1:-1] for one in text)
    if len(text) <= most:
        return text
    end = most // 3
    return f"{text[: most - end - 1]}…{text[-end:]}"


def short_notes(asset: Asset) -> Asset:
    """The same with notes that people can read."""
    if _fit(asset.notes) and all(_fit(clip.notes) for clip in asset.clips):
        return asset
    clips = tuple(replace(clip, notes=_shortened(clip.notes)) for clip in asset.clips)
    return replace(asset, clips=clips, notes=_shortened(asset.notes))


def _fit(notes: tuple[Note, ...]) -> bool:
    return all(len(one.text) <= MOST_CHARACTERS for one in notes)


def _shortened(notes: tuple[Note, ...]) -> tuple[Note, ...]:
    return tuple(replace(one, text=short_line(one.text)) for one in notes)
