"""A pack as if it were installed: a folder on the module path with what pip leaves behind."""

from __future__ import annotations

from pathlib import Path


def install(folder: Path, name: str, group: str, **entries: str) -> Path:
    """Declares entry points of a distribution; put the folder on the module path to have it.

    Keywords are names of entries, and values "module:object".
    """
    info = folder / f"{name.replace('-', '_')}-1.0.dist-info"
    info.mkdir(parents=True)
    metadata = f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.0\n"
    (info / "METADATA").write_text(metadata, encoding="utf-8")
    lines = [f"[{group}]", *(f"{entry} = {value}" for entry, value in entries.items()), ""]
    (info / "entry_points.txt").write_text("\n".join(lines), encoding="utf-8")
    return folder
