"""Opens a USD file and all layers it is composed of, none of them from outside its folder.

An asset tree may come from strangers, and USD itself opens whatever a layer names, with the rights
of whoever reads it. So each layer is opened here first, without composition, and every path in it
is looked at before the next is opened. Composition then finds all of them open already.
"""

from __future__ import annotations

import posixpath
import re
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from pxr import Ar, Sdf, Tf

from kinelint.errors import AssetError
from kinelint.plain_file import open_plain
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd_arcs import arcs_of
from kinelint.readers.usd_package import check_package
from kinelint.readers.usd_sniff import CRATE, ENDINGS, TEXT
from kinelint.readers.usd_words import MEND, translated

_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.\-]*:")
_MOST_LAYERS = 10_000
_INSIDE = "Put it into the asset's folder and name it by a relative path, or flatten the stage."


@dataclass
class Layers:
    """The layers of one file. Hold on to it while the stage lives: it keeps them open.

    Attributes:
        path: of the file.
        options: `max_bytes` bounds all layers together.
        opened: the layers, the file's own first.
        size: bytes of all their files.
    """

    path: Path
    options: ReadOptions
    opened: list[Any] = field(default_factory=list)
    size: int = 0
    _entries: dict[Path, frozenset[str]] = field(default_factory=dict)
    _seen: set[str] = field(default_factory=set)

    @property
    def root(self) -> Any:
        """The file's own layer."""
        return self.opened[0]

    def open(self) -> None:
        """Open the file and, one by one, all that its layers name.

        Raises:
            AssetError: a layer is malformed, too big, or names what must not be opened.
        """
        waiting = deque([str(self.path.absolute())])
        while waiting:
            identifier = waiting.popleft()
            if identifier in self._seen:
                continue
            self._seen.add(identifier)
            if len(self._seen) > _MOST_LAYERS:
                raise self._error(f"is composed of more than {_MOST_LAYERS} layers")
            layer = self._opened(identifier)
            self.opened.append(layer)
            waiting.extend(self._named(layer))

    def check_used(self, stage: Any) -> None:
        """Raises AssetError if a stage was composed of a layer that was not looked at.

        A file made to deceive could hide a path from whoever reads its prims one by one.
        """
        known = {layer.identifier for layer in self.opened}
        for layer in stage.GetUsedLayers():
            if not layer.anonymous and layer.identifier not in known:
                raise self._error("is composed of a layer that none of its prims names")

    def _error(self, what: str, place: str = "", mend: str = _INSIDE) -> AssetError:
        return AssetError(what, path=str(self.path), place=place, mend=mend)

    def _place(self, identifier: str) -> str:
        """What to call a layer: nothing for the file's own."""
        if identifier == str(self.path.absolute()):
            return ""
        return identifier.removeprefix(f"{self.path.absolute().parent}/")

    def _opened(self, identifier: str) -> Any:
        if not Ar.IsPackageRelativePath(identifier):
            self._check_file(Path(identifier), self._place(identifier))
        place = self._place(identifier)
        try:
            layer = Sdf.Layer.FindOrOpen(identifier)
        except Tf.ErrorException as problem:
            raise translated(problem, str(self.path), place) from problem
        if layer is None:
            raise self._error("is no valid USD layer", place, MEND)
        return layer

    def _check_file(self, file: Path, place: str) -> None:
        ending = file.suffix.lower()
        if ending not in ENDINGS:
            mend = f"Give it one of the endings {', '.join(ENDINGS)}."
            raise self._error(f"its ending {ending!r} is none of USD's", place, mend)
        if "[" in file.name or "]" in file.name or ":" in file.name:
            what = "USD reads brackets and colons in a file's name as something else"
            raise self._error(what, place, "Rename the file.")
        try:
            with open_plain(file) as stream:
                head = stream.read(8)
                self._spend(stream.seek(0, 2))
        except OSError as problem:
            what = f"cannot be opened: {problem.strerror or problem}"
            raise self._error(what, place, "Check the path and its rights.") from problem
        if ending == ".usdz":
            self._entries[file] = check_package(file)
        elif not head.startswith((TEXT, CRATE)):
            raise self._error("is no USD layer", place, MEND)

    def _spend(self, size: int) -> None:
        self.size += size
        if self.size > self.options.max_bytes:
            what = f"its layers hold more than the {self.options.max_bytes} bytes that may be read"
            raise self._error(what, mend="Raise the limit or split the file.")

    def _named(self, layer: Any) -> Iterator[str]:
        """The identifiers of all layers that one names."""
        layer_place = self._place(layer.identifier)
        for arc in arcs_of(layer, str(self.path), layer_place):
            named, place = arc.named, f"{layer_place}{arc.place}"
            self._check_name(named, place)
            if Ar.IsPackageRelativePath(layer.identifier) or layer.fileExtension == "usdz":
                yield self._in_package(layer, named, place)
                continue
            beside = str(Path(layer.identifier).parent)
            file = Path(posixpath.normpath(posixpath.join(beside, named)))
            if self._is_there(file, named, place):
                yield str(file)
            elif arc.is_clip:
                raise self._error(f"names the value clip {named!r}, which is missing", place)
            elif not named.startswith("."):
                # USD would go on to look for it elsewhere. A path with a dot is looked for here
                # only, and composition tells whether it is needed: a variant that is not selected
                # may name what is not there.
                layer.UpdateCompositionAssetDependency(named, f"./{named}")

    def _check_name(self, named: str, place: str) -> None:
        if named.startswith("`"):
            raise self._error(f"names a layer by the expression {named!r}", place)
        if Sdf.Layer.SplitIdentifier(named)[1] or "\0" in named:
            raise self._error(f"names a layer with arguments: {named!r}", place)
        if _SCHEME.match(named):
            raise self._error(f"refers to {named!r}, which is not a file beside it", place)
        if named.startswith("/") or "\\" in named:
            raise self._error(f"refers to {named!r} by an absolute path", place)
        if Ar.IsPackageRelativePath(named):
            raise self._error(f"refers to {named!r}, the inside of a package", place)
        if posixpath.splitext(named)[1].lower() not in ENDINGS:
            raise self._error(f"refers to {named!r}, which is no USD layer", place)

    def _in_package(self, layer: Any, named: str, place: str) -> str:
        outer, inner = Ar.SplitPackageRelativePathOuter(layer.identifier)
        entries = self._entries[Path(outer)]
        beside = posixpath.dirname(inner)
        for base in (beside, ""):
            entry = posixpath.normpath(posixpath.join(base, named))
            if entry in entries and not entry.lower().endswith(".usdz"):
                return str(Ar.JoinPackageRelativePath([outer, entry]))
        raise self._error(f"refers to {named!r}, which is not in its package", place)

    def _is_there(self, file: Path, named: str, place: str) -> bool:
        """Whether `file` exists, once it is sure to lie inside the asset's folder."""
        folder = self.path.absolute().parent
        if not file.is_relative_to(folder):
            raise self._error(f"refers to {named!r}, outside the asset's folder", place)
        try:
            # Links are followed before the check, so that none of them leads out.
            inside = file.resolve(strict=True).is_relative_to(folder.resolve(strict=True))
        except (OSError, RuntimeError):
            return False
        if not inside:
            raise self._error(f"refers to {named!r}, a link out of the asset's folder", place)
        return True
