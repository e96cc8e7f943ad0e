"""Feet that slide or sink by a known distance are found, at 30, 60 and 120 Hz alike.

The harness is `feet_seeding`; `python tests/accuracy/feet.py` prints the whole table.
"""

import numpy as np
import pytest

from accuracy.clips import subjects
from accuracy.feet import RATES_HZ, SIZES_MM, findings, made, measure
from kinelint.finding import Level
from kinelint_rules.feet.foot_slide import FootSlide
from kinelint_rules.feet.ground_contact import GroundContact
from real_data import folder


def test_every_seed_in_made_motions_is_found_with_its_size_and_level():
    table = measure(made())
    assert {key[2] for key in table} == set(RATES_HZ)
    assert {key[:2] for key in table} == {(kind, mm) for kind in SIZES_MM for mm in SIZES_MM[kind]}
    for key, tally in table.items():
        assert tally.seeds > 0, key
        assert tally.found == tally.graded == tally.seeds, key
        assert np.abs(tally.off_mm).max() < 1.0, key


@pytest.fixture(scope="module")
def captures():
    if not folder().is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    return list(subjects(folder(), (".bvh",)))


@pytest.mark.slow
def test_seeds_in_real_clips_are_found(captures):
    """Recall at least 0.97 at each size and rate, level and all; median size error below 3 mm."""
    table = measure([one.motion for one in captures])
    for key, tally in table.items():
        assert tally.seeds >= 40, key
        assert tally.graded >= 0.97 * tally.seeds, key
        assert abs(np.median(tally.off_mm)) < 3.0, key
    for kind, sizes_mm in SIZES_MM.items():
        for size_mm in sizes_mm:
            found = [table[kind, size_mm, rate].found for rate in RATES_HZ]
            assert max(found) - min(found) <= 2, (kind, size_mm)


@pytest.mark.slow
def test_untouched_captures_have_few_errors(captures):
    """At most 2 a minute of both rules together; what they are is in the closing note."""
    minutes = sum(one.minutes for one in captures)
    errors = [
        (one.name, finding.message)
        for one in captures
        for rule in (FootSlide, GroundContact)
        for finding in findings(rule, one.motion)
        if finding.level is Level.ERROR
    ]
    assert len(errors) <= 2.0 * minutes, errors
