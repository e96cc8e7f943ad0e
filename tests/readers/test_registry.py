"""Which reader takes a file, and what happens when none does."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import EntryPoint
from pathlib import Path

import numpy as np
import pytest

from bvh_text import PLAIN
from kinelint.clip import Asset, Clip, Skeleton
from kinelint.errors import AssetError, RegistryError
from kinelint.readers import Reader, ReadOptions, read, registry


class RowsReader:
    """A third party's format: "ROWS", then how many frames a single joint stands still."""

    media = "rows"
    endings = (".rows",)

    def sniff(self, head: bytes, path: Path) -> bool:
        return head.startswith(b"ROWS")

    def read(self, path: Path, options: ReadOptions) -> Asset:
        frames = int(path.read_text().split()[1])
        skeleton = Skeleton(("post",), np.array([-1]), np.zeros((1, 3)))
        still = np.zeros((1, 4, frames))
        still[:, 0] = 1.0
        return Asset((Clip(path.stem, skeleton, 30.0, still),), skeleton)


READER = RowsReader()
NOT_A_READER = 7


def entry(name: str, value: str) -> EntryPoint:
    return EntryPoint(name, value, registry.GROUP)


@pytest.fixture
def packs(monkeypatch: pytest.MonkeyPatch) -> list[EntryPoint]:
    """Entry points as if they were installed, and this module importable by them."""
    found: list[EntryPoint] = []
    monkeypatch.setitem(sys.modules, "rows_pack", sys.modules[__name__])
    monkeypatch.setattr(registry, "entry_points", lambda group: found)
    return found


def made(folder: Path, name: str, content: str | bytes) -> Path:
    path = folder / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def test_content_decides_not_the_ending(tmp_path: Path) -> None:
    for name in ("clip.bvh", "clip.txt", "clip", "clip.glb", "Überfahrt 夜.gltf"):
        clip = read(made(tmp_path, name, PLAIN)).clips[0]
        assert (clip.source.media, clip.frames) == ("bvh", 3)


def test_a_known_ending_over_strange_content_is_told_by_its_own_reader(tmp_path: Path) -> None:
    with pytest.raises(AssetError, match="begins with the word HIERARCHY"):
        read(made(tmp_path, "clip.bvh", "PK\x03\x04 something else"))


def test_unknown_content_lists_what_can_be_read(packs: list[EntryPoint], tmp_path: Path) -> None:
    packs.append(entry("rows", "rows_pack:READER"))
    with pytest.raises(AssetError) as caught:
        read(made(tmp_path, "notes.txt", "crew list"))
    assert caught.value.path == str(tmp_path / "notes.txt")
    for known in ("bvh (.bvh)", "gltf (.gltf, .glb", "rows (.rows)"):
        assert known in caught.value.mend


@pytest.mark.parametrize("target", ["rows_pack:READER", "rows_pack:RowsReader"])
def test_a_pack_brings_a_reader(target: str, packs: list[EntryPoint], tmp_path: Path) -> None:
    packs.append(entry("rows", target))
    clip = read(made(tmp_path, "still.dat", "ROWS 5")).clips[0]
    assert (clip.name, clip.frames) == ("still", 5)
    assert ".rows" in registry.endings()
    assert {".bvh", ".gltf", ".glb"} <= registry.endings()
    # A fault of the pack's reader costs this asset and names itself.
    with pytest.raises(AssetError, match="the reader failed on it: ValueError"):
        read(made(tmp_path, "odd.dat", "ROWS many"))


def test_a_pack_cannot_take_a_built_in_format(packs: list[EntryPoint], tmp_path: Path) -> None:
    class Greedy(RowsReader):
        def sniff(self, head: bytes, path: Path) -> bool:
            return True

    sys.modules["rows_pack"].__dict__["GREEDY"] = Greedy()
    packs.append(entry("greedy", "rows_pack:GREEDY"))
    assert read(made(tmp_path, "clip.bvh", PLAIN)).clips[0].source.media == "bvh"


def test_a_reader_that_fails_to_look_at_a_file_is_named(
    packs: list[EntryPoint], tmp_path: Path
) -> None:
    class Blind(RowsReader):
        def sniff(self, head: bytes, path: Path) -> bool:
            raise ValueError("no eyes")

    sys.modules["rows_pack"].__dict__["BLIND"] = Blind()
    packs.append(entry("blind", "rows_pack:BLIND"))
    with pytest.raises(AssetError, match="reader of rows files cannot look at it: no eyes"):
        read(made(tmp_path, "still.dat", "ROWS 5"))


@pytest.mark.parametrize("target", ["rows_pack:NOT_A_READER", "rows_pack:absent", "no_such_pack:x"])
def test_a_broken_pack_is_named_but_never_stops_a_known_format(
    target: str, packs: list[EntryPoint], tmp_path: Path
) -> None:
    packs.append(entry("broken", target))
    assert read(made(tmp_path, "clip.bvh", PLAIN)).clips[0].frames == 3
    with pytest.raises(AssetError, match="reader 'broken'"):
        read(made(tmp_path, "clip.dat", "ROWS 5"))
    with pytest.raises(RegistryError, match="reader 'broken'"):
        registry.endings()


@pytest.mark.parametrize(
    ("needs", "extra", "name", "head"),
    [
        ("ufbx", "fbx", "haul.fbx", "; FBX 7.4.0 project file\n"),
        ("pxr", "usd", "haul.usda", "#usda 1.0\n"),
    ],
)
def test_without_its_extra_a_format_says_how_to_get_it(
    needs: str, extra: str, name: str, head: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, needs, None)
    with pytest.raises(AssetError) as caught:
        read(made(tmp_path, name, head))
    assert f"needs {needs}, which is not installed" in caught.value.what
    assert caught.value.mend == f'Install it: pip install "kinelint[{extra}]".'


def test_nothing_but_asset_errors_comes_out(tmp_path: Path) -> None:
    with pytest.raises(AssetError, match="cannot be opened"):
        read(tmp_path / "absent.bvh")
    with pytest.raises(AssetError, match="cannot be opened"):
        read(tmp_path)
    with pytest.raises(AssetError, match="empty"):
        read(made(tmp_path, "empty.bvh", ""))
    with pytest.raises(AssetError, match="more than the 10 that may be read"):
        read(made(tmp_path, "big.bvh", PLAIN), ReadOptions(max_bytes=10))


def test_built_in_readers_keep_the_protocol() -> None:
    for one in registry.BUILT_IN:
        assert isinstance(one, Reader)
        if isinstance(one, registry.LazyReader):
            assert isinstance(one.loaded, Reader)
            assert set(one.loaded.endings) == set(one.endings)


def test_a_reader_need_not_say_what_it_carries() -> None:
    assert registry.carries(RowsReader()) == ""


def test_readers_are_imported_when_needed_and_not_before(tmp_path: Path) -> None:
    path = made(tmp_path, "clip.bvh", PLAIN)
    code = (
        "import sys, pathlib, kinelint.readers as r\n"
        "loaded = lambda: [m for m in sys.modules if m.startswith('kinelint.readers.')]\n"
        "assert not any('gltf' in m or 'bvh' in m for m in loaded()), loaded()\n"
        f"r.read(pathlib.Path({str(path)!r}))\n"
        "assert not any('gltf' in m for m in loaded()), loaded()\n"
        "assert 'kinelint.readers.bvh' in loaded()\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
