"""Which reader takes a file: decided by its content, then by its ending.

A reader is an object with the four members of `Reader`; a text `carries` beside them says what it
carries over (see `carries`). Packs bring theirs through the entry point group "kinelint.readers",
one reader (or a class of one) an entry. Built-in readers are asked first, so that a file of a known
format reads the same whatever else is installed; they are imported when a file needs them and not
before.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from importlib import import_module
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from typing import Protocol, runtime_checkable

from kinelint.clip import Asset
from kinelint.errors import AssetError, RegistryError
from kinelint.format_info import FormatInfo
from kinelint.readers.native import NativeReader
from kinelint.readers.options import ReadOptions

GROUP = "kinelint.readers"


@runtime_checkable
class Reader(Protocol):
    """Bytes of one format to an `Asset`.

    Attributes:
        media: the format's short name ("bvh").
        endings: the file endings it usually has, in lower case, with the dot.
    """

    @property
    def media(self) -> str:
        """The format's short name."""

    @property
    def endings(self) -> tuple[str, ...]:
        """Lower case, with the dot."""

    def sniff(self, head: bytes, path: Path) -> bool:
        """Whether the first bytes of a file are of this format."""

    def read(self, path: Path, options: ReadOptions) -> Asset:
        """All motion in the file. Raises AssetError."""


@dataclass(frozen=True)
class LazyReader:
    """A reader that is imported when it is first asked something. `target` is "module:name"."""

    media: str
    endings: tuple[str, ...]
    target: str

    @cached_property
    def loaded(self) -> Reader:
        """The reader itself."""
        module, _, name = self.target.partition(":")
        found = getattr(import_module(module), name)
        reader: Reader = found() if isinstance(found, type) else found
        return reader

    @property
    def carries(self) -> str:
        """As the reader itself says."""
        return carries(self.loaded)

    def sniff(self, head: bytes, path: Path) -> bool:
        """Asked of the reader itself."""
        return self.loaded.sniff(head, path)

    def read(self, path: Path, options: ReadOptions) -> Asset:
        """Done by the reader itself."""
        return self.loaded.read(path, options)


BUILT_IN: tuple[Reader, ...] = (
    LazyReader("bvh", (".bvh",), "kinelint.readers.bvh:READER"),
    LazyReader("gltf", (".gltf", ".glb", ".vrm", ".vrma"), "kinelint.readers.gltf:READER"),
    NativeReader(
        "fbx",
        (".fbx",),
        sniff_target="kinelint.readers.fbx_sniff:sniff",
        read_target="kinelint.readers.fbx:read_fbx",
        needs="ufbx",
        extra="fbx",
    ),
    NativeReader(
        "usd",
        (".usd", ".usda", ".usdc", ".usdz"),
        sniff_target="kinelint.readers.usd_sniff:sniff",
        read_target="kinelint.readers.usd:read_usd",
        needs="pxr",
        extra="usd",
    ),
)


def carries(reader: Reader) -> str:
    """What a reader says it carries over and what not, as Markdown; "" if it says nothing.

    It is the reader's attribute `carries`, which readers need not have: a short list of what
    becomes part of a clip, then what is set aside with a note, then what is refused. Formats
    read in a child keep it as `CARRIES` beside their sniffing function.
    """
    return str(getattr(reader, "carries", "")).strip()


def brought(entries: Iterable[EntryPoint] | None = None) -> Iterator[Reader]:
    """The readers of installed packs, in the order of their entry names.

    Args:
        entries: entry points to load from; by default those of the group "kinelint.readers".

    Raises:
        RegistryError: a pack cannot be loaded, or what it brings is no reader.
    """
    for entry in _sorted(entries):
        yield _loaded(entry)


def _sorted(entries: Iterable[EntryPoint] | None) -> list[EntryPoint]:
    found = _installed(entry_points, tuple(sys.path)) if entries is None else entries
    return sorted(found, key=lambda one: (one.name, one.value))


@lru_cache(maxsize=1)
def _installed(
    find: Callable[..., Iterable[EntryPoint]], _: tuple[str, ...]
) -> tuple[EntryPoint, ...]:
    """What is installed on a module path: looked for once, not for every file."""
    return tuple(find(group=GROUP))


def _pack(entry: EntryPoint) -> str:
    return entry.dist.name if entry.dist else entry.value


def _loaded(entry: EntryPoint) -> Reader:
    pack = _pack(entry)
    try:
        found = entry.load()
        reader = found() if isinstance(found, type) else found
    except Exception as error:
        raise RegistryError(
            f"reader {entry.name!r} of pack {pack} cannot be loaded: {error}",
            mend="Mend or uninstall the pack.",
        ) from error
    if not isinstance(reader, Reader):
        raise RegistryError(
            f"reader {entry.name!r} of pack {pack} needs media, endings, sniff and read",
            mend="Mend or uninstall the pack.",
        )
    return reader


def pick(head: bytes, path: Path, entries: Iterable[EntryPoint] | None = None) -> Reader:
    """The reader for a file that begins with `head`.

    Raises:
        AssetError: nothing here reads it; the mend lists what can be read.
        RegistryError: a pack's reader is broken, and no built-in one takes the file.
    """
    ending = path.suffix.lower()
    built_in = sorted(BUILT_IN, key=lambda one: ending not in one.endings)
    for reader in built_in:
        if reader.sniff(head, path):
            return reader
    more = list(brought(entries))
    for reader in more:
        if _sniffed(reader, head, path):
            return reader
    # A known ending over strange content: its own reader can best say what is wrong with it.
    for reader in (*built_in, *more):
        if ending in reader.endings:
            return reader
    raise AssetError(
        "not a motion file of a known format", path=str(path), mend=_readable((*BUILT_IN, *more))
    )


def _sniffed(reader: Reader, head: bytes, path: Path) -> bool:
    try:
        return reader.sniff(head, path)
    except Exception as error:
        raise RegistryError(
            f"the reader of {reader.media} files cannot look at it: {error}",
            mend="Mend or uninstall the pack.",
        ) from error


def _readable(readers: Iterable[Reader]) -> str:
    known = "; ".join(f"{one.media} ({', '.join(one.endings)})" for one in readers)
    return f"These can be read: {known}."


def endings() -> frozenset[str]:
    """Every file ending that some reader takes, in lower case, with the dot."""
    return frozenset(end for one in (*BUILT_IN, *brought()) for end in one.endings)


def formats() -> list[FormatInfo]:
    """What every reader here says of its format: the built-in ones, then those of packs.

    Raises:
        RegistryError: a pack's reader is broken.
    """
    more = [_info(_loaded(entry), _pack(entry)) for entry in _sorted(None)]
    return [*(_info(one, "kinelint") for one in BUILT_IN), *more]


def _info(reader: Reader, pack: str) -> FormatInfo:
    info = FormatInfo(reader.media, tuple(reader.endings), carries(reader), pack=pack)
    if not isinstance(reader, NativeReader):
        return info
    return replace(info, install=reader.install, installed=reader.installed, native=True)
