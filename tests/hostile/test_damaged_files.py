"""Files damaged at random, in their bytes, words or tree: clips that hold, or one error."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from hostile.bounds import in_memory, in_time
from hostile.gate_oracle import judge_and_check
from hostile.mutations import mutated
from hostile.oracle import load_and_check, load_report_and_check, read_and_check
from hostile.seeds import ENDINGS, SEEDS
from kinelint.clip import Asset

QUIET = settings(
    deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True
)
chances = st.integers(0, 2**32 - 1).map(Random)


def seeds(kind: str) -> st.SearchStrategy[bytes]:
    return st.sampled_from(list(SEEDS[kind]().values()))


@pytest.mark.parametrize("kind", ["bvh", "gltf"])
def test_a_damaged_motion_file_is_read_or_refused(kind: str, tmp_path: Path) -> None:
    path = tmp_path / f"damaged{ENDINGS[kind]}"
    came = {"read": 0, "refused": 0}

    @given(seeds(kind), chances)
    @settings(QUIET, max_examples=400)
    def holds(seed: bytes, chance: Random) -> None:
        path.write_bytes(mutated(kind, seed, chance, most=2))
        with in_time(), in_memory(path):
            found = read_and_check(path)
        came["read" if isinstance(found, Asset) else "refused"] += 1

    holds()
    assert min(came.values()) > 25


@pytest.mark.parametrize("kind", ["bvh", "gltf"])
def test_the_gate_judges_a_damaged_motion_file_or_says_why_not(kind: str, tmp_path: Path) -> None:
    path = tmp_path / f"damaged{ENDINGS[kind]}"

    @given(seeds(kind), chances)
    @settings(QUIET, max_examples=80)
    def holds(seed: bytes, chance: Random) -> None:
        path.write_bytes(mutated(kind, seed, chance, most=2))
        with in_time(60.0):
            judge_and_check(path)

    holds()


@pytest.mark.parametrize("kind", ["policy", "cues"])
def test_a_damaged_policy_or_cue_sheet_is_taken_or_refused_with_its_line(
    kind: str, tmp_path: Path
) -> None:
    path = tmp_path / "damaged.toml"
    came = {"taken": 0, "refused": 0}

    @given(seeds(kind), chances)
    @settings(QUIET, max_examples=500)
    def holds(seed: bytes, chance: Random) -> None:
        path.write_bytes(mutated(kind, seed, chance))
        with in_time():
            found = load_and_check(path, kind)
        came["taken" if found is None else "refused"] += 1

    holds()
    assert min(came.values()) > 40


@pytest.mark.parametrize("kind", ENDINGS)
def test_any_bytes_under_any_name_are_refused_or_read(kind: str, tmp_path: Path) -> None:
    path = tmp_path / f"junk{ENDINGS[kind]}"
    heads = [b"", b"HIERARCHY\n", b"glTF\x02\0\0\0", b"{", b'{"asset":', b"\xff\xfe", b"[[cue]]\n"]

    @given(st.sampled_from(heads), st.binary(max_size=200))
    @settings(QUIET, max_examples=60)
    def holds(head: bytes, body: bytes) -> None:
        path.write_bytes(head + body)
        with in_time():
            if kind in ("policy", "cues"):
                load_and_check(path, kind)
            elif kind == "report":
                load_report_and_check(path)
            else:
                read_and_check(path)

    holds()


def test_a_damaged_report_is_read_back_or_refused(tmp_path: Path) -> None:
    path = tmp_path / "report.json"

    @given(seeds("report"), chances)
    @settings(QUIET, max_examples=200)
    def holds(seed: bytes, chance: Random) -> None:
        path.write_bytes(mutated("report", seed, chance, most=2))
        with in_time():
            load_report_and_check(path)

    holds()
    for deep in (b"[" * 5000, b'{"kinelint_report":1,"report":' + b"[" * 900 + b"]" * 900 + b"}"):
        path.write_bytes(deep)
        assert load_report_and_check(path) is not None
