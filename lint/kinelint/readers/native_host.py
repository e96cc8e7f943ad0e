"""The children of this process: one a format, kept while they serve, replaced when they fail.

Starting one costs a fraction of a second, a question to it well under a millisecond. It is
replaced after some files or when it has grown, since some bindings never give memory back. A file
that kills a child which had read others before is given to a fresh one once more: an earlier file
may have left it broken. What then still fails is the file's own fault and is told as such.
"""

from __future__ import annotations

import atexit
import os
import threading
from dataclasses import asdict
from pathlib import Path
from typing import Any

from kinelint.clip import Asset
from kinelint.readers.native_asset import from_plain
from kinelint.readers.native_process import Answer, Bounds, Child, Lost
from kinelint.readers.native_told import answered, senseless, told
from kinelint.readers.native_wire import WireError
from kinelint.readers.options import ReadOptions

FILES_A_CHILD = 500
# What a child may hold besides the file it reads: what earlier files left and, of address space,
# libraries that are loaded with the first file and are never touched whole.
GROWN_BYTES = 512 << 20


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
        memory = options.memory_for(path.stat().st_size)
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
                raise told(lost, self.name, memory, options) from lost
            except WireError as error:
                self.close()
                raise senseless(self.name, str(error)) from error
        raise answered(header, self.name, memory, options)

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
