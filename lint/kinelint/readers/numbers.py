"""Rows of numbers from text at C speed: bytes in, arrays out.

Two ways, chunk by chunk. Ordinary text (one row a line, plain decimals, one separator) is turned
into JSON by replacing separators and read by orjson, which also tells the length of every row.
All other text is split and read by fastnumbers, and the place of each row is found by numpy.
Neither guesses: what is not a finite number in full is an error with its line.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from kinelint.clip import LARGEST
from kinelint.errors import AssetError
from kinelint.kinematics.arrays import Floats, Ints

CHUNK_BYTES = 1 << 17
LONGEST_LINE = 1 << 23
_NOT_PLAIN = (b",", b'"', b"[", b"{", b"u", b"l")
_BLANK = re.compile(rb"[ \t\n\r\x0b\x0c]")
_CONTROL = re.compile(rb"[^\t\n\r\x0b\x0c\x20-\xff]")


@dataclass(frozen=True, eq=False)
class Block:
    """Rows of numbers and where they stand.

    Attributes:
        values: ``(rows, columns)``.
        lines: ``(rows,)`` line on which each row starts, from 1.
    """

    values: Floats
    lines: Ints


def read_block(text: bytes, start: int, first_line: int, columns: int, expected: int) -> Block:
    """All numbers from `start` to the end of `text`, `columns` a row.

    Args:
        text: lines end in LF or CRLF.
        start: first byte of the block.
        first_line: the line of that byte.
        columns: numbers a row, at least 1.
        expected: rows that are announced; only a hint for the first allocation.

    Raises:
        AssetError: a token is no finite number, or the last row is not full.
    """
    reader = _Reader(text, start, first_line, columns, expected)
    reader.run()
    rows, left = divmod(reader.count, columns)
    if left:
        raise _short_row(text, start, first_line, columns, left)
    lines = np.concatenate(reader.lines) if reader.lines else np.empty(0, dtype=np.intp)
    values = reader.values[: reader.count].reshape(rows, columns)
    return Block(values, lines)


def refuse_absurd(block: Block) -> None:
    """Raises AssetError for a number that is finite, and so large that its square may not be."""
    values, lines = block.values, block.lines
    if not values.size or max(values.max(), -values.min()) <= LARGEST:
        return
    row = int(np.argmax(np.abs(values).max(axis=1) > LARGEST))
    worst = float(values[row][np.argmax(np.abs(values[row]))])
    what = f"{worst:g} is larger than any length and any angle of a motion"
    mend = "Export the clip again, or correct the value."
    raise AssetError(what, place=f"line {int(lines[row])}", mend=mend)


class _Reader:
    """The state between chunks."""

    def __init__(self, text: bytes, start: int, line: int, columns: int, expected: int) -> None:
        self.text, self.position, self.line, self.columns = text, start, line, columns
        size = len(text) - start
        # A number and its separator take two bytes at least: announced counts beyond are lies.
        likely = expected * columns
        self.values = np.empty(likely if 0 < likely <= size // 2 + 1 else size // 8 + columns)
        self.count = 0
        self.lines: list[Ints] = []
        self.plain = True

    def run(self) -> None:
        while self.position < len(self.text):
            chunk = self._next_chunk()
            self.plain = self.plain and self._read_plain(chunk)
            if not self.plain:
                self._read_any(chunk)
            self.line += chunk.count(b"\n")

    def _next_chunk(self) -> bytes:
        first, end = self.position, self.position + CHUNK_BYTES
        if end < len(self.text):
            cut = self.text.rfind(b"\n", first, end) + 1
            if not cut:
                # A line longer than a chunk: take the whole of it.
                cut = self.text.find(b"\n", end, first + LONGEST_LINE) + 1
            end = cut or self._between_numbers(end)
        self.position = end
        return self.text[first:end]

    def _between_numbers(self, end: int) -> int:
        """Somewhere in a line too long to be held in pieces; its row will not end here."""
        self.plain = False
        blank = _BLANK.search(self.text, end)
        return len(self.text) if blank is None else blank.end()

    def _room(self, more: int) -> Floats:
        need = self.count + more
        if need > len(self.values):
            grown = np.empty(max(need, len(self.values) + len(self.values) // 4))
            grown[: self.count] = self.values[: self.count]
            self.values = grown
        return self.values[self.count : need]

    def _read_plain(self, chunk: bytes) -> bool:
        """False, and nothing changed, if the chunk is not of the ordinary form."""
        import orjson

        if any(mark in chunk for mark in _NOT_PLAIN):
            return False
        body = chunk.replace(b"\r\n", b"\n").replace(b"\t", b" ").replace(b" \n", b"\n").rstrip()
        if not body:
            return True
        try:
            rows = orjson.loads(b"[[" + body.replace(b" ", b",").replace(b"\n", b"],[") + b"]]")
        except orjson.JSONDecodeError:
            return False
        if set(map(len, rows)) != {self.columns}:
            return False
        room = self._room(len(rows) * self.columns)
        room.reshape(len(rows), self.columns)[:] = rows
        if not np.isfinite(room).all():
            return False
        self.count += len(room)
        self.lines.append(np.arange(self.line, self.line + len(rows)))
        return True

    def _read_any(self, chunk: bytes) -> None:
        import fastnumbers

        tokens = chunk.split()
        room = self._room(len(tokens))
        fastnumbers.try_array(tokens, room, on_fail=np.nan, on_overflow=np.nan)
        codes = np.frombuffer(b" " + chunk, dtype=np.uint8)
        blank = codes <= 32
        starts = np.flatnonzero(blank[:-1] > blank[1:])
        newlines = np.flatnonzero(codes == 10) - 1
        if len(starts) != len(tokens):
            raise _control_character(chunk, self.line)
        if not np.isfinite(room).all():
            bad = int(np.argmin(np.isfinite(room)))
            line = self.line + int(np.searchsorted(newlines, starts[bad]))
            raise _bad_token(tokens[bad], line)
        firsts = starts[-self.count % self.columns :: self.columns]
        self.lines.append(self.line + np.searchsorted(newlines, firsts))
        self.count += len(tokens)


def _bad_token(token: bytes, line: int) -> AssetError:
    shown = token[:24].decode("utf-8", "replace")
    if re.fullmatch(rb"[-+]?\d+,\d+", token):
        mend = "Export it with a decimal point."
    else:
        mend = "Export the clip again, or replace the value by a finite number."
    return AssetError(f"{shown!r} is not a finite number", place=f"line {line}", mend=mend)


def _control_character(chunk: bytes, line: int) -> AssetError:
    found = _CONTROL.search(chunk)
    place = found.start() if found else 0
    line += chunk.count(b"\n", 0, place)
    return AssetError(
        f"a control character (0x{chunk[place]:02x}) stands among the numbers",
        place=f"line {line}",
        mend="The file is damaged: export the clip again.",
    )


def _filled_lines(text: bytes, start: int) -> tuple[Ints, Ints]:
    """Lines from `start` that hold numbers, counted from 0, and how many each holds."""
    rows: list[Ints] = []
    counts: list[Ints] = []
    line, open_count, before = 0, 0, np.uint8(32)
    for first in range(start, len(text), CHUNK_BYTES):
        codes = np.frombuffer(text[first : first + CHUNK_BYTES], dtype=np.uint8)
        blank = np.concatenate(([before <= 32], codes <= 32))
        starts = np.flatnonzero(blank[:-1] > blank[1:])
        ends = np.flatnonzero(codes == 10)
        held = np.bincount(np.searchsorted(ends, starts), minlength=len(ends) + 1)
        held[0] += open_count
        filled = np.flatnonzero(held[:-1])
        rows.append(line + filled)
        counts.append(held[filled])
        line, open_count, before = line + len(ends), int(held[-1]), codes[-1]
    if open_count:
        rows.append(np.array([line]))
        counts.append(np.array([open_count]))
    return np.concatenate(rows), np.concatenate(counts)


def _short_row(text: bytes, start: int, first_line: int, columns: int, left: int) -> AssetError:
    """Only when reading has failed: where the rows stop being whole."""
    filled, counts = _filled_lines(text, start)
    odd = np.flatnonzero(counts != columns)
    if len(odd) * 2 < len(filled) or len(filled) == 1:
        row = int(filled[odd[0]])
        what = f"{int(counts[odd[0]])} numbers where the channels need {columns}"
    else:
        # Rows run over several lines, so that no single line can be called short.
        row = int(filled[-1])
        what = f"the last frame has {left} numbers where the channels need {columns}"
    mend = "The file is cut short or damaged: export the clip again."
    return AssetError(what, place=f"line {first_line + row}", mend=mend)
