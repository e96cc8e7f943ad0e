"""Where in a TOML text a key stands. The standard library's parser does not tell.

A path is keys and, inside arrays, indices from 0: ``("scope", 1, "rules", "foot-slide")``.
"""

from __future__ import annotations

import hashlib
import os
import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path as FilePath
from typing import Any, TypeAlias

from kinelint.errors import PolicyError
from kinelint.plain_file import TooLargeError, read_plain

Path: TypeAlias = tuple[str | int, ...]

MOST_BYTES = 2 << 20
MOST_DEPTH = 32
_MEND = "Mend the line; strings need quotes, tables need square brackets."

# Nothing that was matched is given back, so that time grows with the text and no faster.
_BLANK = re.compile(r"[ \t]*+")
_FILL = re.compile(r"(?:[ \t\r\n]++|#[^\n]*+)*+")
_BARE = re.compile(r"[A-Za-z0-9_-]++")
_PLAIN = re.compile(r"[^,\]}\n#]++")
_STRING = re.compile(
    r'"""(?:[^"\\]++|\\.|"(?!""))*+"""(?:"{1,2})?+'
    r"|'''(?:[^']++|'(?!''))*+'''(?:'{1,2})?+"
    r'|"(?:[^"\\\n]++|\\.)*+"'
    r"|'[^'\n]*+'",
    re.DOTALL,
)
_PART = r"""(?:[A-Za-z0-9_-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+"""
_LONG_KEY = re.compile(rf"(?<![A-Za-z0-9_-])(?:{_PART}\.[ \t]*+){{{MOST_DEPTH}}}")


@dataclass(frozen=True)
class TomlFile:
    """A TOML file as read: its values and the lines of its keys."""

    path: str
    data: dict[str, Any]
    lines: dict[Path, int] = field(repr=False)
    sha256: str = ""

    def line(self, path: Path) -> int:
        """Line, from 1, of a key; of the nearest table around it if the key is not there."""
        for end in range(len(path), 0, -1):
            if path[:end] in self.lines:
                return self.lines[path[:end]]
        return 1


def read_toml(path: FilePath, shown: str = "") -> TomlFile:
    """Reads and parses a file; `shown` is what messages call it.

    Raises:
        PolicyError: it cannot be read, is no UTF-8 or no TOML; with its line.
    """
    name = shown or str(path)
    try:
        # The null device is how people say "nothing"; what else is no plain file is refused.
        content = b"" if path == FilePath(os.devnull) else read_plain(path, MOST_BYTES)
    except OSError as error:
        what = f"cannot be read: {error.strerror or error}"
        mend = "Split it." if isinstance(error, TooLargeError) else "Check the path."
        raise PolicyError(what, path=name, mend=mend) from error
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise PolicyError(
            "is not UTF-8 text", path=name, place=f"line {line}", mend="Save it as UTF-8."
        ) from error
    return parse_toml(text, name, hashlib.sha256(content).hexdigest())


def parse_toml(text: str, shown: str, sha256: str = "") -> TomlFile:
    """Parses a text; see `read_toml`."""
    data = _parsed(text, shown)
    file = TomlFile(shown, data, key_lines(text), sha256)
    _refuse_bombs(file)
    return file


def _parsed(text: str, shown: str) -> dict[str, Any]:
    def fault(what: str, line: int, mend: str = _MEND) -> PolicyError:
        return PolicyError(what, path=shown, place=f"line {line}", mend=mend)

    long_key = _LONG_KEY.search(text)
    if long_key is not None:
        # The parser's own time grows with the square of a key's parts.
        line = text.count("\n", 0, long_key.start()) + 1
        raise fault(f"a key of more than {MOST_DEPTH} parts", line, "Shorten the key.")
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        said = re.fullmatch(
            r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", str(error), re.DOTALL
        )
        what = _printable(said[1] if said else str(error))
        line = int(said[2]) if said and said[2] else text.count("\n") + 1
        raise fault(f"is not valid TOML: {what[:1].lower()}{what[1:]}", line) from error
    except RecursionError as error:
        line = _deepest_line(text)
        raise fault("lists or tables nested too deep", line, "Nest them less.") from error
    except ValueError as error:
        # Numbers and dates of the right form that Python has no room for.
        what = _printable(str(error).partition(";")[0])
        raise fault(f"holds a value that cannot be: {what}", _longest_line(text)) from error


def _printable(text: str) -> str:
    return "".join(one if one.isprintable() else repr(one)[1:-1] for one in text[:200])


def _deepest_line(text: str) -> int:
    """The line on which the most brackets are open, those in strings taken for real ones."""
    depth, deepest, found = 0, 0, 1
    for number, line in enumerate(text.split("\n"), 1):
        depth += sum(map(line.count, "[{"))
        if depth > deepest:
            deepest, found = depth, number
        depth -= sum(map(line.count, "]}"))
    return found


