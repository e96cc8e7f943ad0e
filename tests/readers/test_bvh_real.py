"""Real files, against what their catalogue says of them and against NumPy and SciPy."""

from __future__ import annotations

import re

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.readers import read
from real_data import real

# File, joints, End Sites, frames, rate in Hz, rotation orders: counted by hand tools when the
# files were collected; licences and sources stand beside them.
FACTS = [
    ("accad_male1_a2_sway", 22, 5, 282, 30, {"ZXY"}),
    ("accad_male1_b3_walk", 22, 5, 183, 30, {"ZXY"}),
    ("accad_male2_b3_walk", 22, 5, 531, 120, {"ZXY"}),
    ("accad_male2_c3_run", 22, 5, 58, 30, {"ZXY"}),
    ("accad_martialarts_male2_subject_cal_2", 24, 5, 66, 30, {"ZXY"}),
    ("cmu_02_01_walk", 31, 7, 343, 120, {"ZYX"}),
    ("cmu_10_03_soccer_43j", 43, 14, 363, 120, {"ZXY", "ZYX"}),
    ("cmu_12_01_walk_tpose0", 31, 7, 524, 120, {"ZYX"}),
    ("cmu_131_01_start_walk_stop", 31, 7, 994, 120, {"ZXY", "ZYX"}),
    ("cmu_135_04_frontkick_zup", 19, 0, 1316, 120, {"XYZ"}),
    ("cmu_13_26_gestures_trim1000", 31, 7, 1000, 120, {"ZYX"}),
    ("cmu_14_14_jumping_jacks_30fps", 31, 7, 125, 30, {"ZXY", "ZYX"}),
    ("cmu_60_10_salsa_manA", 43, 14, 1197, 120, {"ZXY", "ZYX"}),
    ("fair1_dab_zup", 27, 7, 339, 30, {"XYZ", "YXZ"}),
    ("mh_zombiewalk_loop_75j", 75, 16, 31, 24, {"XYZ"}),
]


@pytest.mark.parametrize(
    ("name", "joints", "tips", "frames", "rate_hz", "orders"), FACTS, ids=[one[0] for one in FACTS]
)
def test_a_real_file_has_what_its_catalogue_says(
    name: str, joints: int, tips: int, frames: int, rate_hz: float, orders: set[str]
) -> None:
    path = real(f"bvh/{name}.bvh")
    clip = read(path).clips[0]
    assert int(clip.skeleton.tips.sum()) == tips
    assert len(clip.skeleton) == joints + tips
    assert clip.frames == frames
    assert clip.sample_rate_hz == rate_hz
    assert clip.name == name
    text = path.read_text("latin-1")
    assert set(orders_of(text)) == orders
    lines = text.splitlines()
    assert clip.source.frame_lines is not None
    assert clip.source.frame_lines.tolist() == list(range(len(lines) - frames + 1, len(lines) + 1))
    for handle, joint, tip in zip(
        clip.skeleton.handles, clip.skeleton.names, clip.skeleton.tips, strict=True
    ):
        line = lines[int(handle.removeprefix("line ")) - 1]
        assert line.split() == (["End", "Site"] if tip else [line.split()[0], joint])


@pytest.mark.parametrize("name", ["accad_male1_b3_walk", "cmu_131_01_start_walk_stop"])
def test_every_rotation_of_a_real_file_is_scipys(name: str) -> None:
    path = real(f"bvh/{name}.bvh")
    clip = read(path).clips[0]
    text = path.read_text("latin-1")
    values = np.loadtxt(text[re.search(r"Frame Time.*\n", text).end() :].splitlines())  # type: ignore[union-attr]
    at = 3
    np.testing.assert_array_equal(clip.translations[0].T, values[:, :3])
    bones = [i for i, tip in enumerate(clip.skeleton.tips) if not tip]
    for joint, order in zip(bones, orders_of(text), strict=True):
        expected = Rotation.from_euler(order, values[:, at : at + 3], degrees=True)
        at += 3
        found = Rotation.from_quat(clip.rotations[joint][[1, 2, 3, 0]].T)
        assert np.max((found.inv() * expected).magnitude()) < 1e-7
    assert at == values.shape[1]


def orders_of(text: str) -> list[str]:
    """The rotation order of each CHANNELS line."""
    lines = re.findall(r"CHANNELS.*", text)
    return ["".join(re.findall(r"([XYZ])rotation", line)) for line in lines]
