"""The formats that are read: a list for the terminal, and pages in Markdown."""

from __future__ import annotations

from collections.abc import Sequence

from kinelint.format_info import FormatInfo
from kinelint.outputs.cells import cell_width, cut, padded, wrapped
from kinelint.outputs.ink import Ink
from kinelint.outputs.wording import prose

_MADE = "<!-- Made from the readers themselves: edit the reader, not this page. -->"
_ABOUT = """\
The first bytes of a file decide which reader takes it, then its ending. What a reader assumes or
sets aside is a note in every report, one for each kind.

Formats that need native code are read in a process of their own: a file that crashes it, fills its
memory or never ends costs that file, and the run goes on. `read_seconds` and `read_megabytes` under
`[limits]` in the policy say what one file may take. Formats of others come in as packages, see
"A reader" in [DEVELOPERS.md](../DEVELOPERS.md).\
"""


def render_formats(infos: Sequence[FormatInfo], *, width: int = 80, colour: bool = False) -> str:
    """One line or two a format, with what is missing to read it."""
    ink = Ink(colour)
    names = max((cell_width(one.media) for one in infos), default=0)
    lines = []
    for one in infos:
        start = f"{padded(prose(one.media), names)}  "
        rows = wrapped(_line(one), width, first=start, rest=" " * (names + 2))
        lines += [ink.strong(rows[0][: len(start)]) + rows[0][len(start) :], *rows[1:]]
    lines += ["", cut("kinelint formats FORMAT prints what is carried over from one.", width)]
    return "\n".join([*lines, ""])


def _line(one: FormatInfo) -> str:
    pack = "" if one.pack == "kinelint" else f" (pack {prose(one.pack)})"
    needs = "" if one.installed else f'; to read it: pip install "{prose(one.install)}"'
    return f"{', '.join(prose(end) for end in one.endings)}{pack}{needs}"


def render_format(info: FormatInfo, *, width: int = 80, colour: bool = False) -> str:
    """The page of one format for the terminal: its Markdown as plain lines of this width."""
    ink = Ink(colour)
    title, _, text = page(info).partition("\n")
    lines = [ink.strong(prose(title.lstrip("# ")))]
    for block in text.replace("`", "").strip().split("\n\n"):
        lines.append("")
        for item in ("\n" + block).replace("\n  ", " ").split("\n* "):
            if item.strip():
                listed = not item.startswith("\n")
                first, rest = ("  * ", "    ") if listed else ("", "")
                lines += wrapped(prose(item), width, first=first, rest=rest)
    return "\n".join([*lines, ""])


def page(info: FormatInfo, *, heading: str = "##") -> str:
    """The page of one format."""
    pack = [] if info.pack == "kinelint" else [f"From the pack {info.pack}."]
    needs = [f'Needs `pip install "{info.install}"`.'] if info.install else []
    way = ["Read in a process of its own."] if info.native else []
    endings = f"Files end in {', '.join(f'`{end}`' for end in info.endings)}."
    said = info.carries.strip() or "Its reader does not say what it carries over."
    return "\n\n".join(
        [f"{heading} {info.media}", " ".join([endings, *needs, *way, *pack]), said, ""]
    )


def page_of_all(infos: Sequence[FormatInfo]) -> str:
    """The page of all formats, in their order."""
    overview = ["| format | files | needs |", "| --- | --- | --- |"]
    for one in infos:
        endings = " ".join(f"`{end}`" for end in one.endings)
        needs = f'`pip install "{one.install}"`' if one.install else ""
        overview.append(f"| [{one.media}](#{one.media}) | {endings} | {needs} |")
    pages = "\n".join(page(one).rstrip("\n") + "\n" for one in infos)
    return "\n".join(["# Formats", "", _MADE, "", _ABOUT, "", "\n".join(overview), "", pages])
