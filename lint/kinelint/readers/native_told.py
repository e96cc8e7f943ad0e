"""What is said of a file that a child could not read: one line, the mend, and details."""

from __future__ import annotations

import re
import signal
import sys
from typing import Any

from kinelint.errors import AssetError
from kinelint.readers.native_plain import plain_words
from kinelint.readers.native_process import Lost
from kinelint.readers.options import ReadOptions

# Of a path in a text its last two parts stay. Between quotes it may hold anything.
_FOLDERS = (
    re.compile(r'"[^"\n]*[/\\]([^"\n/\\]+[/\\][^"\n/\\]+)"'),
    re.compile(r"""(?:[A-Za-z]:)?[/\\][^\s"':]*[/\\]([^\s"':/\\]+[/\\][^\s"':/\\]+)"""),
)
_OURS = re.compile(r"native_child\.py|<frozen runpy>|^Extension modules:|^Current thread")

_LEAVE_OUT = "Export it again, or leave it out of the tree"


def told(lost: Lost, name: str, memory: int, options: ReadOptions) -> AssetError:
    """A lost child as what happened to the file."""
    if lost.why == "start":
        return AssetError(
            f"the process that reads {name} does not start (status {lost.status})",
            mend="See the details of this report; install the library again.",
            details=short_words(lost.words),
        )
    if lost.why == "time":
        return AssetError(
            f"reading it took more than the {options.max_seconds:g} s allowed",
            mend="Split it, or raise read_seconds under [limits]; a small file is broken.",
            details=short_words(lost.words),
        )
    if lost.why == "memory" or "bad_alloc" in lost.words or "MemoryError" in lost.words:
        return _too_much(memory, options)
    if lost.why == "garbage":
        return senseless(name, lost.garbage)
    return AssetError(
        f"the {name} library {_ending(lost.status)}",
        mend=f"{_LEAVE_OUT}; the rest of the run is not touched by it.",
        details=short_words(lost.words),
    )


def answered(header: dict[str, Any], name: str, memory: int, options: ReadOptions) -> AssetError:
    """An answer without an asset."""
    said = {key: _line(header.get(key)) for key in ("what", "place", "mend")}
    match header.get("kind"):
        case "refused":
            return AssetError(said["what"], place=said["place"], mend=said["mend"])
        case "memory":
            return _too_much(memory, options)
        case "unopened":
            return AssetError(
                f"cannot be opened: {said['what']}", mend="Check the path and its rights."
            )
        case "failed":
            return AssetError(
                f"the {name} reader failed on it: {said['what']}",
                mend="Please report this with the file; it should have said what is wrong.",
                details=short_words(str(header.get("trace", ""))),
            )
        case _:
            return senseless(name, "it is of no known kind")


def _too_much(memory: int, options: ReadOptions) -> AssetError:
    capped = memory >= options.max_memory_bytes
    mend = "Split it, or raise read_megabytes under [limits]." if capped else "Split it."
    return AssetError(
        f"reading it takes more than the {memory >> 20} MB that a file of its size may take",
        mend=mend,
    )


def senseless(name: str, why: str) -> AssetError:
    """An answer that stands for no asset."""
    return AssetError(
        f"what the {name} library made of it is no motion: {_line(why)}", mend=f"{_LEAVE_OUT}."
    )


def _ending(status: int) -> str:
    if sys.platform != "win32" and status == -signal.SIGKILL:
        return "was ended from outside on it (signal 9), as systems do when memory runs out"
    if status < 0:
        return f"crashed on it (signal {-status}, {_signal_name(-status)})"
    if status >= 0xC0000000:  # how Windows says it
        return f"crashed on it (status {status:#x})"
    return f"ended its process on it (status {status})"


def _signal_name(number: int) -> str:
    try:
        return signal.Signals(number).name
    except ValueError:
        return "unknown"


def _line(said: object) -> str:
    """A text of the child as one line that a terminal shows as it is."""
    text = plain_words(said) if isinstance(said, str) else ""
    return "".join(one if one.isprintable() else " " for one in text[:2000]).strip()


def short_words(words: str) -> str:
    """The end of what the child printed: no folders of this machine, none of our own frames.

    What it died of stands last, as in a traceback.
    """
    words = _FOLDERS[1].sub(r"\1", _FOLDERS[0].sub(r'"\1"', words))
    lines = [_line(one) for one in words.splitlines()]
    told = [one for one in lines if one and not _OURS.search(one)][-20:]
    return "\n".join(sorted(told, key=lambda one: one.startswith("Fatal Python error")))
