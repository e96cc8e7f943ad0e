"""Real captures at 120 Hz get the same verdict with every second or fourth frame alone.

The requirement: findings of warning or error level of at least 1.25 times their limit are found at
60 and at 30 Hz too, on the same foot, at the same time, with the same level.
"""

from dataclasses import replace

import pytest

from kinelint.assemble import figure_of
from kinelint.finding import Finding, Level
from kinelint.intake import prepare, reference_frames
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint_rules.feet.foot_slide import FootSlide
from kinelint_rules.feet.ground_contact import GroundContact
from real_data import real

NAMES = (
    "accad_male2_b3_walk",
    "cmu_02_01_walk",
    "cmu_10_03_soccer_43j",
    "cmu_12_01_walk_tpose0",
    "cmu_131_01_start_walk_stop",
    "cmu_135_04_frontkick_zup",
    "cmu_13_26_gestures_trim1000",
    "cmu_60_10_salsa_manA",
    "cmu_61_10_salsa_womanB",
)
STEPS = (1, 2, 4)


def decimated(clip, step):
    """Every so many frames of it, the first one among them."""
    return replace(
        clip,
        sample_rate_hz=clip.sample_rate_hz / step,
        rotations=clip.rotations[..., ::step],
        translations=clip.translations[..., ::step],
        source=replace(clip.source, frame_lines=None),
    )


def findings(clip, rule):
    """Finding, first and last second of each."""
    prepared = prepare(clip).clip
    motion, rate = Motion(prepared, figure_of((prepared,))), prepared.sample_rate_hz
    said = rule.check(motion, rule.settings_type())
    return [
        (one, (one.span.first + lead) / rate, (one.span.last + lead) / rate)
        for lead in (prepared.frame_offset,)
        for one in said
        if isinstance(one, Finding) and one.level is not Level.NOTE
    ]


def alike(one, first_s, last_s, others):
    return any(
        one.level is other.level
        and set(one.parts) & set(other.parts)
        and begins_s <= last_s + 0.1
        and ends_s >= first_s - 0.1
        for other, begins_s, ends_s in others
    )


@pytest.mark.parametrize("rule", [FootSlide, GroundContact])
@pytest.mark.parametrize("name", NAMES)
def test_a_capture_has_the_same_verdict_with_frames_left_out(name, rule):
    clip = read(real(f"bvh/{name}.bvh")).clips[0]
    assert clip.sample_rate_hz == pytest.approx(120.0, abs=1.0)
    by_step = {step: findings(decimated(clip, step), rule) for step in STEPS}
    for step, found in by_step.items():
        for one, first_s, last_s in found:
            if abs(one.measured) < 1.25 * one.limit:
                continue
            for other, others in by_step.items():
                assert alike(one, first_s, last_s, others), (step, other, one.message)


@pytest.mark.parametrize("name", NAMES)
def test_a_leading_reference_pose_is_told_with_frames_left_out(name):
    clip = read(real(f"bvh/{name}.bvh")).clips[0]
    leads = [reference_frames(decimated(clip, step)) for step in STEPS]
    assert len({lead > 0 for lead in leads}) == 1, leads
