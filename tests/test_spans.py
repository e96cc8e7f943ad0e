"""Masks to spans."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kinelint.finding import FrameSpan
from kinelint.frame_spans import spans


def _mask(text):
    return np.array([letter == "x" for letter in text])


@pytest.mark.parametrize(
    ("text", "options", "expected"),
    [
        ("....", {}, []),
        ("xxxx", {}, [(0, 3)]),
        ("x..xx", {}, [(0, 0), (3, 4)]),
        ("x..xx", {"bridge_frames": 2}, [(0, 4)]),
        ("x..xx", {"bridge_frames": 1}, [(0, 0), (3, 4)]),
        ("x..xx", {"min_frames": 2}, [(3, 4)]),
        ("x.x...x.x", {"bridge_frames": 1, "min_frames": 3}, [(0, 2), (6, 8)]),
        ("", {}, []),
    ],
)
def test_examples(text, options, expected):
    assert [(s.first, s.last) for s in spans(_mask(text), **options)] == expected


@given(st.lists(st.booleans(), max_size=60))
def test_spans_hold_exactly_the_true_frames(values):
    mask = np.array(values, dtype=bool)
    again = np.zeros(len(mask), dtype=bool)
    for span in spans(mask):
        again[span.first : span.last + 1] = True
    assert again.tolist() == mask.tolist()


def test_a_span_cannot_end_before_it_starts():
    with pytest.raises(ValueError, match="no span"):
        FrameSpan(3, 2)
