"""limb-stretch where a limb keeps another length than at rest, and where a spine bends."""

import numpy as np
import pytest

from kinelint.finding import Level
from kinelint.synthetic import bump, motion
from kinelint_rules.limbs.limb_stretch import LimbStretch, LimbStretchSettings

SHANK_M = 0.2529 * 1.75
PULSE = bump(120, 40, 80)


def said(**shifts_m):
    made = motion(frames=120, shifts_m=shifts_m)
    return list(LimbStretch.check(made, LimbStretchSettings()))


def along_shank(metres):
    down = -np.broadcast_to(metres, (120,))
    return np.stack((0 * down, down, 0 * down))


@pytest.mark.parametrize("built_percent", [-6.0, 6.0, 12.0])
def test_a_limb_built_otherwise_is_one_warning_for_the_whole_clip(built_percent):
    (one,) = said(left_foot=along_shank(0.01 * built_percent * SHANK_M))
    assert one.level is Level.WARNING
    assert (one.span.first, one.span.last) == (0, 119)
    assert one.measured == pytest.approx(built_percent)


@pytest.mark.parametrize("built_percent", [-6.0, 6.0, 12.0])
def test_changes_of_such_a_limb_are_judged_by_the_length_it_keeps(built_percent):
    own_m = (1.0 + 0.01 * built_percent) * SHANK_M
    built, pulled = said(left_foot=along_shank(own_m - SHANK_M + 0.0375 * own_m * PULSE))
    assert built.level is Level.WARNING
    assert pulled.level is None
    assert pulled.measured == pytest.approx(3.75)
    assert pulled.span.first >= 40
    assert pulled.span.last <= 80


@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_a_limb_pulled_for_most_of_a_clip_is_pulled(share):
    """Where it has its rest length at times, it is an error however long it lasts."""
    pulled = np.arange(120) >= 120 * (1.0 - share)
    (one,) = said(left_foot=along_shank(0.0375 * SHANK_M * pulled))
    assert one.level is None
    assert one.span.first == round(120 * (1.0 - share))


def test_a_spine_may_shorten_as_it_bends_and_a_shin_may_not():
    nearer = np.stack((0 * PULSE, -0.13 * 0.10 * 1.75 * PULSE, 0 * PULSE))
    assert not said(thorax=nearer)
    far = np.stack((0 * PULSE, 0.25 * 0.10 * 1.75 * PULSE, 0 * PULSE))
    (one,) = said(thorax=far)
    assert one.parts == ("abdomen",)
