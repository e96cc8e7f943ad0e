"""The outside of a glTF 2.0 file: JSON text or binary container, version, extensions.

Source: glTF 2.0 specification, sections 3.2 (asset), 3.12 (extensions), 4 (GLB).
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import orjson

from kinelint.errors import AssetError
from kinelint.readers.files import read_bytes
from kinelint.readers.gltf_document import Document, Json
from kinelint.readers.gltf_extensions import check_required
from kinelint.readers.options import ReadOptions

MAGIC = b"glTF"
_JSON, _BIN = 0x4E4F534A, 0x004E4942
_MOST_VALUES = 8_000_000
_BLOCK = 1 << 20


@dataclass(frozen=True)
class Container:
    """A glTF file taken apart.

    Attributes:
        document: its JSON.
        binary: the BIN chunk of a .glb, None for a .gltf or without one.
        media: "glb" or "gltf".
        file: where it was read from, for references to files beside it.
        size: of that file, in bytes.
    """

    document: Document
    binary: memoryview | None
    media: str
    file: Path
    size: int


def open_container(path: Path, options: ReadOptions) -> Container:
    """Read and take apart a .gltf or .glb, whichever it is by content.

    Raises:
        AssetError: too big, no glTF, version 1, truncated, an extension nobody here knows.
    """
    name = str(path)
    data = read_bytes(path, options)
    if data[:4] == MAGIC:
        text, binary, media = *_chunks(memoryview(data), name), "glb"
    else:
        text, binary, media = memoryview(data.removeprefix(b"\xef\xbb\xbf")), None, "gltf"
    document = Document(_parsed(text, name), name)
    _check_version(document)
    check_required(document)
    return Container(document, binary, media, path, len(data))


def _chunks(data: memoryview, name: str) -> tuple[memoryview, memoryview | None]:
    """The JSON chunk and the BIN chunk; others are passed over, as section 4.4 wants it."""

    def error(what: str, at: int) -> AssetError:
        return AssetError(what, path=name, place=f"byte {at}", mend="Export the file again.")

    if len(data) < 20:
        raise error("the binary container ends inside its header", len(data))
    _, version, length = struct.unpack_from("<III", data, 0)
    if version != 2:
        raise error(f"is a binary glTF container of version {version}, not 2", 4)
    if length > len(data):
        raise error(f"the file is cut off: {length} bytes promised, {len(data)} found", 8)
    text: memoryview | None = None
    binary: memoryview | None = None
    at = 12
    while at + 8 <= length:
        size, kind = struct.unpack_from("<II", data, at)
        if at + 8 + size > length:
            raise error(f"a chunk of {size} bytes runs past the end of the container", at)
        body = data[at + 8 : at + 8 + size]
        if text is None:
            if kind != _JSON:
                raise error("the first chunk must be JSON", at)
            text = body
        elif kind == _BIN and binary is None:
            binary = body
        at += 8 + size
    if text is None:
        raise error("the container holds no JSON chunk", 12)
    return text, binary


def _parsed(text: memoryview, name: str) -> Json:
    _refuse_crowd(text, name)
    try:
        tree = orjson.loads(text)
    except orjson.JSONDecodeError as error:
        place = f"JSON line {error.lineno}, column {error.colno}"
        what = f"is not valid JSON: {error.msg}"
        raise AssetError(what, path=name, place=place, mend="Export the file again.") from error
    if type(tree) is not dict:
        what = "is JSON but no glTF: the top must be an object"
        raise AssetError(what, path=name, place="JSON line 1", mend="Export the file again.")
    return tree


def _refuse_crowd(text: memoryview, name: str) -> None:
    """An empty object of two bytes takes forty times as many once it is parsed."""
    codes = np.frombuffer(text, dtype=np.uint8)
    values = sum(
        int(np.count_nonzero(codes[first : first + _BLOCK] == mark))
        for first in range(0, len(codes), _BLOCK)
        for mark in b"[{,"
    )
    if values > _MOST_VALUES:
        what = f"the JSON holds {values} values, more than the {_MOST_VALUES} that are read"
        raise AssetError(what, path=name, mend="Put what is no motion into a file of its own.")


def _check_version(document: Document) -> None:
    asset = document.object(document.tree, "asset", "")
    version = document.text(asset, "version", "/asset")
    if version.split(".")[0] != "2":
        mend = "Export it as glTF 2.0."
        raise document.error(f"glTF version {version!r} is not 2.0", "/asset/version", mend)
    least = document.text(asset, "minVersion", "/asset", "2.0")
    if least != "2.0":
        what = f"asks for a reader of glTF {least}; this one reads 2.0"
        raise document.error(what, "/asset/minVersion", "Export it as glTF 2.0.")
