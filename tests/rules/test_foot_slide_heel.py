"""foot-slide on a foot whose heel rises and swings the other way as the ball slides."""

import numpy as np
import pytest

from accuracy.rig import Rig, min_jerk
from accuracy.two_bones import solve
from kinelint.finding import Level
from kinelint.motion import Motion
from kinelint.synthetic_walk import walk
from kinelint_rules.feet.foot_slide import FootSlide, FootSlideSettings


@pytest.mark.parametrize("size_mm", [37.5, 62.5])
@pytest.mark.parametrize("turn_deg", [-12.0, 12.0])
def test_a_rising_heel_that_swings_hides_no_slide(size_mm, turn_deg):
    made = walk(seconds=4.0).motion()
    rig = Rig.of(made.clip, made.figure)
    foot, toes = rig.joint("left_foot"), rig.joint("left_toes")
    heel_up = rig.places[foot][:, 1] - rig.places[toes][:, 1]
    still = np.abs(np.gradient(rig.places[toes][:, 2])) * rig.rate < 0.05
    # A stance in the middle of the clip, from where the heel begins to rise.
    flat = np.median(heel_up[still])
    start = next(
        f
        for f in range(60, rig.clip.frames)
        if still[f] and flat + 0.008 < heel_up[f] < flat + 0.02
    )
    weight = min_jerk((np.arange(rig.clip.frames) - start) / (0.12 * rig.rate))
    end = next(f for f in range(start, rig.clip.frames) if not still[f])
    weight[end + round(0.2 * rig.rate) :] = 0.0
    side = np.array([np.sign(turn_deg), 0.0, 0.0])
    target = rig.places[foot] + 0.001 * size_mm * np.outer(weight, side)
    solve(rig, "left_leg", target, weight > 0.0)
    found = FootSlide.check(Motion(rig.made(), made.figure, made.cue, 0.0), FootSlideSettings())
    slid = [one for one in found if getattr(one, "parts", ()) == ("left_foot",)]
    assert slid
    worst = max(slid, key=lambda one: one.measured)
    assert worst.measured == pytest.approx(size_mm, abs=8.0)
    assert worst.level in (Level.WARNING, Level.ERROR)
