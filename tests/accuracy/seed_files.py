"""Stored numbers that do not run on: the same poses written the long way round."""

from __future__ import annotations

from pathlib import Path

import numpy as np

ROTATION = "rotation"


def rows_of(text: str) -> tuple[list[str], np.ndarray]:
    """Lines up to the frames of a BVH file, and its frames as numbers."""
    lines = text.splitlines()
    start = next(i for i, one in enumerate(lines) if one.lower().startswith("frame time")) + 1
    rows = [line.split() for line in lines[start:] if line.strip()]
    return lines[:start], np.array(rows, dtype=np.float64)


def rotation_columns(head: list[str]) -> list[list[int]]:
    """Of each joint with three rotation channels their columns, in file order."""
    found, column = [], 0
    for line in head:
        words = line.split()
        if words and words[0].upper() == "CHANNELS":
            names = [one.lower() for one in words[2:]]
            own = [column + i for i, one in enumerate(names) if one.endswith(ROTATION)]
            column += len(names)
            found += [own] if len(own) == 3 else []
    return found


def unwrapped(rows: np.ndarray, columns: list[list[int]]) -> np.ndarray:
    """The same poses with every angle as near to the one before as whole turns allow."""
    out = rows.copy()
    flat = [one for three in columns for one in three]
    out[:, flat] = np.degrees(np.unwrap(np.radians(rows[:, flat]), axis=0))
    return out


def wrapped(rows: np.ndarray, column: int, frame: int, sign: int) -> np.ndarray:
    """A whole turn more on one channel from a frame on."""
    out = rows.copy()
    out[frame:, column] += sign * 360.0
    return out


def flipped(rows: np.ndarray, three: list[int], frame: int) -> np.ndarray:
    """The other reading of one joint's angles from a frame on."""
    out = rows.copy()
    out[frame:, three[0]] += 180.0
    out[frame:, three[1]] = 180.0 - out[frame:, three[1]]
    out[frame:, three[2]] += 180.0
    return out


def written(path: Path, head: list[str], rows: np.ndarray) -> Path:
    """The file anew, with seven decimals."""
    body = [" ".join(f"{value:.7f}" for value in row) for row in rows]
    path.write_text("\n".join([*head, *body]) + "\n", encoding="utf-8")
    return path


def offsets_of(text: str) -> list[tuple[int, np.ndarray, bool]]:
    """Of each OFFSET its line, its numbers, and whether it is a joint's that only turns."""
    lines = text.splitlines()
    found = []
    for i, line in enumerate(lines):
        words = line.split()
        if words and words[0].upper() == "OFFSET":
            after = lines[i + 1].split()
            turns = after[0].upper() == "CHANNELS" and "position" not in lines[i + 1].lower()
            found.append((i, np.array(words[1:4], dtype=np.float64), turns))
    return found


def with_offset(text: str, line: int, offset: np.ndarray) -> str:
    """The text with another OFFSET on one line."""
    lines = text.splitlines()
    lines[line] = "OFFSET " + " ".join(f"{one:.9g}" for one in offset)
    return "\n".join(lines) + "\n"
