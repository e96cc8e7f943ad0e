"""The bytes behind a glTF file: BIN chunk, data URIs, files in the asset's own folder.

Nothing outside that folder is ever opened: an asset tree may come from strangers.
"""

from __future__ import annotations

import base64
import binascii
import os
import re
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import unquote, unquote_to_bytes

from kinelint.plain_file import open_plain
from kinelint.readers.gltf_container import Container
from kinelint.readers.options import ReadOptions

_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.\-]*:")
_PIECE = 1 << 16
_MEND = "Put the buffer into the asset's folder and name it by a relative path."


@dataclass
class Buffers:
    """The buffers of one file, each fetched when first asked for.

    `max_bytes` of the options bounds all of them together.
    """

    container: Container
    options: ReadOptions
    _found: dict[int, memoryview] = field(default_factory=dict)
    _files: dict[Path, memoryview] = field(default_factory=dict)
    _spent: int = 0

    def __getitem__(self, index: int) -> memoryview:
        """The bytes of `/buffers/index`, exactly `byteLength` of them."""
        if index not in self._found:
            self._found[index] = self._fetch(index)
        return self._found[index]

    def is_there(self, index: object) -> bool:
        """Whether a buffer has bytes of its own, and does not only stand for packed ones."""
        table = self.container.document.table("buffers")
        if type(index) is not int or not 0 <= index < len(table):
            return False
        return "uri" in table[index] or (index == 0 and self.container.binary is not None)

    @property
    def fetched_bytes(self) -> int:
        """How much was fetched so far."""
        return self._spent

    def _fetch(self, index: int) -> memoryview:
        document, place = self.container.document, f"/buffers/{index}"
        buffer = document.table("buffers")[index]
        length = document.whole(buffer, "byteLength", place)
        self._spend(length, place)
        if "uri" in buffer:
            data = self._from_uri(document.text(buffer, "uri", place), length, f"{place}/uri")
        elif index == 0 and self.container.binary is not None:
            data = self.container.binary
        else:
            raise document.error("names no data, and the file has no BIN chunk for it", place)
        if len(data) < length:
            what = f"is cut off: {length} bytes promised, {len(data)} found"
            raise document.error(what, place)
        return data[:length]

    def _spend(self, count: int, place: str) -> None:
        self._spent += count
        if self._spent > self.options.max_bytes:
            what = f"buffers add up to more than the {self.options.max_bytes} bytes allowed"
            raise self.container.document.error(what, place, "Raise the limit or split the file.")

    def _from_uri(self, uri: str, length: int, place: str) -> memoryview:
        if uri[:5].lower() == "data:":
            return self._from_data(uri, place)
        file = self._beside(uri, place)
        try:
            return self._read(file, length)
        except OSError as error:
            what = f"the buffer {uri!r} cannot be read: {error.strerror or error}"
            raise self.container.document.error(what, place) from error

    def _read(self, file: Path, length: int) -> memoryview:
        """The first bytes of a file; of one that several buffers name, once for all of them."""
        found = self._files.get(file)
        if found is None or len(found) < length:
            with open_plain(file) as stream:
                # A stream takes memory for all that it is asked for, be the file ever so short.
                size = os.fstat(stream.fileno()).st_size
                found = self._files[file] = memoryview(stream.read(min(length, size)))
        return found

    def _from_data(self, uri: str, place: str) -> memoryview:
        head, comma, body = uri.partition(",")
        try:
            if not comma:
                raise ValueError
            raw = _unquoted(body)
            if head.lower().endswith(";base64"):
                raw = base64.b64decode(raw, validate=True)
        except (ValueError, binascii.Error) as error:
            raise self.container.document.error("is no valid data URI", place) from error
        return memoryview(raw)

    def _beside(self, uri: str, place: str) -> Path:
        """The file that `uri` names, once it is sure to lie inside the asset's folder."""
        error = self.container.document.error
        name = unquote(uri)
        if _SCHEME.match(uri) or _SCHEME.match(name):
            raise error(f"refers to {uri!r}, which is not a file beside the asset", place, _MEND)
        parts = name.split("/")
        if name.startswith("/") or ".." in parts or "\\" in name or "\0" in name or not name:
            raise error(f"refers to {uri!r}, outside the asset's folder", place, _MEND)
        folder = self.container.file.parent
        try:
            # Links are followed before the check, so that none of them leads out.
            file = folder.joinpath(*parts).resolve(strict=True)
            inside = file.is_relative_to(folder.resolve(strict=True))
        except (OSError, RuntimeError) as problem:
            raise error(f"the buffer {uri!r} is missing", place, _MEND) from problem
        if not inside:
            raise error(f"refers to {uri!r}, a link out of the asset's folder", place, _MEND)
        if not file.is_file():
            raise error(f"refers to {uri!r}, which is not a file", place, _MEND)
        return file


def _unquoted(text: str) -> bytes:
    """As `unquote_to_bytes`, which takes seventy times the memory of the text, piece by piece."""
    if "%" not in text:
        return text.encode()
    pieces = bytearray()
    at = 0
    while at < len(text):
        end = at + _PIECE
        # An escape is three characters: none may be cut.
        cut = text.rfind("%", max(end - 2, 0), end)
        end = cut if cut > at else end
        pieces += unquote_to_bytes(text[at:end])
        at = end
    return bytes(pieces)
