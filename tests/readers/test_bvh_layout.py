"""What may vary in a BVH file without changing what it says."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bvh_text import PLAIN, clip_of
from kinelint.clip import Clip

ROWS = PLAIN.index("1 90 3")


def assert_same(a: Clip, b: Clip) -> None:
    assert a.skeleton.names == b.skeleton.names
    np.testing.assert_array_equal(a.rotations, b.rotations)
    np.testing.assert_array_equal(a.translations, b.translations)
    assert a.sample_rate_hz == b.sample_rate_hz


def test_the_plain_file_reads_as_written(tmp_path: Path) -> None:
    clip = clip_of(PLAIN, tmp_path, "haul_line.bvh")
    skeleton = clip.skeleton
    assert clip.name == "haul_line"
    assert skeleton.names == ("hips", "chest", "chest end")
    assert skeleton.parents.tolist() == [-1, 0, 1]
    assert skeleton.tips.tolist() == [False, False, True]
    assert skeleton.rest_translations.tolist() == [[0, 90, 0], [0, 30, 0], [0, 20, 0]]
    assert skeleton.handles == ("line 2", "line 6", "line 10")
    assert skeleton.humanoid == {}
    assert clip.sample_rate_hz == 30.0
    # Root positions replace the OFFSET; adding both would lift the body by 90.
    assert clip.translated.tolist() == [0]
    assert clip.translations[0].tolist() == [[1, 2, 3], [90, 91, 92], [3, 4, 5]]
    assert clip.metres_per_unit is None
    assert clip.up_axis is None
    assert clip.source.media == "bvh"
    assert clip.source.frame_lines is not None
    assert clip.source.frame_lines.tolist() == [19, 20, 21]
    assert clip.notes == ()


@pytest.mark.parametrize(
    "change",
    [
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: text.replace(" ", "\t"),
        lambda text: text.replace(" ", "   "),
        lambda text: text.replace("\n", " \t \n"),
        lambda text: text.lower().replace("frames", "FRAMES"),
        lambda text: text.replace("\n  {", " {").replace("\n{", "{"),
        lambda text: "\ufeff" + text,
        lambda text: "\n\n" + text,
        lambda text: text.rstrip("\n"),
        lambda text: text + "\n \n\t\n",
        lambda text: text.replace("Frames: ", "Frames:").replace("Time: ", "Time:"),
        lambda text: text.replace("Frames: ", "Frames :\t").replace("Time: ", "Time :\t"),
        lambda text: text.replace("Frame Time", "Frame  Time").replace("Frames:", "Frames"),
        lambda text: text.replace("1 90 3", "1.0e0 +9E+01 .3e1").replace("2 91", "02. 91.00"),
        lambda text: text.replace("OFFSET 0 90 0", "OFFSET 0e0 9.0E1 -0"),
        lambda text: text.replace("\nMOTION", " MOTION"),
        lambda text: text.replace("End Site", "END SITE tip"),
        lambda text: text.replace("End Site", "EndSite"),
        lambda text: text.replace("JOINT chest", "JOINT\nchest"),
    ],
)
def test_these_changes_change_nothing(change: object, tmp_path: Path) -> None:
    assert callable(change)
    changed = clip_of(change(PLAIN), tmp_path)
    assert_same(changed, clip_of(PLAIN, tmp_path))
    assert changed.notes == ()


def test_blank_lines_shift_the_lines_of_frames(tmp_path: Path) -> None:
    text = PLAIN.replace("\n2 91", "\n\n\n2 91").replace("MOTION\n", "\nMOTION\n\n")
    clip = clip_of(text, tmp_path)
    assert_same(clip, clip_of(PLAIN, tmp_path))
    lines = clip.source.frame_lines
    assert lines is not None
    numbered = text.split("\n")
    assert [numbered[line - 1].split()[0] for line in lines] == ["1", "2", "3"]


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_lines_of_frames_and_joints_hold_in_every_line_ending(newline: str, tmp_path: Path) -> None:
    clip = clip_of(PLAIN.replace("\n", newline), tmp_path)
    assert clip.source.frame_lines is not None
    assert clip.source.frame_lines.tolist() == [19, 20, 21]
    assert clip.skeleton.handles == ("line 2", "line 6", "line 10")


def test_a_frame_may_run_over_lines(tmp_path: Path) -> None:
    numbers = PLAIN[ROWS:].split()
    broken = "\n".join(" ".join(numbers[i : i + 4]) for i in range(0, len(numbers), 4))
    clip = clip_of(PLAIN[:ROWS] + broken + "\n", tmp_path)
    assert_same(clip, clip_of(PLAIN, tmp_path))
    # Frames start at numbers 0, 9 and 18, four numbers a line from line 19 on.
    assert clip.source.frame_lines is not None
    assert clip.source.frame_lines.tolist() == [19, 21, 23]


def test_several_frames_may_share_a_line(tmp_path: Path) -> None:
    numbers = PLAIN[ROWS:].split()
    text = PLAIN[:ROWS] + " ".join(numbers[:18]) + "\n" + " ".join(numbers[18:])
    clip = clip_of(text, tmp_path)
    assert_same(clip, clip_of(PLAIN, tmp_path))
    assert clip.source.frame_lines is not None
    assert clip.source.frame_lines.tolist() == [19, 19, 20]


@pytest.mark.parametrize("declared", ["2", "4", "0", "-1", "99999999999999999999"])
def test_a_wrong_count_is_told_and_the_frames_are_all_read(declared: str, tmp_path: Path) -> None:
    clip = clip_of(PLAIN.replace("Frames: 3", f"Frames: {declared}"), tmp_path)
    assert clip.frames == 3
    (note,) = clip.notes
    assert note.topic == "frame-count"
    assert note.text == f"line 17 announces {declared} frames; 3 are there"


def test_names_may_hold_blanks_and_any_letters(tmp_path: Path) -> None:
    text = PLAIN.replace("ROOT hips", "ROOT  Hüfte  links ").replace("chest", "胸")
    clip = clip_of(text, tmp_path)
    assert clip.skeleton.names == ("Hüfte links", "胸", "胸 end")
    assert clip.notes == ()


def test_names_that_are_not_utf8_are_read_as_latin1_and_told(tmp_path: Path) -> None:
    clip = clip_of(PLAIN.replace("hips", "hüfte").encode("latin-1"), tmp_path)
    assert clip.skeleton.names[0] == "hüfte"
    assert [note.topic for note in clip.notes] == ["encoding"]


def test_a_joint_may_be_called_like_a_keyword(tmp_path: Path) -> None:
    clip = clip_of(PLAIN.replace("JOINT chest", "JOINT end offset motion"), tmp_path)
    assert clip.skeleton.names[1] == "end offset motion"


def test_a_leaf_without_end_site_and_one_without_channels_are_fine(tmp_path: Path) -> None:
    clip = clip_of(PLAIN.replace("End Site", "JOINT tip"), tmp_path)
    assert clip.skeleton.names == ("hips", "chest", "tip")
    assert not clip.skeleton.tips.any()


def test_several_roots_make_a_forest(tmp_path: Path) -> None:
    second = "ROOT line\n{\nOFFSET 1 2 3\nCHANNELS 1 Yposition\n}\n"
    text = PLAIN.replace("MOTION", second + "MOTION")
    text = "\n".join(
        row + " 7" if row[:1].isdigit() and len(row) > 8 else row for row in text.split("\n")
    )
    clip = clip_of(text, tmp_path)
    assert clip.skeleton.parents.tolist() == [-1, 0, 1, -1]
    assert clip.translated.tolist() == [0, 3]
    # Axes without a channel keep the OFFSET.
    assert clip.translations[1].tolist() == [[1, 1, 1], [7, 7, 7], [3, 3, 3]]


def test_depth_costs_no_recursion(tmp_path: Path) -> None:
    depth = 4_000
    body = "{\nOFFSET 0 1 0\nCHANNELS 1 Xrotation\n"
    text = "HIERARCHY\nROOT r\n" + body + ("JOINT j\n" + body) * (depth - 1) + "}\n" * depth
    row = " ".join(["1"] * depth)
    clip = clip_of(f"{text}MOTION\nFrames: 1\nFrame Time: 0.04\n{row}\n", tmp_path)
    assert len(clip.skeleton) == depth
    assert clip.sample_rate_hz == 25.0
