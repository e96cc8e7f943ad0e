"""Scale channels, against products of plain 4 x 4 matrices."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.clip import Clip
from kinelint.errors import AssetError
from kinelint.motion import world
from kinelint.readers import read

HEAD = """HIERARCHY
ROOT hips
{
OFFSET 0 90 0
CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
JOINT spine
{
OFFSET 0 10 0
CHANNELS 6 Zrotation Xrotation Yrotation Xscale Yscale Zscale
JOINT head
{
OFFSET 1 40 2
CHANNELS 4 Zrotation Xrotation Yrotation Yscale
End Site
{
OFFSET 0 12 0
}
}
}
}
MOTION
Frames: 3
Frame Time: 0.0333333
"""


def clip_of(folder: Path, rows: np.ndarray) -> Clip:
    path = folder / "stretch.bvh"
    text = "\n".join(" ".join(f"{value:.6f}" for value in row) for row in rows)
    path.write_text(HEAD + text + "\n", encoding="utf-8")
    return read(path).clips[0]


def placed(offset: list[float], order: str, angles: np.ndarray, scale: np.ndarray) -> np.ndarray:
    found = np.eye(4)
    found[:3, :3] = Rotation.from_euler(order, angles, degrees=True).as_matrix() * scale
    found[:3, 3] = offset
    return found


def test_scales_are_carried_over_and_told(tmp_path: Path) -> None:
    random = np.random.default_rng(3)
    rows = random.uniform(-40, 40, (3, 16))
    # One number for all axes: the product of turned and uneven scales is no turn with scales.
    rows[:, 9:12] = np.array([[1.0], [1.25], [0.5]])
    rows[:, 15] = 1.0
    clip = clip_of(tmp_path, rows)
    assert [clip.skeleton.names[joint] for joint in clip.scaled] == ["spine"]
    np.testing.assert_allclose(clip.scales[0], rows[:, 9:12].T)
    told = [note.text for note in clip.notes if note.topic == "scale-keys"]
    assert told == ["joints change their scale: spine"]
    positions, _ = world(clip)
    for frame, row in enumerate(rows):
        hips = placed(row[:3].tolist(), "ZXY", row[3:6], np.ones(3))
        spine = hips @ placed([0, 10, 0], "ZXY", row[6:9], row[9:12])
        head = spine @ placed([1, 40, 2], "ZXY", row[12:15], np.ones(3))
        tip = head @ placed([0, 12, 0], "ZXY", np.zeros(3), np.ones(3))
        expected = [one[:3, 3] for one in (hips, spine, head, tip)]
        np.testing.assert_allclose(positions[..., frame], expected, atol=1e-4)


def test_scales_that_stay_at_one_leave_no_trace_but_a_note(tmp_path: Path) -> None:
    rows = np.zeros((3, 16))
    rows[:, [9, 10, 11, 15]] = 1.0
    clip = clip_of(tmp_path, rows)
    assert not clip.is_scaled
    assert [note.text for note in clip.notes] == [
        "joints with scale channels that stay at 1: spine, head"
    ]


def test_a_channel_of_another_kind_is_still_refused(tmp_path: Path) -> None:
    path = tmp_path / "odd.bvh"
    path.write_text(HEAD.replace("Yscale\nEnd", "Yshear\nEnd"), encoding="utf-8")
    with pytest.raises(AssetError, match="'Yshear' is no channel") as caught:
        read(path)
    assert caught.value.place == "line 13"
