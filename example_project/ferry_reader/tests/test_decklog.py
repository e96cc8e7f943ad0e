"""The reader on logs that are right, and on each kind that is not."""

from pathlib import Path

import numpy as np
import pytest

from ferry_reader import DeckLogReader
from kinelint import AssetError, ReadOptions

LOG = """DECKLOG 1
# starboard watch
rate 30
joint pelvis none 0 0.98 0
joint left_thigh pelvis 0.09 -0.05 0
pose 0 0.98 0  0 0 0  90 0 0
pose 0.1 0.97 0  0 180 0  0 0 0
"""


def read(folder: Path, text: str, **limits: int):
    path = folder / "haul.decklog"
    path.write_text(text, encoding="utf-8")
    assert DeckLogReader().sniff(path.read_bytes(), path)
    return DeckLogReader().read(path, ReadOptions(**limits))


def test_a_log(tmp_path: Path) -> None:
    clip = read(tmp_path, LOG).clips[0]
    assert (clip.name, clip.frames, clip.sample_rate_hz) == ("haul", 2, 30.0)
    assert clip.skeleton.path(1) == "pelvis/left_thigh"
    quarter = np.sqrt(0.5)
    np.testing.assert_allclose(clip.rotations[1, :, 0], [quarter, quarter, 0, 0], atol=1e-15)
    np.testing.assert_allclose(clip.rotations[0, :, 1], [0, 0, 1, 0], atol=1e-15)
    np.testing.assert_array_equal(clip.translations[0, :, 1], [0.1, 0.97, 0])
    assert clip.source.frame_lines.tolist() == [6, 7]
    assert [note.text for note in clip.notes] == ["1 remarks were left out"]


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("rate 30", "rate fast", "line 3"),
        ("rate 30", "rate nan", "line 3"),
        ("rate 30", "rate 0", "line 3"),
        ("left_thigh pelvis", "left_thigh mast", "line 5"),
        ("joint left_thigh", "joint pelvis", "line 5"),
        ("0 180 0  0 0 0", "0 180 0", "line 7"),
        ("0 180 0", "0 inf 0", "line 7"),
        ("# starboard", "starboard", "line 2"),
        ("pose", "#pose", ""),
    ],
)
def test_a_log_that_is_wrong(tmp_path: Path, old: str, new: str, place: str) -> None:
    with pytest.raises(AssetError) as caught:
        read(tmp_path, LOG.replace(old, new))
    assert caught.value.place == place
    assert caught.value.mend


@pytest.mark.parametrize("limits", [{"max_joints": 1}, {"max_frames": 1}])
def test_limits(tmp_path: Path, limits: dict[str, int]) -> None:
    with pytest.raises(AssetError, match="more than the 1 "):
        read(tmp_path, LOG, **limits)