def _longest_line(text: str) -> int:
    lines = text.split("\n")
    return 1 + max(range(len(lines)), key=lambda number: len(lines[number]))


def _refuse_bombs(file: TomlFile) -> None:
    """Refuses what a small text can hold and no reader of its values expects."""
    waiting: list[tuple[Path, Any]] = [((), file.data)]
    while waiting:
        path, value = waiting.pop()
        if isinstance(value, int) and value.bit_length() > 63:
            what = "a whole number of more than 64 bits"
            raise _bomb(file, path, what, "Write a smaller number.")
        if len(path) > MOST_DEPTH:
            raise _bomb(file, path, f"nested deeper than {MOST_DEPTH} levels", "Nest it less.")
        if isinstance(value, dict):
            waiting += [((*path, key), one) for key, one in value.items()]
        elif isinstance(value, list):
            waiting += [((*path, number), one) for number, one in enumerate(value)]


def _bomb(file: TomlFile, path: Path, what: str, mend: str) -> PolicyError:
    return PolicyError(what, path=file.path, place=f"line {file.line(path)}", mend=mend)


def key_lines(text: str) -> dict[Path, int]:
    """Line, from 1, of every key, table and array item of a valid TOML text."""
    return _Scanner(text.replace("\r\n", "\n")).scan()


class _Scanner:
    """One walk over a text that the parser has already found valid."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.counted_to, self.line = 0, 1
        self.lines: dict[Path, int] = {}
        self.arrays: dict[Path, int] = {}

    def scan(self) -> dict[Path, int]:
        table: Path = ()
        self._skip(_FILL)
        try:
            while self.at < len(self.text):
                if self.text[self.at] == "[":
                    table = self._header()
                else:
                    self._pair(table)
                self._skip(_FILL)
        except IndexError:
            # Lines are a help: where this walk loses its way, the nearest line above serves.
            pass
        return self.lines

    def _header(self) -> Path:
        line, many = self._line(), self.text.startswith("[[", self.at)
        self.at += 2 if many else 1
        path = self._into_arrays(self._key(), line)
        self.at += 2 if many else 1
        if many:
            index = self.arrays.get(path, -1) + 1
            self.arrays[path] = index
            path = (*path, index)
        self._note(path, line)
        return path

    def _into_arrays(self, keys: Path, line: int) -> Path:
        """The path of a header, with the index of the last table of each array on its way."""
        path: Path = ()
        for number, key in enumerate(keys):
            path = (*path, key)
            self._note(path, line)
            if path in self.arrays and number + 1 < len(keys):
                path = (*path, self.arrays[path])
        return path

    def _pair(self, table: Path) -> None:
        line = self._line()
        keys = self._key()
        self._skip(_BLANK)
        self.at += 1  # the equals sign
        for end in range(1, len(keys) + 1):
            self._note((*table, *keys[:end]), line)
        self._value((*table, *keys))

    def _key(self) -> Path:
        keys: list[str] = []
        while True:
            self._skip(_BLANK)
            quoted = _STRING.match(self.text, self.at)
            match = quoted or _BARE.match(self.text, self.at)
            if match is None:
                return tuple(keys)
            keys.append(tomllib.loads(f"k={match[0]}")["k"] if quoted else match[0])
            self.at = match.end()
            self._skip(_BLANK)
            if not self.text.startswith(".", self.at):
                return tuple(keys)
            self.at += 1

    def _value(self, path: Path) -> None:
        self._skip(_BLANK)
        opening = self.text[self.at]
        if opening in "\"'":
            self._skip(_STRING)
        elif opening in "[{":
            self._several(path, closing="]" if opening == "[" else "}")
        else:
            self._skip(_PLAIN)

    def _several(self, path: Path, closing: str) -> None:
        """An array or an inline table."""
        self.at += 1
        index = 0
        while True:
            self._skip(_FILL)
            before = self.at
            if self.text.startswith(closing, self.at):
                self.at += 1
                return
            if closing == "]":
                self._note((*path, index), self._line())
                self._value((*path, index))
                index += 1
            else:
                self._pair(path)
            self._skip(_FILL)
            if self.text.startswith(",", self.at):
                self.at += 1
            if self.at == before:
                raise IndexError

    def _skip(self, pattern: re.Pattern[str]) -> None:
        match = pattern.match(self.text, self.at)
        if match is not None:
            self.at = match.end()

    def _line(self) -> int:
        self.line += self.text.count("\n", self.counted_to, self.at)
        self.counted_to = self.at
        return self.line

    def _note(self, path: Path, line: int) -> None:
        self.lines.setdefault(path, line)
