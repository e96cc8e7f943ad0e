"""A body that stands still stands over its feet: statics is the reference."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from accuracy.clips import subjects
from kinelint.anatomy.mass import mass
from kinelint.errors import NotApplicable
from kinelint.finding import Level
from kinelint_rules.weight.balance import Balance, BalanceSettings, _leaning
from kinelint_rules.weight.support import heights
from real_data import folder


def said(one, **settings):
    return list(Balance.check(one, BalanceSettings(**settings)))


def test_the_distance_outside_is_that_to_scipys_hull():
    leaning = _leaning(np.full(61, 25.0))
    [found] = said(leaning)
    centre = mass(leaning).centre_m[[0, 2], 30]
    points = heights(leaning).points_m[:, [0, 2], 30]
    hull = ConvexHull(points)
    # The centre lies straight ahead of the toes: the largest signed distance is to that edge.
    off_mm = 1000.0 * float(np.max(hull.equations[:, :2] @ centre + hull.equations[:, 2]))
    breadth_mm = 0.5 * 0.055 * 1750.0
    assert found.measured == pytest.approx(off_mm - breadth_mm, abs=1.0)
    assert Balance.level is Level.NOTE
    assert found.level is None


@pytest.mark.parametrize("degrees", [0.0, 3.0, -3.0])
def test_a_person_who_sways_is_in_balance(degrees):
    assert said(_leaning(np.full(61, degrees))) == []


def test_a_body_that_passes_through_is_not_judged():
    assert said(_leaning(30.0 * np.sin(np.linspace(0.0, np.pi, 61)))) == []


def test_open_recordings_of_people_are_in_balance():
    """People cannot stand still out of balance."""
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    out = []
    for subject in subjects(folder(), (".bvh",)):
        try:
            out += [(subject.name, one.span) for one in said(subject.motion)]
        except NotApplicable:
            continue
    assert out == []
