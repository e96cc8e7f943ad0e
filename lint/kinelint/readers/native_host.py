"""The children of this process: one a format, kept while they serve, replaced when they fail.

Starting one costs a fraction of a second, a question to it well under a millisecond. It is
replaced after some files or when it has grown, since some bindings never give memory back. A file
that kills a child which had read others before is given to a fresh one once more: an earlier file
may have left it broken. What then still fails is the file's own fault and is told as such.
"""

from __future__ import annotations

import atexit
import os
import re
import signal
import sys
import threading
from dataclasses import asdict
from pathlib import Path
from typing import Any

from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.readers.native_asset import from_plain
from kinelint.readers.native_memory import allowed_bytes
from kinelint.readers.native_plain import plain_words
from kinelint.readers.native_process import Answer, Bounds, Child, Lost
from kinelint.readers.native_wire import WireError
from kinelint.readers.options import ReadOptions

FILES_A_CHILD = 500
# What a child may hold besides the file it reads: what earlier files left and, of address space,
# libraries that are loaded with the first file and are never touched whole.
GROWN_BYTES = 512 << 20

# Of a path in a text its last two parts stay. Between quotes it may hold anything.
_FOLDERS = (
    re.compile(r'"[^"\n]*[/\\]([^"\n/\\]+[/\\][^"\n/\\]+)"'),
    re.compile(r"""(?:[A-Za-z]:)?[/\\][^\s"':]*[/\\]([^\s"':/\\]+[/\\][^\s"':/\\]+)"""),
)
_OURS = re.compile(r"native_child\.py|<frozen runpy>|^Extension modules:|^Current thread")

_LEAVE_OUT = "Export it again, or leave it out of the tree"


class Host:
    """Reads files of one format through a child; safe to use from several threads."""

    def __init__(self, media: str, target: str) -> None:
        self.name = media.upper()
        self.target = target
        self._child: Child | None = None
        self._lock = threading.Lock()

    def read(self, path: Path, options: ReadOptions) -> Asset:
        """All motion in a file.

        Raises:
            AssetError: the file cannot be read, or it cost the child its life.
        """
        memory = allowed_bytes(path.stat().st_size, options.max_memory_bytes)
        question = {
            "path": os.path.abspath(path),  # noqa: PTH100 - links and ".." stay as they are
            "options": asdict(options),
            "mapped_bytes": memory + GROWN_BYTES,
        }
        with self._lock:
            try:
                header, arrays = self._asked(question, memory, options.max_seconds)
                if header.get("kind") == "asset":
                    return from_plain(header.get("asset"), arrays, options)
            except Lost as lost:
                raise _told(lost, self.name, memory, options) from lost
            except WireError as error:
                self.close()
                raise _senseless(self.name, str(error)) from error
        raise _answered(header, self.name, memory, options)

    def close(self) -> None:
        """Ends the child; the next file starts another."""
        child, self._child = self._child, None
        if child is not None:
            child.end(patience_s=1.0)

    def _asked(self, question: dict[str, Any], memory: int, seconds: float) -> Answer:
        """The answer of the child; a second one's if the first had served before and died."""
        while True:
            child = self._ready()
            if child.greeting.get("kind") != "ready":
                return child.greeting, []
            try:
                return self._kept(child, child.ask(question, _bounds(child, memory, seconds)))
            except Lost as lost:
                self._child = None
                if child.served == 1 or lost.why not in ("died", "garbage"):
                    raise

    def _ready(self) -> Child:
        child = self._child
        if child is not None and not child.alive:
            self.close()
        if self._child is None:
            try:
                self._child = Child(self.target)
            except OSError as error:  # no more processes, no more memory
                raise Lost("start", error.errno or 0, str(error)) from error
        return self._child

    def _kept(self, child: Child, answer: Answer) -> Answer:
        """The answer; a child that has served long or grown large goes."""
        grown = child.resident(answer[0]) - child.at_rest_bytes
        if child.served >= FILES_A_CHILD or grown > GROWN_BYTES:
            self.close()
        return answer


def _bounds(child: Child, memory: int, seconds: float) -> Bounds:
    return Bounds(seconds, child.at_rest_bytes + GROWN_BYTES + memory, memory)


def _told(lost: Lost, name: str, memory: int, options: ReadOptions) -> AssetError:
    """A lost child as what happened to the file."""
    if lost.why == "start":
        return AssetError(
            f"the process that reads {name} does not start (status {lost.status})",
            mend="See the details of this report; install the library again.",
            details=_short_words(lost.words),
        )
    if lost.why == "time":
        return AssetError(
            f"reading it took more than the {options.max_seconds:g} s allowed",
            mend="Split it, or raise read_seconds under [limits]; a small file is broken.",
            details=_short_words(lost.words),
        )
    if lost.why == "memory" or "bad_alloc" in lost.words or "MemoryError" in lost.words:
        return _too_much(memory, options)
    if lost.why == "garbage":
        return _senseless(name, lost.garbage)
    return AssetError(
        f"the {name} library {_ending(lost.status)}",
        mend=f"{_LEAVE_OUT}; the rest of the run is not touched by it.",
        details=_short_words(lost.words),
    )


def _answered(header: dict[str, Any], name: str, memory: int, options: ReadOptions) -> AssetError:
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
                details=_short_words(str(header.get("trace", ""))),
            )
        case _:
            return _senseless(name, "it is of no known kind")


def _too_much(memory: int, options: ReadOptions) -> AssetError:
    capped = memory >= options.max_memory_bytes
    mend = "Split it, or raise read_megabytes under [limits]." if capped else "Split it."
    return AssetError(
        f"reading it takes more than the {memory >> 20} MB that a file of its size may take",
        mend=mend,
    )


def _senseless(name: str, why: str) -> AssetError:
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


def _short_words(words: str) -> str:
    """The end of what the child printed: no folders of this machine, none of our own frames.

    What it died of stands last, as in a traceback.
    """
    words = _FOLDERS[1].sub(r"\1", _FOLDERS[0].sub(r'"\1"', words))
    lines = [_line(one) for one in words.splitlines()]
    told = [one for one in lines if one and not _OURS.search(one)][-20:]
    return "\n".join(sorted(told, key=lambda one: one.startswith("Fatal Python error")))


_hosts: dict[tuple[str, str], Host] = {}
# Of the process that this one was forked from: not ours to end, nor to be cleaned up.
_left_behind: list[dict[tuple[str, str], Host]] = []
_owner = os.getpid()
_hosts_lock = threading.Lock()


def host_of(media: str, target: str) -> Host:
    """This process's host for a format."""
    global _owner, _hosts
    with _hosts_lock:
        if _owner != os.getpid():  # after a fork the children are another process's
            _left_behind.append(_hosts)
            _hosts = {}
            _owner = os.getpid()
        return _hosts.setdefault((media, target), Host(media, target))


def close_all() -> None:
    """Ends all children of this process."""
    if _owner == os.getpid():
        for host in _hosts.values():
            host.close()


atexit.register(close_all)
