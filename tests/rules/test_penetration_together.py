"""Overlaps of one limb at one time are told apart from others, however many there are."""

from itertools import pairwise

import numpy as np

from kinelint.finding import Finding, FrameSpan, Level
from kinelint_rules.contact.together import told_apart

PAIRS = (
    ("left_hand", "left_thigh"),
    ("left_forearm", "left_thigh"),
    ("left_upper_arm", "abdomen"),
    ("right_hand", "pelvis"),
    ("left_shank", "right_shank"),
    ("right_foot", "left_shank"),
)


def findings(count: int, seed: int) -> list[Finding]:
    rng = np.random.default_rng(seed)
    made = []
    for _ in range(count):
        first = int(rng.integers(0, 3000))
        span = FrameSpan(first, first + int(rng.integers(0, 700)))
        parts = PAIRS[int(rng.integers(0, len(PAIRS)))]
        depth = float(rng.uniform(10.0, 90.0))
        made.append(Finding("in", span, parts, depth, 10.0, "mm", level=Level.ERROR))
    return made


def test_each_note_has_a_deeper_leader_beside_it_and_no_two_leaders_meet():
    said = list(told_apart(findings(300, 1)))
    assert len(said) == 300
    leaders = [f for f in said if f.level is Level.ERROR]
    notes = [f for f in said if f.level is Level.NOTE]
    assert leaders
    assert notes
    for note in notes:
        assert any(
            f.measured > note.measured
            and f.span.first <= note.span.last
            and note.span.first <= f.span.last
            for f in leaders
        )
    for parts in PAIRS:
        own = sorted((f.span.first, f.span.last) for f in leaders if f.parts == parts)
        assert all(before[1] < after[0] for before, after in pairwise(own))


def test_arms_of_two_sides_and_legs_lead_their_own():
    span = FrameSpan(10, 20)
    depth = dict(zip(PAIRS, (50.0, 40.0, 30.0, 20.0, 15.0, 12.0), strict=True))
    given = [
        Finding("in", span, parts, mm, 10.0, "mm", level=Level.ERROR) for parts, mm in depth.items()
    ]
    leaders = {f.parts for f in told_apart(given) if f.level is Level.ERROR}
    assert leaders == {PAIRS[0], PAIRS[3], PAIRS[4]}


def test_the_order_of_what_is_given_does_not_matter():
    given = findings(60, 2)
    assert list(told_apart(given)) == list(told_apart(reversed(given)))
