"""Stance shares of whole gait cycles of real walks, against published ones.

Published: 60 to 64 % of the cycle at a normal speed (clinicalgaitanalysis.com, data/stance.html:
61.9 +- 1.9, 61.8 +- 2.5, 62.3 +- 1.9, 63.6 +- 3.9, 61.5 +- 1.9, 60.9 +- 2.5, 59.9 +- 2.5), falling
with speed as 64.2 - 3.5 v (Kirtley C, Whittle MW, Jefferson RJ 1985, J Biomed Eng 7:282-288).

The band held: the mean of each clip within 3.5 points of Kirtley's line at the clip's own speed,
and every cycle between 53 and 68 %. It is wider than one laboratory's because the contact of a
skeleton ends when its ball has risen 50 mm or moves at 0.8 m/s, some hundredths of a second before
the toes leave a force plate, and because one performer differs from the mean (SD 2 to 4 points).
"""

import itertools

import numpy as np
import pytest

from kinelint.anatomy.contacts import stance
from kinelint.assemble import motion_of
from kinelint.frame_spans import spans
from kinelint.intake import prepare
from kinelint.readers import read
from real_data import real

WALKS = {
    "bvh/accad_male1_b3_walk.bvh": 8,
    "bvh/accad_male2_b3_walk.bvh": 7,
    "bvh/cmu_02_01_walk.bvh": 3,
    "bvh/cmu_12_01_walk_tpose0.bvh": 5,
}


def cycles(motion):
    """Stance shares (percent) of cycles that begin and end inside the clip."""
    shares = []
    for side in ("left", "right"):
        down = spans(stance(motion, side))
        for one, following in itertools.pairwise(down):
            if one.first > 0:
                shares.append(100.0 * one.frames / (following.first - one.first))
    return shares


def speed_m_per_s(motion):
    pelvis = motion.part("pelvis").position_m
    return float(np.hypot(*(pelvis[[0, 2], -1] - pelvis[[0, 2], 0])) / motion.clip.duration_s)


@pytest.mark.parametrize("name", WALKS)
def test_stance_share_of_whole_cycles_follows_speed(name):
    motion = motion_of(prepare(read(real(name)).clips[0]).clip)
    shares = cycles(motion)
    assert len(shares) >= WALKS[name]
    assert all(53.0 <= share <= 68.0 for share in shares), shares
    kirtley = 64.2 - 3.5 * speed_m_per_s(motion)
    assert np.mean(shares) == pytest.approx(kirtley, abs=3.5)


def test_a_run_has_flight():
    """Stance below 50 % of the cycle means that both feet are off the ground (identity)."""
    motion = motion_of(prepare(read(real("bvh/accad_male2_c3_run.bvh")).clips[0]).clip)
    shares = cycles(motion)
    assert shares
    assert max(shares) < 45.0


def test_double_support_of_walks_is_what_their_stance_leaves():
    """Total double support = 2 stance - 100 on symmetric walking (identity): 17 to 30 %."""
    motion = motion_of(prepare(read(real("bvh/cmu_12_01_walk_tpose0.bvh")).clips[0]).clip)
    both = stance(motion, "left") & stance(motion, "right")
    share = 100.0 * both.mean()
    assert share == pytest.approx(2.0 * np.mean(cycles(motion)) - 100.0, abs=5.0)
