"""How much memory a child takes at most is what DEVELOPERS.md says ("Native code")."""

from __future__ import annotations

import sys
import threading
import time
from pathlib import Path

import pytest

from kinelint.errors import AssetError
from kinelint.readers.native_host import GROWN_BYTES, Host
from kinelint.readers.native_memory import resident_bytes
from kinelint.readers.options import ReadOptions

OPTIONS = ReadOptions(max_memory_bytes=64 << 20)
# The parent looks 20 times a second, and the test itself does.
BETWEEN_LOOKS = 64 << 20


def doubling(generations: int) -> str:
    """Prims that each refer to the one before twice: some lines, 2 to the n prims."""
    text = '#usda 1.0\ndef "P0" {\n}\n'
    for i in range(1, generations):
        arms = "".join(f'def "{a}" ( references = </P{i - 1}> ) {{\n}}\n' for a in "xy")
        text += f'def "P{i}" {{\n{arms}}}\n'
    return text


@pytest.mark.skipif(sys.platform != "linux", reason="measured on Linux")
def test_a_child_takes_its_rest_and_the_bounds_and_no_more(tmp_path: Path) -> None:
    pytest.importorskip("pxr", reason="usd-core is not installed")
    sound, bomb = tmp_path / "crew.usda", tmp_path / "bomb.usda"
    sound.write_text('#usda 1.0\ndef "A" {\n}\n')
    bomb.write_text(doubling(24))
    host = Host("usd", "kinelint.readers.usd:read_usd")
    host.read(sound, OPTIONS)
    child = host._child
    assert child is not None
    seen, done = [0], threading.Event()

    def watch() -> None:
        while not done.is_set():
            seen.append(resident_bytes(child.process.pid))
            time.sleep(0.01)

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        with pytest.raises(AssetError, match="more than the 64 MB"):
            host.read(bomb, OPTIONS)
    finally:
        done.set()
        watcher.join()
        host.close()
    bound = child.at_rest_bytes + GROWN_BYTES + (64 << 20)
    assert max(seen) <= bound + BETWEEN_LOOKS
    # What is said of the child before its first file, in round figures.
    assert child.at_rest_bytes < 250 << 20
