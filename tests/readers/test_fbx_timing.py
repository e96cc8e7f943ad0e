"""Which frames stand for an FBX take. Pure arithmetic: needs no binding."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from kinelint.readers.fbx_takes import Take, distinct, spans
from kinelint.readers.fbx_timing import frame_rate_hz, frame_times, plan


def grid(rate_hz: float, frames: int, start_s: float = 0.0) -> np.ndarray:
    return start_s + np.arange(frames) / rate_hz


def settings(name: str, rate_hz: float) -> SimpleNamespace:
    return SimpleNamespace(time_mode=SimpleNamespace(name=name), frames_per_second=rate_hz)


@pytest.mark.parametrize(
    ("name", "said_hz", "rate_hz"),
    [  # SMPTE's rates are exact fractions of 1001 (SMPTE ST 12-1, from memory)
        ("NTSC_DROP_FRAME", 29.97003, 30000 / 1001),
        ("NTSC_FULL_FRAME", 29.97003, 30000 / 1001),
        ("FILM_FULL_FRAME", 23.976, 24000 / 1001),
        ("E59_94_FPS", 59.94, 60000 / 1001),
        ("PAL", 25.0, 25.0),
        ("CUSTOM", 37.5, 37.5),
    ],
)
def test_the_rate_that_a_file_says(name, said_hz, rate_hz):
    assert frame_rate_hz(settings(name, said_hz)) == rate_hz


@pytest.mark.parametrize("odd", [0.0, -30.0, float("nan"), float("inf"), 1e9])
def test_a_rate_that_is_none_is_not_believed(odd):
    assert frame_rate_hz(settings("CUSTOM", odd)) is None


@pytest.mark.parametrize("rate_hz", [24.0, 25.0, 30000 / 1001, 30.0, 37.5, 60.0, 120.0, 240.0])
@pytest.mark.parametrize("start_s", [0.0, 1.7333, -3.0])
def test_keys_on_the_file_s_frames_keep_its_rate(rate_hz, start_s):
    keys = grid(rate_hz, 50, start_s)
    found = plan(keys[0], keys[-1], keys, rate_hz, None)
    assert found.rate_hz == rate_hz
    np.testing.assert_allclose(found.times_s, keys, atol=1e-9)


def test_a_rate_below_film_is_raised_and_one_above_240_divided():
    slow = plan(0.0, 2.0, grid(12.0, 25), 12.0, None)
    assert slow.rate_hz == 24.0
    fast = plan(0.0, 1.0, grid(100.0, 101), 1000.0, None)
    assert fast.rate_hz == 200.0
    dense = plan(0.0, 1.0, grid(1000.0, 1001), 1000.0, None)
    assert dense.rate_hz == 1000.0  # no key is passed over


def test_a_take_that_begins_between_frames_takes_a_multiple():
    """As in a real take: keys at 30 Hz, the first moment a quarter of a frame later."""
    keys = grid(30.0, 31)
    found = plan(1 / 120, 1.0, keys[1:], 30.0, None)
    assert found.rate_hz == 120.0
    assert np.isin(np.round(keys[1:], 9), np.round(found.times_s, 9)).all()


def test_keys_on_no_grid_take_the_rate_asked_for_and_the_last_moment_has_a_frame():
    keys = np.array([0.0, 0.137, 0.3141, 0.71, 0.9583])
    usual = plan(0.0, 0.9583, keys, 30.0, None)
    assert usual.rate_hz >= 30.0
    asked = plan(0.0, 0.9583, keys, 30.0, 50.0)
    assert asked.rate_hz == pytest.approx(50.0, rel=0.03)
    assert asked.times_s[-1] == 0.9583


def test_a_coarser_rate_than_the_keys_is_not_taken():
    keys = grid(120.0, 121)
    assert plan(0.0, 1.0, keys, 120.0, 30.0).rate_hz == 120.0
    assert plan(0.0, 1.0, keys, 120.0, 240.0).rate_hz == 240.0


@pytest.mark.parametrize("file_hz", [None, 24.0])
def test_one_moment_is_one_frame(file_hz):
    found = plan(2.5, 2.5, np.array([2.5]), file_hz, None)
    assert found.steps == 0
    assert found.times_s.tolist() == [2.5]


def test_a_frame_next_to_a_key_asks_at_the_key():
    """A value held until a key at 0.1 s + 1e-12 s must have changed in the frame at 0.1 s."""
    keys = np.array([0.0, 0.1 + 1e-12, 0.5])
    found = plan(0.0, 0.5, keys, 30.0, None)
    asked = frame_times(found, keys)
    assert asked[3] == keys[1]
    np.testing.assert_allclose(asked, found.times_s, atol=1e-9)


def take(begin_s: float, end_s: float) -> Take:
    return Take(0, "row", None, begin_s, end_s)


@pytest.mark.parametrize(
    ("begin_s", "end_s", "expected"),
    [
        (0.5, 2.0, (0.5, 2.0)),
        (0.0, 0.0, (0.25, 1.0)),  # says nothing
        (3.0, 1.0, (0.25, 1.0)),  # ends before it begins
        (float("nan"), 1.0, (0.25, 1.0)),
    ],
)
def test_a_take_lasts_as_it_says_or_as_its_keys(begin_s, end_s, expected):
    assert spans(take(begin_s, end_s), np.array([0.25, 0.5, 1.0])) == expected


def test_names_of_takes_are_made_distinct_and_it_is_said():
    names, notes = distinct(["row", "row", "row (2)", "", "haul"])
    assert names == ["row", "row (3)", "row (2)", "take 3", "haul"]
    assert len(notes) == 1
