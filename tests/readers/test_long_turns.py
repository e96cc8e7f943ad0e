"""Stored rotations that run the long way round, against SciPy's `Rotation`.

How far a straight line in Euler angles turns is summed from SciPy's own rotations over many small
steps; which triples stand for one rotation SciPy says too.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial.transform import Rotation

from bvh_text import POSITIONS, Bone, clip_of, hierarchy, motion, rotations
from kinelint.clip import LongTurns
from kinelint.readers import long_turns, read
from kinelint.readers.long_turns import DETOUR_DEG, of_quaternions, path_deg
from readers.gltf_maker import GltfMaker

ORDERS = ("XYZ", "YZX", "ZXY", "ZYX", "YXZ", "XZY", "ZXZ", "XYX", "ZY")


def bvh(rows, order, folder):
    bone = Bone("arm", channels=rotations(order), end=(0.0, 10.0, 0.0))
    root = Bone("root", channels=POSITIONS, children=[bone])
    return clip_of(hierarchy([root]) + motion([[0.0, 0.0, 0.0, *row] for row in rows]), folder)


@pytest.mark.parametrize("order", ORDERS)
def test_a_straight_line_in_angles_turns_as_far_as_scipy_sums(order):
    chance = np.random.default_rng(len(order))
    before = chance.uniform(-180.0, 180.0, (len(order), 40))
    after = before + chance.uniform(-400.0, 400.0, before.shape)
    ways = np.linspace(0.0, 1.0, 2001)[:, None, None]
    between = (before + ways * (after - before)).transpose(0, 2, 1)
    turned = [Rotation.from_euler(order, one, degrees=True) for one in between]
    small = [(a.inv() * b).magnitude() for a, b in pairwise(turned)]
    summed = np.degrees(np.sum(small, axis=0))
    np.testing.assert_allclose(path_deg(order, before, after), summed, rtol=1e-3, atol=0.05)


@pytest.mark.parametrize("order", ORDERS)
def test_no_long_detour_has_short_steps_in_every_channel(order):
    chance = np.random.default_rng(1)
    before = chance.uniform(-180.0, 180.0, (len(order), 50_000))
    after = before + chance.uniform(-90.0, 90.0, before.shape)
    a, b = (Rotation.from_euler(order, one.T, degrees=True) for one in (before, after))
    true = np.degrees((a.inv() * b).magnitude())
    assert (path_deg(order, before, after) - true).max() < DETOUR_DEG


@pytest.mark.parametrize("order", ["ZXY", "XYZ", "YXZ"])
def test_a_wrap_is_told_with_what_mends_it(order, tmp_path):
    smooth = np.linspace([150.0, 10.0, 20.0], [210.0, 14.0, 25.0], 31)
    stored = smooth.copy()
    stored[:, 0] = (stored[:, 0] + 180.0) % 360.0 - 180.0
    turns = bvh(stored, order, tmp_path).long_turns
    first = int(np.argmax(np.abs(np.diff(stored[:, 0])) > 180.0)) + 1
    assert turns.frames.tolist() == [first]
    assert turns.joints.tolist() == [1]
    assert turns.kinds.tolist() == [LongTurns.WRAP]
    a, b = Rotation.from_euler(order, stored[first - 1 : first + 1], degrees=True)
    assert turns.true_deg[0] == pytest.approx(np.degrees((a.inv() * b).magnitude()), abs=1e-6)
    assert turns.stored_deg[0] == pytest.approx(358.0, abs=1.0)
    mended = stored.copy()
    for row, axis in enumerate(order):
        mended[first:, row] += turns.shifts_deg[0, "XYZ".index(axis)]
    np.testing.assert_allclose(mended, smooth, atol=1e-6)
    assert len(bvh(smooth, order, tmp_path).long_turns) == 0


@pytest.mark.parametrize("order", ["ZXY", "XYZ", "ZYX"])
def test_a_flip_to_the_other_reading_is_told(order, tmp_path):
    smooth = np.linspace([10.0, 30.0, -20.0], [25.0, 50.0, 0.0], 21)
    stored = smooth.copy()
    stored[12:, 0] -= 180.0
    stored[12:, 1] = 180.0 - stored[12:, 1]
    stored[12:, 2] += 180.0
    a, b = (Rotation.from_euler(order, one, degrees=True) for one in (smooth, stored))
    assert (a.inv() * b).magnitude().max() < 1e-6  # the same rotations, says SciPy
    turns = bvh(stored, order, tmp_path).long_turns
    assert turns.frames.tolist() == [12]
    assert turns.kinds.tolist() == [LongTurns.READING]
    shifted = stored[12] + [turns.shifts_deg[0, "XYZ".index(axis)] for axis in order]
    np.testing.assert_allclose(shifted, smooth[12], atol=1e-6)


def test_quick_turns_that_run_on_are_not_told(tmp_path):
    swing = np.zeros((20, 3))
    swing[10:, 0] = 170.0
    assert len(bvh(swing, "ZXY", tmp_path).long_turns) == 0


def test_long_files_are_looked_through_across_their_pieces(tmp_path):
    rows = np.zeros((1400, 3))
    for frame in (511, 512, 513, 1024, 1399):
        rows[frame:, 2] += 360.0
    turns = bvh(rows, "ZXY", tmp_path).long_turns
    assert turns.frames.tolist() == [511, 512, 513, 1024, 1399]


def test_no_more_than_so_many_steps_are_kept(tmp_path, monkeypatch):
    monkeypatch.setattr(long_turns, "MOST_STEPS", 50)
    rows = np.zeros((2000, 3))
    rows[::2, 0] = 360.0
    clip = bvh(rows, "ZXY", tmp_path)
    assert len(clip.long_turns) == 50
    assert any(one.topic == "long-turns" for one in clip.notes)


def test_a_sign_that_changes_turns_by_a_whole_turn_less_the_angle():
    # Between q and r with q . r < 0 the great circle on the sphere of quaternions is
    # arccos(q . r) long, and turns by twice that.
    chance = np.random.default_rng(3)
    smooth = Rotation.from_rotvec(np.linspace([0.1, 0.2, 0.0], [0.9, 0.4, 0.8], 12))
    stored = smooth.as_quat()[:, [3, 0, 1, 2]] * chance.uniform(0.99, 1.01, (12, 1))
    stored[5:] *= -1.0
    turns = of_quaternions(stored.T[None], np.array([7]), np.arange(12), LongTurns.SIGN)
    assert (turns.joints.tolist(), turns.frames.tolist()) == ([7], [5])
    true = np.degrees((smooth[4].inv() * smooth[5]).magnitude())
    assert turns.true_deg[0] == pytest.approx(true, abs=1e-4)
    assert turns.stored_deg[0] == pytest.approx(360.0 - true, abs=1e-4)


def test_a_cut_takes_its_steps_along():
    turns = LongTurns(np.array([0, 0, 1]), np.array([3, 8, 12]), np.ones(3), np.zeros(3))
    kept = turns.cut(3, 11)
    assert kept.frames.tolist() == [5]
    assert len(kept.kinds) == len(kept.shifts_deg) == 1


def about(axis, angles_deg):
    return Rotation.from_euler(axis, np.asarray(angles_deg)[:, None], degrees=True)


def gltf(folder, stored, mode, times=None):
    """A clip of one moving joint; quaternions ``(keys, 4)`` scalar last, flat tangents."""
    maker = GltfMaker()
    nodes = maker.chain("root", "arm")
    times = np.arange(len(stored)) / 30.0 if times is None else times
    values = np.asarray(stored)
    if mode == "CUBICSPLINE":
        flat = np.zeros_like(values)
        values = np.stack((flat, values, flat), axis=1).reshape(-1, 4)
    maker.animation("wave", (nodes[1], "rotation", times, values, mode))
    [clip] = read(maker.gltf(folder / "wave.gltf")).clips
    return clip


@pytest.mark.parametrize(
    ("mode", "kinds"),
    [("LINEAR", [LongTurns.SIGN]), ("CUBICSPLINE", [LongTurns.SPLINE]), ("STEP", [])],
)
def test_gltf_signs_by_interpolation(mode, kinds, tmp_path):
    # glTF 2.0, appendix C.3 to C.5: steps mix nothing, linear goes the short way, splines go
    # through the components.
    smooth = about("X", np.linspace(0.0, 60.0, 13)).as_quat()
    stored = smooth.copy()
    stored[7:] *= -1.0
    turns = gltf(tmp_path, stored, mode).long_turns
    assert turns.kinds.tolist() == kinds
    assert turns.frames.tolist() == [7] * len(kinds)
    assert len(gltf(tmp_path, smooth, mode).long_turns) == 0


def test_a_spline_through_a_sign_turns_the_long_way_says_scipy(tmp_path):
    # SciPy's Hermite spline through the four stored numbers, walked in small steps.
    stored = about("X", [0.0, 20.0]).as_quat() * np.array([1.0, -1.0])[:, None]
    [true], [told] = (
        getattr(gltf(tmp_path, stored, "CUBICSPLINE").long_turns, name)
        for name in ("true_deg", "stored_deg")
    )
    curve = CubicHermiteSpline([0.0, 1.0], stored, np.zeros((2, 4)))
    walked = Rotation.from_quat(curve(np.linspace(0.0, 1.0, 100_001)))
    summed = np.degrees((walked[:-1].inv() * walked[1:]).magnitude().sum())
    assert told == pytest.approx(summed, abs=0.1)
    assert true == pytest.approx(20.0, abs=1e-3)


def test_usd_signs_are_told(tmp_path):
    pytest.importorskip("pxr", reason="usd-core is not installed")
    from kinelint.readers.options import ReadOptions
    from kinelint.readers.usd import read_usd
    from readers.usd_maker import JOINTS, UsdMaker

    turned = np.zeros((6, len(JOINTS), 4))
    turned[..., 0] = 1.0
    arm = about("Z", np.linspace(0.0, 50.0, 6)).as_quat()
    turned[:, 2] = arm[:, [3, 0, 1, 2]]
    turned[4:, 2] *= -1.0
    maker = UsdMaker()
    maker.header(metersPerUnit=1.0, timeCodesPerSecond=30.0)
    maker.root()
    maker.skeleton()
    maker.animation(codes=list(range(6)), rotations=turned)
    [clip] = read_usd(maker.save(tmp_path / "wave.usda"), ReadOptions()).clips
    turns = clip.long_turns
    assert [clip.skeleton.names[one] for one in turns.joints] == ["Head"]
    assert (turns.frames.tolist(), turns.kinds.tolist()) == ([4], [LongTurns.SIGN])
    assert turns.true_deg[0] == pytest.approx(10.0, abs=1e-3)
