"""Errors of usd-core as words that people can use."""

from __future__ import annotations

import re
from pathlib import Path

from pxr import Tf

from kinelint.errors import AssetError
from kinelint.readers.short import short_line

MEND = "Export it again."
FAILURES = (Tf.ErrorException, UnicodeDecodeError)
"""What usd-core raises."""
_PLACED = re.compile(
    r"^(?P<file>/.*?|[A-Za-z]:.*?):(?P<line>\d+):(?P<column>\d+): (?P<what>.*)$", re.S
)
# A path in quotes or between "@"; one that names a prim has no ending of a file.
_ELSEWHERE = re.compile(
    r"(?P<mark>[@'\"])(?:[A-Za-z]:)?[/\\][^@'\"]*[/\\](?P<name>[^@'\"/\\]+\.[^@'\"/\\]+)"
)
_GRAMMAR = re.compile(r"parse error matching \S+")
_FILE = re.compile(r",? (?:while reading )?(?:@[^@]*@|</[^>]*\.usd[acz]?(?:\[[^\]]*\])?>)")
_SESSION = re.compile(r",?@anon:[^@]*@")
_ANONYMOUS = re.compile(r"\banon:0x[0-9a-fA-F]+:?")
_ADDRESS = re.compile(r"\b0x[0-9a-fA-F]{6,16}\b")
_MOST_LETTERS = 300


def translated(problem: Exception, path: str, layer: str = "") -> AssetError:
    """The error to raise for one that usd-core raised, with line and column where it has them.

    Args:
        problem: a Tf.ErrorException, or the UnicodeDecodeError of a text that is no UTF-8.
        path: of the asset.
        layer: what to call the layer that it was raised for; nothing for the asset itself.
    """
    what, place = _said(problem, path)
    where = ", ".join(part for part in (layer, place) if part)
    return AssetError(f"usd-core cannot read it: {what}", path=path, place=where, mend=MEND)


def plain(text: str, path: str = "") -> str:
    """One line, not too long, without full stop, alike on every machine and in every run.

    Args:
        text: of usd-core, which quotes absolute paths, and layers in memory by their addresses.
        path: of the asset: files are named from its folder, or by name alone if elsewhere.
    """
    text = _ADDRESS.sub("…", _ANONYMOUS.sub("", _SESSION.sub("", text)))
    if path:
        asset = Path(path)
        for folder in (asset.absolute().parent, asset.resolve().parent):
            text = text.replace(f"{folder}/", "").replace(f"{folder.as_posix()}/", "")
    text = short_line(" ".join(text.split()), _MOST_LETTERS).rstrip(". ")
    return _ELSEWHERE.sub(r"\g<mark>\g<name>", text)


def _said(problem: Exception, path: str) -> tuple[str, str]:
    try:
        # An error may hold bytes of the file that are no text: even asking for its words fails.
        words = [str(getattr(one, "commentary", one)) for one in problem.args]
    except UnicodeDecodeError:
        words = []
    if isinstance(problem, UnicodeDecodeError) or not words:
        return "it holds text that is no UTF-8", ""
    placed = next((match for one in words if (match := _PLACED.match(one))), None)
    what = placed["what"] if placed else words[0]
    if "bad_alloc" in what:
        return "it asks for more memory than there is", ""
    what = _FILE.sub("", _GRAMMAR.sub("the text is malformed", what))
    place = f"line {placed['line']}, column {placed['column']}" if placed else ""
    return plain(what.removeprefix("Encountered: "), path), place
