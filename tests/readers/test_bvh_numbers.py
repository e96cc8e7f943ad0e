"""The block parser, against Python's float() on every token."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinelint.readers import numbers
from kinelint.readers.numbers import read_block

ODD = [
    *("0", "-0", "+5", ".5", "5.", "-.5", "+.5", "1E-07", "1e+05", "-1.5E3", "007", "-00.5"),
    *("1e-320", "123456789012345678901234567890", "0.1", "2.2250738585072014e-308", "1e22"),
    *("179.99999999999997", "9007199254740993", "-3.0517578125e-05", "4.35", "1e23"),
]


def lines_by_hand(text: bytes, columns: int) -> list[int]:
    at = [n for n, row in enumerate(text.split(b"\n"), start=1) for _ in row.split()]
    return at[::columns]


@pytest.mark.parametrize("token", ODD)
def test_each_odd_number_is_what_python_says(token: str) -> None:
    # CPython's float() rounds correctly; so must every path here.
    for text in (f"{token} 1\n", f"1 {token}\n", f"  {token}\t1 \r\n", f"{token}\n1"):
        values = read_block(text.encode(), 0, 1, 2, 1).values
        assert float(token) in values.ravel().tolist()
        assert values.tolist() == [[float(one) for one in text.split()]]


SPACES = st.sampled_from([" ", "  ", "\t", " \t "])
ENDS = st.sampled_from(["\n", "\r\n", " \n", "\n\n", "\t\r\n", " "])
FLOATS = st.floats(-1e6, 1e6, allow_nan=False).map(repr) | st.sampled_from(ODD)


@given(
    rows=st.lists(st.lists(FLOATS, min_size=3, max_size=3), min_size=1, max_size=12),
    space=st.lists(SPACES, min_size=1, max_size=3),
    end=st.lists(ENDS, min_size=1, max_size=3),
    chunk=st.sampled_from([1, 7, 40, 1 << 17]),
)
def test_any_layout_reads_as_split_and_float(
    rows: list[list[str]], space: list[str], end: list[str], chunk: int
) -> None:
    text = "".join(
        space[i % len(space)].join(row) + end[i % len(end)] for i, row in enumerate(rows)
    ).encode()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(numbers, "CHUNK_BYTES", chunk)
        block = read_block(text, 0, 1, 3, len(rows))
    assert block.values.tolist() == [[float(one) for one in row] for row in rows]
    assert block.lines.tolist() == lines_by_hand(text, 3)


def test_layout_may_change_in_the_middle(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(numbers, "CHUNK_BYTES", 64)
    rng = np.random.default_rng(1)
    values = rng.normal(0, 50, (200, 6)).round(4)
    text = ""
    for i, row in enumerate(values.tolist()):
        gap = "\n" if i == 120 else "  " if 90 < i < 100 else " "
        text += gap.join(map(repr, row)) + ("\n\n" if i == 50 else "\n")
    block = read_block(text.encode(), 0, 1, 6, 200)
    np.testing.assert_array_equal(block.values, values)
    assert block.lines.tolist() == lines_by_hand(text.encode(), 6)


@pytest.mark.parametrize("expected", [0, 1, 7, 500, 10**12, -5])
def test_a_wrong_count_changes_nothing_and_costs_no_memory(expected: int) -> None:
    text = b"1 2 3\n" * 500
    tracemalloc.start()
    block = read_block(text, 0, 1, 3, expected)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert block.values.shape == (500, 3)
    assert (block.values == [1.0, 2.0, 3.0]).all()
    assert peak < 10 * 500 * 3 * 8 + 200_000


def test_reading_begins_and_counts_where_it_is_told() -> None:
    text = b"HEAD 9 9\n1 2\n3 4\n"
    block = read_block(text, 9, 41, 2, 2)
    assert block.values.tolist() == [[1, 2], [3, 4]]
    assert block.lines.tolist() == [41, 42]


def test_nothing_is_no_rows() -> None:
    block = read_block(b"abc \n \t\n", 3, 1, 2, 2)
    assert block.values.shape == (0, 2)
    assert block.lines.shape == (0,)
