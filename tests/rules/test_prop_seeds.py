"""Slips, turns, offsets and jumps of a boathook in real takes are found, with their sizes."""

from __future__ import annotations

import numpy as np
import pytest

from accuracy.clips import subjects
from accuracy.seed_props import FACTORS, KINDS, trials
from real_data import folder


@pytest.fixture(scope="module")
def told():
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    takes = [one for one in subjects(folder() / "bvh", (".bvh",)) if 0.05 < one.minutes < 0.2]
    found = list(trials(takes[::3], (30.0, 120.0), (0.8, 1.25, 3.0)))
    assert len(found) > 50
    return found


@pytest.mark.slow
@pytest.mark.parametrize("kind", KINDS)
def test_seeds_past_the_limit_are_found_and_those_below_are_not(told, kind):
    rows = [one for one in told if one.kind == kind]
    big = [one for one in rows if one.factor >= 1.25]
    assert 0.8 in FACTORS
    assert np.mean([one.found for one in big]) >= 0.98
    assert not any(one.found for one in rows if one.factor < 1.0)
    beside = sum(one.beside for one in rows)
    assert len(big) / (len(big) + beside) >= 0.95
    hits = [one for one in big if one.found]
    limit, slack = KINDS[kind][1:]
    off = [abs(one.off) / max(0.1 * one.factor * limit, slack) for one in hits]
    assert np.quantile(off, 0.95) <= 1.0
    assert np.mean([one.iou for one in hits]) >= 0.8
