"""The child in which native code reads files: ``python -m kinelint.readers.native_child``.

It takes one question a line from its standard input and answers each on what was its standard
output (see `native_wire`); whatever the native code prints goes to standard error. It never runs
its own clean-up: some bindings crash on freeing. When its parent is gone, so is it.
"""

from __future__ import annotations

import faulthandler
import json
import os
import signal
import sys
import threading
import traceback
from dataclasses import dataclass
from io import FileIO
from pathlib import Path
from queue import SimpleQueue
from typing import Any, NoReturn

from kinelint.errors import KinelintError
from kinelint.readers.native import loaded
from kinelint.readers.native_asset import to_plain
from kinelint.readers.native_memory import limit_growth, resident_bytes, unlimit
from kinelint.readers.native_wire import Arrays, WireError, send
from kinelint.readers.options import ReadOptions

# The parent ends us at the time limit; this is for when there is no parent any more.
GRACE_S = 2.0
_LONGEST_TEXT = 2000


@dataclass(frozen=True)
class Ways:
    """Where questions come from and answers go."""

    questions: FileIO
    answers: FileIO


def main() -> NoReturn:
    """Answers until the parent has no more questions."""
    status = 1
    try:
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides what an interrupt means
        ways = _private_ways()
        _quiet_crashes()
        token, target = sys.argv[1:3]
        ways.answers.write(f"\n{token}\n".encode())
        _serve(ways, target)
        status = 0
    except BaseException:
        traceback.print_exc()
    finally:
        _flush()
        os._exit(status)


def _private_ways() -> Ways:
    """Takes the pipes away from file numbers 0 and 1, which any code may read and print to."""
    questions, answers = os.dup(0), os.dup(1)
    nothing = os.open(os.devnull, os.O_RDONLY)
    os.dup2(nothing, 0)
    os.close(nothing)
    os.dup2(2, 1)
    return Ways(FileIO(questions, "r"), FileIO(answers, "w"))


def _quiet_crashes() -> None:
    """A crash says where it happened, writes no core file and opens no window."""
    faulthandler.enable(all_threads=False)
    if sys.platform == "win32":
        import ctypes

        # SEM_FAILCRITICALERRORS | SEM_NOGPFAULTERRORBOX
        ctypes.windll.kernel32.SetErrorMode(0x0003)
    else:
        import resource

        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def _serve(ways: Ways, target: str) -> None:
    answer: dict[str, Any] = {"kind": "ready"}
    read: Any = None
    try:
        read = loaded(target)
    except Exception as error:
        answer = _failed(error)
    _send(ways, 0, answer, Arrays())
    questions: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=_listen, args=(ways, questions), daemon=True).start()
    while True:
        asked = json.loads(questions.get())
        arrays = Arrays()
        answer = _answer(read, asked, arrays)
        _send(ways, int(asked["serial"]), answer, arrays)


def _listen(ways: Ways, questions: SimpleQueue[bytes]) -> None:
    """Takes questions in; ends this process, whatever it is doing, when the parent has gone."""
    rest = b""
    try:
        while got := os.read(ways.questions.fileno(), 1 << 16):
            *lines, rest = (rest + got).split(b"\n")
            for line in lines:
                questions.put(line)
    finally:
        _flush()
        os._exit(0)


def _answer(read: Any, asked: dict[str, Any], arrays: Arrays) -> dict[str, Any]:
    """What the reader makes of a file, or why it makes nothing of it."""
    options = ReadOptions(**asked["options"])
    # Also ends native code that never lets a thread of Python run.
    faulthandler.dump_traceback_later(options.max_seconds + GRACE_S, exit=True)
    try:
        limit_growth(int(asked["mapped_bytes"]))
        asset = read(Path(asked["path"]), options)
        return {"kind": "asset", "asset": to_plain(asset, arrays)}
    except KinelintError as error:
        said = {"what": error.what, "place": error.place, "mend": error.mend}
        return {"kind": "refused", **{name: _short(text) for name, text in said.items()}}
    except MemoryError:
        return {"kind": "memory"}
    except OSError as error:
        return {"kind": "unopened", "what": _short(error.strerror or str(error))}
    except BaseException as error:
        return _failed(error)
    finally:
        unlimit()
        faulthandler.cancel_dump_traceback_later()


def _failed(error: BaseException) -> dict[str, Any]:
    said = f"{type(error).__name__}: {error}".rstrip(": ")
    frames = traceback.extract_tb(error.__traceback__)[-8:]
    trace = [f"{'/'.join(Path(f.filename).parts[-2:])}:{f.lineno} in {f.name}" for f in frames]
    return {"kind": "failed", "what": _short(said), "trace": _short("\n".join(trace))}


def _send(ways: Ways, serial: int, answer: dict[str, Any], arrays: Arrays) -> None:
    about = {"serial": serial, "resident_bytes": _resident()}
    if answer["kind"] != "asset":
        arrays = Arrays()
    try:
        send(lambda data: _write(ways.answers, data), {**about, **answer}, arrays)
    except WireError as error:
        failed = {"kind": "failed", "what": str(error), "trace": ""}
        send(lambda data: _write(ways.answers, data), {**about, **failed}, Arrays())


def _resident() -> int:
    # Asked of ourselves only where that is cheap.
    return resident_bytes(os.getpid()) if sys.platform in ("linux", "win32") else 0


def _write(stream: FileIO, data: memoryview) -> None:
    while len(data):
        data = data[stream.write(data) :]


def _short(text: str) -> str:
    return text[:_LONGEST_TEXT]


def _flush() -> None:
    """Buffers of Python are not written out by `os._exit`; what was printed may tell something."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except Exception:
            continue


if __name__ == "__main__":
    main()
