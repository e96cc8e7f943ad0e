"""A made native format whose files say what happens to the process that reads them.

"HULL" and one deed: what a broken library or a hostile file may do. Runs in the child.
"""

from __future__ import annotations

import ctypes
import os
import stat
import subprocess
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path

import numpy as np

from kinelint.clip import Asset, Clip, Skeleton
from kinelint.errors import AssetError
from kinelint.readers.native import NativeReader
from kinelint.readers.options import ReadOptions

CARRIES = "* Frames of a hull that lies still."


def sniff(head: bytes, path: Path) -> bool:
    return head.startswith(b"HULL")


def read_hull(path: Path, options: ReadOptions) -> Asset:
    _, deed, *rest = path.read_text(encoding="utf-8").split()
    DEEDS[deed](*rest)
    frames = int(rest[0]) if deed == "still" and rest else 3
    skeleton = Skeleton(("hull",), np.array([-1]), np.zeros((1, 3)))
    still = np.zeros((1, 4, frames))
    still[:, 0] = 1.0
    return Asset((Clip(path.stem, skeleton, 30.0, still),), skeleton)


def reader(target: str = "hull_format:read_hull", needs: str = "", extra: str = "") -> NativeReader:
    return NativeReader("hull", (".hull",), "hull_format:sniff", target, needs, extra)


READER = reader()


def _loop() -> None:
    while True:
        pass


def _hold() -> None:
    """Native code that never lets another thread of Python run."""
    ctypes.PyDLL(None).sleep(600)


def _bomb() -> None:
    """Memory asked for and never used: only Linux refuses it."""
    held = []
    while True:
        held.append(np.empty(1 << 26))


def _native_bomb() -> None:
    """As a C++ library ends when an allocation fails."""
    library = ctypes.CDLL(None)
    library.malloc.restype = ctypes.c_void_p
    while library.malloc(ctypes.c_size_t(1 << 26)):
        pass
    os.write(2, b"terminate called after throwing an instance of 'std::bad_alloc'\n")
    os.abort()


def _unlimited_bomb() -> None:
    """Memory taken by one that has lifted its own limit."""
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    held = []
    while True:
        held.append(np.ones(1 << 21))
        time.sleep(0.02)


def _pipes() -> list[int]:
    """The pipes that this process could write to besides its standard ones."""
    found = []
    for number in range(3, 64):
        with suppress(OSError):
            if stat.S_ISFIFO(os.fstat(number).st_mode):
                found.append(number)
    return found


def _garbage() -> None:
    for number in _pipes():
        with suppress(OSError):
            os.write(number, b"<html>" * 100)


def _flood() -> None:
    """Answers without end, as fast as they are taken."""
    header = b'{"arrays":[["float",[131072]]]}'
    answer = b"kin1" + len(header).to_bytes(4, "little") + header + bytes(1 << 20)
    while True:
        for number in _pipes():
            with suppress(OSError):
                os.write(number, answer)


def _close() -> None:
    for number in _pipes():
        with suppress(OSError):
            os.close(number)


def _print() -> None:
    print("python prints")
    os.write(1, b"native code prints\n")
    subprocess.run([sys.executable, "-c", "print('a program prints')"], check=True)
    print("on and on " * 20_000)
    assert sys.stdin.read() == ""


def _threads() -> None:
    for _ in range(20):
        threading.Thread(target=lambda: print("thread"), daemon=True).start()
        threading.Thread(target=time.sleep, args=(600,)).start()


def _children() -> None:
    """A process that outlives this one and holds its pipes open."""
    if os.fork() == 0:
        if len(_pipes()):
            os.setsid()
        time.sleep(3)
        os._exit(0)
    os.abort()


def _refuse() -> None:
    raise AssetError("the mast is missing", place="line 2", mend="Step the mast.")


def _raise() -> None:
    raise ValueError("no \x1b[31mkeel\n and no \ud800 rudder")


def _exit() -> None:
    sys.exit(3)


def _after_mark() -> None:
    """Crashes in a process that has read another file before, and not in a fresh one."""
    marks = sys.modules[__name__].__dict__
    if marks.setdefault("_used", 0):
        os.abort()


def _mark() -> None:
    sys.modules[__name__].__dict__["_used"] = 1


DEEDS = {
    "still": lambda *_: None,
    "segv": lambda: ctypes.string_at(0),
    "abort": os.abort,
    "kill": lambda: os.kill(os.getpid(), 9),
    "exit": _exit,
    "os-exit": lambda: os._exit(3),
    "raise": _raise,
    "refuse": _refuse,
    "unopened": lambda: Path("absent").read_bytes(),
    "loop": _loop,
    "hold": _hold,
    "nap": lambda seconds: time.sleep(float(seconds)),
    "bomb": _bomb,
    "native-bomb": _native_bomb,
    "unlimited-bomb": _unlimited_bomb,
    "garbage": _garbage,
    "flood": _flood,
    "close": _close,
    "print": _print,
    "threads": _threads,
    "children": _children,
    "mark": _mark,
    "after-mark": _after_mark,
}
