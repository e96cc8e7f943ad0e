"""Frame times as files spell them."""

from __future__ import annotations

import pytest

from kinelint.readers.bvh_motion import sample_rate


@pytest.mark.parametrize(
    ("spelled", "rate_hz", "told"),
    [
        ("0.0333333", 30.0, False),
        (".03333", 30.0, False),
        ("0.033333", 30.0, False),
        ("3.33333e-2", 30.0, False),
        ("0.0333", 30.0, True),
        ("0.041667", 24.0, False),
        ("0.0416667", 24.0, False),
        ("0.04", 25.0, False),
        ("0.02", 50.0, False),
        ("0.01", 100.0, False),
        ("0.016667", 60.0, False),
        ("0.0166667", 60.0, False),
        ("0.0167", 60.0, True),
        ("0.008333", 120.0, False),
        (".0083333", 120.0, False),
        ("0.00833333", 120.0, False),
        ("0.004167", 240.0, False),
        ("1", 1.0, False),
        ("0.0001", 10_000.0, False),
        # Film rates, n * 1000/1001 (SMPTE ST 12-1): 0.1 % from a whole rate and not the same.
        ("0.008342", 120_000 / 1001, False),
        ("0.0333667", 30_000 / 1001, False),
        ("0.0334", 30_000 / 1001, True),
        ("0.0417083", 24_000 / 1001, False),
        ("0.01668333", 60_000 / 1001, False),
        ("0.0123456", 81.0, False),
        # Nothing common has these digits: the file is taken at its word.
        ("0.03", 1 / 0.03, False),
        ("0.0335", 1 / 0.0335, False),
        ("0.033350", 1 / 0.03335, False),
    ],
)
def test_a_rounded_time_is_the_rate_that_was_meant(
    spelled: str, rate_hz: float, told: bool
) -> None:
    rate, notes = sample_rate(spelled, 9)
    assert rate == pytest.approx(rate_hz, rel=1e-12)
    assert [note.topic for note in notes] == (["sample-rate"] if told else [])
    # Never further from the file's own figure than 0.2 %.
    assert rate * float(spelled) == pytest.approx(1.0, rel=2.001e-3)
