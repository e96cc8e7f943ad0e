"""The centre of mass against the published table, and flights against free fall."""

from __future__ import annotations

import numpy as np
import pytest

from accuracy.clips import subjects
from kinelint.anatomy.mass import FOOT, HAND, HEAD, LIMBS, TRUNK, mass
from kinelint.errors import NotApplicable
from kinelint.finding import Level
from kinelint.synthetic import motion
from kinelint_rules.weight.flight import Flight, FlightSettings
from real_data import folder

GRAVITY_M_PER_S2 = 9.80665  # ISO 80000-3, standard acceleration of free fall


def said(one, **settings):
    return list(Flight.check(one, FlightSettings(**settings)))


def test_the_masses_of_all_segments_are_the_whole_body():
    # de Leva 1996, table 4, men: the shares add up to 1.
    limbs = sum(share for share, _, _ in LIMBS.values())
    assert TRUNK[0] + HEAD + 2 * (limbs + HAND + FOOT) == pytest.approx(1.0, abs=1e-9)


def test_a_standing_person_has_its_centre_of_mass_where_people_have_it():
    # Winter, Biomechanics and Motor Control of Human Movement: 0.53 to 0.57 of stature over the
    # floor for a person who stands (from memory).
    centre = mass(motion()).centre_m[:, 0]
    assert 0.53 < centre[1] / 1.75 < 0.58
    assert abs(centre[0]) < 1e-9


def jump(rate_hz, gravity, seconds=0.6, limbs=True):
    frames = round(1.2 * rate_hz) + 1
    time = np.clip(np.arange(frames) / rate_hz - 0.3, 0.0, seconds)
    rise = 0.5 * gravity * time * (seconds - time)
    swing = 60.0 * np.sin(2 * np.pi * np.arange(frames) / rate_hz) if limbs else 0.0
    turns = {"left_upper_arm": [("X", swing)], "right_upper_arm": [("X", -np.asarray(swing))]}
    shift = np.stack((0 * rise, rise, 0 * rise))
    return motion(frames=frames, sample_rate_hz=rate_hz, shifts_m={"pelvis": shift}, turns=turns)


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120, 240])
def test_free_fall_is_clean_and_half_of_it_is_not(rate_hz):
    assert said(jump(rate_hz, GRAVITY_M_PER_S2)) == []
    [found] = said(jump(rate_hz, GRAVITY_M_PER_S2 / 2))
    assert found.measured == pytest.approx(GRAVITY_M_PER_S2 / 2, rel=0.1)
    assert found.level is Level.WARNING


def test_a_clip_at_twice_its_rate_falls_four_times_as_fast():
    [found] = said(jump(60, 4 * GRAVITY_M_PER_S2))
    assert found.measured == pytest.approx(4 * GRAVITY_M_PER_S2, rel=0.05)
    assert "drops too fast" in found.message
    assert "is the frame rate right" in found.remedy


def test_standing_and_partial_clips_are_not_judged():
    with pytest.raises(NotApplicable):
        said(motion())


def test_recorded_jumps_and_runs_fall_as_bodies_fall():
    """Open recordings of people: a hop, jumping jacks, a run. Physics is the reference."""
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    known = ("accad_male1_b17", "accad_male2_c3", "cmu_14_14")
    judged = 0
    for subject in subjects(folder(), (".bvh",)):
        if subject.file.startswith(known):
            assert said(subject.motion) == []
            judged += 1
    assert judged == len(known)
