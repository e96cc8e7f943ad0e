"""ASCII FBX files that the binding would misread in silence.

It takes a text that was cut between two records: takes are missing then, or the connections that
make a tree of nodes. And it takes a text whose lines end in carriage returns alone for one comment
(a mark of UTF-8 before the text it does not take at all).
"""

from __future__ import annotations

import re

from kinelint.errors import AssetError

_LINE_END = re.compile(rb"\r\n|\r|\n")
_QUIET = re.compile(rb'"[^"]*"|;[^\r\n]*')
_FIRST_MODERN = 7000


def mended(data: bytes) -> bytes:
    """The file without a mark of UTF-8 before it, its lines ended as the binding knows them.

    Lines are only touched in a text whose first line ends in a carriage return alone.
    """
    data = data.removeprefix(b"\xef\xbb\xbf")
    first = _LINE_END.search(data[:4096])
    if data[8:18] == b"FBX Binary" or first is None or first.group() != b"\r":
        return data
    return _LINE_END.sub(b"\n", data)


def check_whole(data: bytes, version: int) -> None:
    """Refuse a text with open braces, or without the sections that its version ends with.

    Args:
        data: the file.
        version: as the file says (7400 for 7.4).

    Raises:
        AssetError: it was cut.
    """
    # Braces in texts and comments are rare; only where counts differ are they looked for.
    if data.count(b"{") != data.count(b"}"):
        bare = _QUIET.sub(b"", data)
        depth = bare.count(b"{") - bare.count(b"}")
        if depth:
            what = "the file ends inside a section" if depth > 0 else "a section ends twice"
            raise _cut(f"{what}: its braces do not match", data)
    sections = ["Connections"] if version >= _FIRST_MODERN else ["Connections", "Takes"]
    for name in sections:
        if not re.search(rb"(?:^|[\s}])" + name.encode() + rb"\s*:", data):
            raise _cut(f"the file ends before its section {name!r}", data)


def _cut(what: str, data: bytes) -> AssetError:
    line = data.count(b"\n") + 1
    mend = "It was cut short: export or copy it again."
    return AssetError(what, place=f"line {line}", mend=mend)
