"""Loops that stop a frame short: what the missing frame is, and which gaps are the motion's own.

The forecast is Lagrange's interpolation, whose exactness for polynomials is textbook; the rest
follows from what a loop is: what a joint does all through a clip is no defect at its seam.
"""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.cue import Cue
from kinelint.finding import Finding, Level
from kinelint.synthetic import motion
from kinelint_rules.loops.loop_seam import LoopSeam, LoopSeamSettings
from kinelint_rules.loops.missing_frame import (
    EVEN_RAD,
    Left,
    place_steps,
    turn_steps,
    turns_left,
)


def said(one) -> list[Finding]:
    return [f for f in LoopSeam.check(one, LoopSeamSettings()) if isinstance(f, Finding)]


def arm(degrees, rate_hz: float = 30.0):
    """A loop of the left upper arm's turns, told as (axis, degrees); the other limbs swing once."""
    frames = len(degrees[0][1])
    wave = np.sin(2.0 * np.pi * np.arange(frames) / frames + 0.7)
    turns = {
        "left_upper_arm": degrees,
        "right_upper_arm": [("X", -40.0 * wave)],
        "left_thigh": [("X", -30.0 * wave)],
        "right_thigh": [("X", 30.0 * wave)],
    }
    return motion(frames=frames, sample_rate_hz=rate_hz, turns=turns, cue=Cue(loop=True))


def test_a_path_of_the_fourth_degree_is_foretold_exactly():
    times = np.arange(6.0)
    path = np.stack([np.polyval(c, times) for c in np.random.default_rng(1).normal(size=(3, 5))])
    steps = place_steps(tuple(path[:, i][None] for i in range(6)))
    assert steps.foretold[0] == pytest.approx(path[:, 3] - path[:, 2], abs=1e-9)


def test_an_even_turn_is_foretold_exactly():
    axis = np.array([1.0, 2.0, -1.0]) / np.sqrt(6.0)
    turns = Rotation.from_rotvec(np.radians(20.0) * np.arange(6)[:, None] * axis)
    quats = turns.as_quat()[:, [3, 0, 1, 2]]
    steps = turn_steps(tuple(q[None] for q in quats))
    assert steps.foretold[0] == pytest.approx(np.radians(20.0) * axis, abs=1e-9)
    assert steps.uneven(EVEN_RAD)[0] == pytest.approx(EVEN_RAD, abs=1e-9)


def test_what_is_usual_counts_the_same_way_only():
    left = Left(np.tile([0.2, 0.0, 0.0], (30, 1)), np.full(30, 0.1))
    assert left.usual(np.array([0.5, 0, 0]), 0.1) == pytest.approx(0.2)
    assert left.usual(np.array([0.0, 0.5, 0]), 0.1) == pytest.approx(0.0)
    # Half as uneven here: half as much is to be expected.
    assert left.usual(np.array([0.5, 0, 0]), 0.05) == pytest.approx(0.1)


def snapping(frames: int, every: int, later: int = 0) -> np.ndarray:
    """An arm that snaps by 24 degrees between two frames, forth and back, all through the clip."""
    return 12.0 * np.sign(np.sin(2.0 * np.pi * (np.arange(frames) - later + 0.5) / every))


def test_a_snap_at_the_seam_is_no_defect_of_an_arm_that_snaps_throughout():
    frames, every = 48, 12
    assert not said(arm([("X", snapping(frames, every))]))
    assert said(arm([("X", 24.0 * np.linspace(0.0, 1.0, frames) ** 2)]))


def test_a_gap_across_the_way_it_snaps_is_a_defect():
    frames, every = 48, 12
    off = 8.0 * np.linspace(0.0, 1.0, frames) ** 2
    assert not said(arm([("X", snapping(frames, every, later=3))]))
    found = said(arm([("X", snapping(frames, every, later=3)), ("Z", off)]))
    assert [one.level for one in found] == [Level.ERROR]
    assert found[0].parts == ("left_upper_arm",)


def test_a_long_clip_is_looked_at_in_part():
    one = arm([("X", 30.0 * np.sin(np.arange(20_000) / 40.0))])
    joint = one.part("left_upper_arm").joint
    assert 1000 < len(turns_left(one, joint).over) <= 4096


@pytest.mark.parametrize("rate_hz", [24.0, 30.0, 60.0, 120.0])
@pytest.mark.parametrize(("off_deg", "level"), [(3.75, Level.WARNING), (6.25, Level.ERROR)])
def test_fast_swings_hide_no_defect(rate_hz: float, off_deg: float, level: Level):
    """An arm that swings at 1.1 Hz by 45 degrees each way comes back 1.25 times the limit off."""
    frames = round(rate_hz / 1.1)
    place = np.arange(frames) / frames
    swing = 45.0 * np.sin(2.0 * np.pi * place) + 10.0 * np.sin(4.0 * np.pi * place + 1.0)
    assert not said(arm([("X", swing)], frames * 1.1))
    ease = np.clip(place * 1.25 - 0.25, 0.0, 1.0) ** 2
    for axis in "XYZ":
        found = said(arm([("X", swing), (axis, off_deg * ease)], frames * 1.1))
        # A warning's turn puts the hand, half a metre away, an error's way off.
        assert [one.parts[0] for one in found] == ["left_upper_arm"]
        assert found[0].level is not None
        assert found[0].level.rank >= level.rank
