"""Readers of formats that need native code: the code runs in a child process, never in ours.

A native library handed a broken or hostile file may crash, hang or eat all memory. Here that costs
the child, and the file is reported; nothing else of the run is touched. In this process a
`NativeReader` only looks at a file's first bytes.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.readers.options import ReadOptions


@dataclass(frozen=True)
class NativeReader:
    """A reader whose work is done in a disposable child process.

    Attributes:
        media: the format's short name ("fbx").
        endings: the file endings it usually has, in lower case, with the dot.
        sniff_target: "module:function" of ``(head: bytes, path: Path) -> bool``, called in this
            process: the module must not import native code. Its text `CARRIES`, if it has one,
            says what the reader carries over (see `kinelint.readers.registry.carries`).
        read_target: "module:function" of ``(path: Path, options: ReadOptions) -> Asset``, called
            in the child. It raises AssetError for what users can mend.
        needs: the top-level package that `read_target` needs; "" for none.
        extra: what installs it: an extra of kinelint ("fbx"), or a whole requirement with its
            brackets ("night-ferry[logs]"); "" for `needs` itself.
    """

    media: str
    endings: tuple[str, ...]
    sniff_target: str
    read_target: str
    needs: str = ""
    extra: str = ""

    @property
    def carries(self) -> str:
        """What is carried over and what is not, as Markdown."""
        module = import_module(self.sniff_target.partition(":")[0])
        return str(getattr(module, "CARRIES", ""))

    @property
    def install(self) -> str:
        """What pip must install; "" if nothing is needed."""
        if not self.extra:
            return self.needs
        return self.extra if "[" in self.extra else f"kinelint[{self.extra}]"

    @property
    def installed(self) -> bool:
        """Whether what it needs is there; nothing is imported to find out."""
        return not self.needs or find_spec(self.needs) is not None

    def sniff(self, head: bytes, path: Path) -> bool:
        """Asked of `sniff_target`."""
        return bool(loaded(self.sniff_target)(head, path))

    def read(self, path: Path, options: ReadOptions) -> Asset:
        """Done by `read_target` in the child.

        Raises:
            AssetError: the file cannot be read, or reading it cost the child its life.
        """
        if not self.installed:
            raise AssetError(
                f"reading {self.media.upper()} needs {self.needs}, which is not installed",
                mend=f'Install it: pip install "{self.install}".',
            )
        from kinelint.readers.native_host import host_of

        return host_of(self.media, self.read_target).read(path, options)


def loaded(target: str) -> Any:
    """The function that "module:function" names."""
    module, _, name = target.partition(":")
    return getattr(import_module(module), name)
