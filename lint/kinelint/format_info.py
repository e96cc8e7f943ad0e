"""What a reader says of its format, in plain values."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FormatInfo:
    """One format that can be read; everything an output may print about it.

    Attributes:
        media: the format's short name.
        endings: the file endings it usually has.
        carries: what is carried over and what is not, as Markdown; "" if its reader does not say.
        install: what pip must install for it besides the pack; "" for nothing.
        installed: whether that is there.
        native: whether it is read in a process of its own.
        pack: the distribution that brought the reader, "kinelint" for the built-in ones.
    """

    media: str
    endings: tuple[str, ...]
    carries: str = ""
    install: str = ""
    installed: bool = True
    native: bool = False
    pack: str = "kinelint"
