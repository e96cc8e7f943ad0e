"""What belongs to the recording and not to the clip: made clips, and takes that were looked at."""

from __future__ import annotations

import numpy as np
import pytest

from accuracy.clips import subjects
from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Level
from kinelint.synthetic import motion
from kinelint.synthetic_walk import walk
from kinelint_rules.timing.untrimmed import Untrimmed, UntrimmedSettings
from real_data import folder


def said(one, **settings):
    return list(Untrimmed.check(one, UntrimmedSettings(**settings)))


def reach(rate_hz, *starts_s, seconds, cue=None, sway_mm=0.0):
    time = np.arange(round(seconds * rate_hz) + 1) / rate_hz
    angle = sum(70.0 * np.sin(np.pi * np.clip((time - at) / 0.8, 0.0, 1.0)) ** 2 for at in starts_s)
    sway = 0.001 * sway_mm * np.sin(2 * np.pi * 0.3 * time)
    return motion(
        frames=len(time),
        sample_rate_hz=rate_hz,
        turns={"right_upper_arm": [("X", -angle)]},
        shifts_m={"pelvis": np.stack((sway, 0 * sway, 0 * sway))},
        cue=cue,
    )


@pytest.mark.parametrize("rate_hz", [24, 30, 60, 120])
@pytest.mark.parametrize("wait_s", [1.5, 3.0])
def test_waiting_is_found_at_either_end_with_its_length(rate_hz, wait_s):
    # People who stand sway by about 20 mm at 0.3 Hz (from memory).
    [head] = said(reach(rate_hz, wait_s, seconds=wait_s + 1.0, sway_mm=10))
    assert head.detail == "head"
    assert head.measured == pytest.approx(wait_s, abs=0.15)
    start = int(head.remedy.split("frame ")[1].rstrip("."))
    assert abs(start / rate_hz - (wait_s - 0.1)) < 0.15
    [tail] = said(reach(rate_hz, 0.2, seconds=1.0 + wait_s, sway_mm=10))
    assert (tail.detail, tail.level) == ("tail", Level.WARNING)
    assert tail.measured == pytest.approx(wait_s, abs=0.2)


def test_a_take_of_several_actions_is_cut_between_them():
    [found] = said(reach(60, 0.3, 2.2, 4.0, seconds=5.2))
    assert found.measured == 3
    cuts = found.remedy.split("(frames ")[1:]
    firsts = [int(one.split(" ")[0]) / 60 for one in cuts]
    assert firsts == pytest.approx([0.25, 2.15, 3.95], abs=0.15)
    assert "right_hand_1" in found.remedy
    assert said(reach(60, 0.3, 2.2, seconds=3.4), propose_cuts=False) == []


def test_walks_loops_and_poses_are_left_alone():
    assert said(walk(seconds=4.0).motion()) == []
    with pytest.raises(NotApplicable):
        said(reach(60, 2.0, seconds=4.0, cue=Cue(loop=True)))
    with pytest.raises(NotApplicable):
        said(motion(frames=300))


def test_reviewed_takes():
    """Looked at frame by frame: two takes begin in a T-pose, three begin or end standing."""
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    wanted = {
        "fair1_dab_zup": "begins with a calibration pose",
        "fair1_zombie_zup": "begins with a calibration pose",
        "accad_male1_b22_sidestepleft": "begins with stillness",
        "accad_male1_a5_pickupbox": "ends with stillness",
        "accad_male1_b3_walk": "",
        "cmu_02_01_walk": "",
        "cmu_14_14_jumping_jacks_30fps": "",
    }
    for subject in subjects(folder(), (".bvh",)):
        if subject.file in wanted:
            text = " ".join(one.message for one in said(subject.motion, propose_cuts=False))
            expected = wanted.pop(subject.file)
            assert (expected in text) if expected else text == "", subject.file
    assert not wanted
