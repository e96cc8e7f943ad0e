"""wrap-flip: made cases, and seeds in real recordings. Long ways round: tests/readers."""

from __future__ import annotations

import numpy as np
import pytest

from accuracy.seed_files import flipped, rotation_columns, rows_of, unwrapped, wrapped, written
from bvh_text import POSITIONS, Bone, clip_of, hierarchy, motion, rotations
from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.figure import Figure
from kinelint.finding import Level
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint.testing import check_rule
from kinelint_rules.files.wrap_flip import WrapFlip, WrapFlipSettings
from real_data import folder


def said(clip, **settings):
    bare = Motion(clip, Figure(Anatomy(())))
    return list(WrapFlip.check(bare, WrapFlipSettings(**settings)))


def test_it_keeps_its_promises():
    check_rule(WrapFlip)


def test_the_remedy_names_channel_frame_and_turn(tmp_path):
    arm = Bone("arm", channels=rotations("ZXY"), end=(0.0, 10.0, 0.0))
    root = Bone("root", channels=POSITIONS, children=[arm])
    rows = np.zeros((30, 6))
    rows[:, 3] = np.where(np.arange(30) < 13, 178.0, -181.0)
    clip = clip_of(hierarchy([root]) + motion(rows.tolist()), tmp_path)
    [found] = said(clip, angles_interpolated=True)
    assert found.remedy == "Unwrap the arm from frame 13 on: add 360 to Zrotation."
    assert found.level is Level.ERROR
    assert found.measured == pytest.approx(358.0)
    # Frames in the remedy are the file's, also behind a reference pose that was set aside.
    [cut] = said(clip.cut(5, 29), angles_interpolated=True)
    assert "frame 13 on" in cut.remedy
    assert cut.span.last == 8


def test_many_joints_are_one_note(tmp_path):
    arms = [Bone(f"arm {i}", channels=rotations("XYZ"), end=(0.0, 5.0, 0.0)) for i in range(4)]
    root = Bone("root", channels=POSITIONS, children=arms)
    rows = np.zeros((30, 15))
    rows[10:, 3:15:3] = 360.0
    clip = clip_of(hierarchy([root]) + motion(rows.tolist()), tmp_path)
    [found] = said(clip)
    assert found.level is Level.NOTE
    assert "3 more joints do so too" in found.message
    assert len(said(clip, angles_interpolated=True)) == 4


def test_seeds_in_real_recordings_are_found_and_nothing_else(tmp_path):
    if not (folder() / "bvh").is_dir():
        pytest.skip("real motion files are not here (KINELINT_TEST_DATA)")
    seeds = hits = extra = kinds = 0
    off = []
    for path in sorted((folder() / "bvh").glob("*.bvh")):
        head, rows = rows_of(path.read_text(encoding="latin-1"))
        columns = rotation_columns(head)
        if len(rows) > 1400 or not columns:
            continue
        smooth = unwrapped(rows, columns)
        before = {(one.parts, one.message) for one in _of(head, smooth, tmp_path)}
        chance = np.random.default_rng(len(rows))
        for number in range(4):
            three = columns[int(chance.integers(len(columns)))]
            frame = int(chance.integers(2, len(rows) - 2))
            if number % 2:
                made = flipped(smooth, three, frame)
            else:
                made = wrapped(smooth, three[number % 3], frame, 1 if number else -1)
            found = [
                one for one in _of(head, made, tmp_path) if (one.parts, one.message) not in before
            ]
            seeds += 1
            here = [one for one in found if one.span.first < frame <= one.span.last]
            hits += bool(here)
            extra += len(found) - len(here)
            kinds += any(one.detail == ("reading" if number % 2 else "wrap") for one in here)
            if number % 2 == 0 and here:
                off.append(abs(here[0].worst_frame - frame))
    assert seeds >= 80
    # A flip beside a gimbal lock turns little further than the poses.
    assert hits >= 0.98 * seeds, (hits, seeds)
    assert kinds >= 0.98 * hits
    assert extra <= 0.05 * seeds
    assert max(off) <= 0


def _of(head, rows, where):
    clip = read(written(where / "seeded.bvh", head, rows)).clips[0]
    return said(clip, angles_interpolated=True)
