"""FBX files cut, flipped and scrambled: the right clip or one AssetError, and the child lives."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from kinelint.clip import Asset
from readers.fbx_writer_checks import needs_fbx
from readers.fbx_writer_held import Held, same_motion
from readers.fbx_writer_spoilt import binary_cuts, flipped, numbers_in, small, text_cuts

pytestmark = needs_fbx
WORDS = [0, 1, 2, 0x7F, 0xFF, 0xFFFF, 0x7FFFFFFF, 0x80000000, 0xFFFFFFFE, 0xFFFFFFFF]
KINDS = [(7400, True), (7400, False), (7700, False), (6100, True), (6100, False)]
named = pytest.mark.parametrize(
    ("version", "text"), KINDS, ids=[f"{v}-{'text' if t else 'binary'}" for v, t in KINDS]
)


@cache
def sound(version: int, text: bool) -> bytes:
    return small(mesh=version > 7000).spelled(version, ascii_text=text)


def read_whole(held: Held, data: bytes) -> Asset:
    found = held.read(data)
    assert isinstance(found, Asset), found
    return found


@named
def test_cut_at_every_class_of_byte(version: int, text: bool, tmp_path: Path) -> None:
    """What is left is refused, or holds the whole motion still."""
    held, data = Held(tmp_path), sound(version, text)
    whole = read_whole(held, data)
    cuts = text_cuts(data) if text else binary_cuts(data)
    for kind, at in cuts.spread(each=5):
        found = held.read(data[:at], label=f"cut at {at}, {kind}")
        if isinstance(found, Asset):
            assert same_motion(found, whole), f"cut at {at}, {kind}: another motion"
    assert held.came["refused"] >= 40
    assert not held.lost


@named
def test_cut_at_every_border_of_a_record(version: int, text: bool, tmp_path: Path) -> None:
    held, data = Held(tmp_path), sound(version, text)
    whole = read_whole(held, data)
    cuts = text_cuts(data) if text else binary_cuts(data)
    places = cuts.by_class["line end" if text else "record"]
    for at in places[:: 1 + len(places) // 100]:
        found = held.read(data[:at], label=f"cut at {at}")
        if isinstance(found, Asset):
            assert same_motion(found, whole), f"cut at {at}: another motion"
    assert held.came["refused"] >= 40
    assert not held.lost


@named
def test_bits_flipped(version: int, text: bool, tmp_path: Path) -> None:
    held, data = Held(tmp_path), sound(version, text)
    rng = np.random.default_rng(version + text)
    for number in range(80):
        spoilt = flipped(data, rng, bits=1 + number % 8)
        held.read(spoilt, label=f"flip {number}")
    assert held.came["read"]
    assert held.came["refused"]
    assert not held.lost


@pytest.mark.parametrize("version", [7400, 7700, 6100])
def test_every_count_and_size_a_lie(version: int, tmp_path: Path) -> None:
    held, data = Held(tmp_path), sound(version, False)
    places = list(numbers_in(data))
    rng = np.random.default_rng(1)
    for at in rng.choice(places, 80, replace=False).tolist():
        lie = WORDS[int(rng.integers(len(WORDS)))].to_bytes(4, "little")
        held.read(data[:at] + lie + data[at + 4 :], label=f"{lie!r} at {at}")
    assert held.came["refused"] > 20
    assert not held.lost


SPOILERS = st.one_of(
    st.tuples(st.just("flip"), st.floats(0, 1), st.integers(0, 7)),
    st.tuples(st.just("put"), st.floats(0, 1), st.sampled_from(WORDS)),
    st.tuples(st.just("drop"), st.floats(0, 1), st.integers(1, 200)),
    st.tuples(st.just("double"), st.floats(0, 1), st.integers(1, 200)),
    st.tuples(st.just("insert"), st.floats(0, 1), st.binary(min_size=1, max_size=12)),
    st.tuples(st.just("move"), st.floats(0, 1), st.floats(0, 1)),
)


def spoilt(data: bytes, step: tuple[str, float, object]) -> bytes:
    kind, share, with_what = step
    at = min(int(share * len(data)), max(len(data) - 1, 0))
    if kind == "flip":
        assert isinstance(with_what, int)
        return data[:at] + bytes([data[at] ^ 1 << with_what]) + data[at + 1 :] if data else data
    if kind == "put":
        assert isinstance(with_what, int)
        return data[:at] + with_what.to_bytes(4, "little") + data[at + 4 :]
    if kind == "insert":
        assert isinstance(with_what, bytes)
        return data[:at] + with_what + data[at:]
    if kind == "move":
        assert isinstance(with_what, float)
        other = int(with_what * len(data))
        return data[:at] + data[other : other + 60] + data[at + 60 :]
    assert isinstance(with_what, int)
    span = data[at : at + with_what]
    return data[:at] + span * (2 if kind == "double" else 0) + data[at + with_what :]


@settings(
    max_examples=250,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(kind=st.sampled_from(KINDS), steps=st.lists(SPOILERS, min_size=1, max_size=5))
def test_scrambled(
    kind: tuple[int, bool], steps: list[tuple[str, float, object]], tmp_path: Path
) -> None:
    data = sound(*kind)
    for step in steps:
        data = spoilt(data, step)
    held = Held(tmp_path)
    held.read(data, label=str((kind, steps)))
    assert not held.lost


@pytest.mark.parametrize("seed", range(3))
def test_noise_behind_the_mark_of_a_binary_file(seed: int, tmp_path: Path) -> None:
    held = Held(tmp_path)
    rng = np.random.default_rng(seed)
    for size in (0, 1, 3, 4, 13, 25, 64, 1000, 100_000):
        held.refused(sound(7400, False)[:27] + rng.bytes(size), f"{size} bytes")
        held.refused(sound(7700, False)[:27] + rng.bytes(size), f"{size} bytes, wide")
    assert not held.lost
