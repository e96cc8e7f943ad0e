"""How much memory a process holds, and keeping it within bounds.

On Linux the child sets a limit on its own address space, so that an allocation beyond it fails.
Everywhere the parent also looks at the child's resident memory while it waits, and ends it where
that passes the bound: address space is not limited on macOS and Windows, and a child that was
taken over could lift its own limit.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def limit_growth(more_bytes: int) -> None:
    """Lets this process map so much more memory than it has mapped now; does nothing off Linux."""
    if sys.platform == "linux":
        import resource

        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        limit = _pages("self")[0] + more_bytes
        soft = limit if hard == resource.RLIM_INFINITY else min(limit, hard)
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def unlimit() -> None:
    """Takes the limit back, so that an answer about a lack of memory finds some."""
    if sys.platform == "linux":
        import resource

        _, hard = resource.getrlimit(resource.RLIMIT_AS)
        resource.setrlimit(resource.RLIMIT_AS, (hard, hard))


def resident_bytes(pid: int) -> int:
    """The resident memory of another process of ours; 0 if it is gone or cannot be known."""
    try:
        if sys.platform == "linux":
            return _pages(str(pid))[1]
        if sys.platform == "win32":
            return _windows_resident(pid)
        return _listed_resident(pid)
    except (OSError, ValueError, IndexError):
        return 0


def _pages(who: str) -> tuple[int, int]:
    """Bytes mapped and bytes resident."""
    import resource

    mapped, held = Path(f"/proc/{who}/statm").read_bytes().split()[:2]
    page = resource.getpagesize()
    return int(mapped) * page, int(held) * page


def _listed_resident(pid: int) -> int:
    listed = subprocess.run(
        ["ps", "-o", "rss=", "-p", str(pid)],
        capture_output=True,
        check=False,
        timeout=5,
    )
    return int(listed.stdout) * 1024


def _windows_resident(pid: int) -> int:
    if sys.platform != "win32":
        return 0
    import ctypes
    from ctypes import wintypes

    class Counters(ctypes.Structure):
        _fields_ = (
            ("cb", wintypes.DWORD),
            ("PageFaultCount", wintypes.DWORD),
            *((name, ctypes.c_size_t) for name in ("PeakWorkingSetSize", "WorkingSetSize")),
            *((f"rest{number}", ctypes.c_size_t) for number in range(6)),
        )

    kernel = ctypes.WinDLL("kernel32")
    kernel.OpenProcess.restype = wintypes.HANDLE
    process = kernel.OpenProcess(0x1000, False, pid)  # PROCESS_QUERY_LIMITED_INFORMATION
    if not process:
        return 0
    counters = Counters(cb=ctypes.sizeof(Counters))
    try:
        kernel.K32GetProcessMemoryInfo(
            wintypes.HANDLE(process), ctypes.byref(counters), counters.cb
        )
    finally:
        kernel.CloseHandle(wintypes.HANDLE(process))
    return int(counters.WorkingSetSize)
