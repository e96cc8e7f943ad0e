"""One child process from our side: started, asked, watched while it answers, and ended."""

from __future__ import annotations

import json
import os
import secrets
import signal
import subprocess
import sys
import threading
import time
from contextlib import suppress
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import Any, TypeAlias

from kinelint.readers.native_memory import resident_bytes
from kinelint.readers.native_start import environment, interpreter, own_group
from kinelint.readers.native_wire import Array, WireError, receive

START_SECONDS = 60.0
_TICK_S = 0.05
_LAST_WORDS_S = 0.2
_KEPT_WORDS = 4096
_NOISE_BYTES = 1 << 16

Answer: TypeAlias = tuple[dict[str, Any], list[Array]]


class Lost(Exception):  # noqa: N818 - a loss
    """A child that gave no answer and is gone.

    `why` is "start", "died" (then `status` is that of the process), "time", "memory", "garbage".
    """

    def __init__(self, why: str, status: int = 0, words: str = "", garbage: str = "") -> None:
        super().__init__(why)
        self.why = why
        self.status = status
        self.words = words
        self.garbage = garbage


@dataclass(frozen=True)
class Bounds:
    """What one answer may cost: seconds, resident memory of the child, bytes of its arrays."""

    seconds: float
    resident_bytes: int
    array_bytes: int


class Child:
    """A running child for one reader.

    Raises:
        Lost: it did not start.
    """

    def __init__(self, target: str) -> None:
        self.served = 0
        self._ended = False
        self.words = bytearray()
        self._token = secrets.token_hex(16)
        self._array_bytes = 0
        self._came: SimpleQueue[Answer | WireError | MemoryError | None] = SimpleQueue()
        # The greeting, then one answer a question: who sends more fills a pipe, not our memory.
        self._wanted = threading.Semaphore(1)
        self.process = subprocess.Popen(
            [*interpreter(), "-m", "kinelint.readers.native_child", self._token, target],
            bufsize=0,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            cwd=Path(sys.executable).parent,
            env=environment(),
            **own_group(),
        )
        self._threads = [
            threading.Thread(target=one, daemon=True) for one in (self._hear, self._overhear)
        ]
        for thread in self._threads:
            thread.start()
        try:
            self.greeting, _ = self._wait(Bounds(START_SECONDS, 1 << 62, 0))
        except Lost as lost:
            raise Lost("start", lost.status, lost.words) from lost
        self.at_rest_bytes = self.resident(self.greeting)

    def ask(self, question: dict[str, Any], bounds: Bounds) -> Answer:
        """The answer to a question.

        Raises:
            Lost: there is none, and the child is gone.
        """
        self.served += 1
        self._array_bytes = bounds.array_bytes
        line = json.dumps({**question, "serial": self.served}).encode() + b"\n"
        assert self.process.stdin is not None
        with suppress(OSError):  # a pipe that is broken shows as the end of the answers
            self.process.stdin.write(line)
        self._wanted.release()
        header, arrays = self._wait(bounds)
        if header.get("serial") != self.served:
            raise self._lost("garbage", garbage="it answers another question")
        return header, arrays

    def resident(self, header: dict[str, Any]) -> int:
        """The memory that it said it holds."""
        said = header.get("resident_bytes")
        return said if type(said) is int else 0

    @property
    def alive(self) -> bool:
        """Whether it still runs."""
        return self.process.poll() is None

    def end(self, patience_s: float = 0.0) -> None:
        """Closes its input, which ends it; kills it, and what it started, if that takes longer."""
        if self._ended:
            return
        self._ended = True
        self._wanted.release()
        assert self.process.stdin is not None
        with suppress(OSError):
            self.process.stdin.close()
        if patience_s:
            with suppress(subprocess.TimeoutExpired):
                self.process.wait(patience_s)
        self._kill()
        self.process.wait()
        for thread in self._threads:
            thread.join(0.5)

    def _kill(self) -> None:
        with suppress(OSError):
            if sys.platform == "win32":
                self.process.kill()
            else:
                # It leads a group of its own, to which belongs what it started.
                os.killpg(self.process.pid, signal.SIGKILL)

    def _wait(self, bounds: Bounds) -> Answer:
        until = time.monotonic() + bounds.seconds
        try:
            while True:
                died = not self.alive
                with suppress(Empty):
                    # The last words of one that died are there already, or never come: what it
                    # started may hold its pipes open.
                    left = until - time.monotonic()
                    patience = _LAST_WORDS_S if died else min(_TICK_S, left)
                    return self._sorted(self._came.get(timeout=max(patience, 0.0)))
                if died:
                    raise self._lost("died")
                if time.monotonic() >= until:
                    raise self._lost("time")
                if resident_bytes(self.process.pid) > bounds.resident_bytes:
                    raise self._lost("memory")
        except Lost:
            raise
        except BaseException:  # an interrupt: what is still to come answers nothing
            self.end()
            raise

    def _sorted(self, came: Answer | WireError | MemoryError | None) -> Answer:
        if came is None:
            raise self._lost("died")
        if isinstance(came, MemoryError):
            raise self._lost("memory")
        if isinstance(came, WireError):
            raise self._lost("garbage", garbage=str(came))
        return came

    def _lost(self, why: str, garbage: str = "") -> Lost:
        # One that closed the pipe may take a moment to die, and its status says how it did.
        self.end(patience_s=1.0 if why in ("died", "garbage") else 0.0)
        status = self.process.returncode
        return Lost(why, status, self.words.decode("utf-8", "replace"), garbage)

    def _hear(self) -> None:
        """Runs in a thread: takes answers in, so that waiting for them can have an end."""
        stream = self.process.stdout
        assert isinstance(stream, FileIO)
        with stream:
            try:
                self._skip_noise(stream)
                while self._wanted.acquire() and not self._ended:
                    self._came.put(answer := receive(stream, self._array_bytes))
                    if answer is None:
                        break
            except (WireError, MemoryError) as error:
                self._came.put(error)
            except OSError:
                self._came.put(None)

    def _skip_noise(self, stream: FileIO) -> None:
        """Past whatever start-up files of this Python printed before our code ran."""
        mark, seen = f"\n{self._token}\n".encode(), bytearray()
        while not seen.endswith(mark):
            byte = stream.read(1)
            if not byte or len(seen) > _NOISE_BYTES:
                return
            seen += byte

    def _overhear(self) -> None:
        """Runs in a thread: keeps the last of what the child prints."""
        stream = self.process.stderr
        assert isinstance(stream, FileIO)
        with stream, suppress(OSError):
            while said := stream.read(1 << 14):
                self.words += said
                del self.words[:-_KEPT_WORDS]
