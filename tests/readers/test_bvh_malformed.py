"""Broken BVH files: one clear error each, with the line and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from bvh_text import PLAIN, clip_of
from kinelint.errors import AssetError
from kinelint.readers import ReadOptions, read

BROKEN = {
    "not a BVH at all": (lambda t: "hello\n" + t, "line 1", "HIERARCHY"),
    "no hierarchy": (lambda t: t.replace("HIERARCHY\n", ""), "line 1", "HIERARCHY"),
    "blank file": (lambda t: "\n \n", "line 1", "MOTION"),
    "hierarchy alone": (lambda t: t[: t.index("MOTION")], "line 15", "no MOTION"),
    "no joints": (lambda t: "HIERARCHY\n" + t[t.index("MOTION") :], "line 1", "no joints"),
    "brace left open": (lambda t: t.replace("}\nMOTION", "MOTION"), "line 2", "never closed"),
    "brace too many": (lambda t: t.replace("MOTION", "}\nMOTION"), "line 16", "nothing opened"),
    "no opening brace": (
        lambda t: t.replace("hips\n{", "hips"),
        "line 2",
        "no '{' after 'hips'",
    ),
    "joint outside": (lambda t: t.replace("ROOT", "JOINT"), "line 2", "outside any ROOT"),
    "root inside": (lambda t: t.replace("JOINT", "ROOT"), "line 6", "inside another"),
    "end site outside": (
        lambda t: t.replace("MOTION", "End Site\n{\nOFFSET 0 0 0\n}\nMOTION"),
        "line 16",
        "outside any joint",
    ),
    "child of an end site": (
        lambda t: t.replace("OFFSET 0 20 0", "OFFSET 0 20 0\nJOINT x\n{\nOFFSET 0 0 0\n}"),
        "line 13",
        "no children",
    ),
    "no offset": (lambda t: t.replace("    OFFSET 0 30 0\n", ""), "line 13", "no OFFSET"),
    "two offsets": (lambda t: t.replace("0 30 0", "0 30 0\nOFFSET 0 0 0"), "line 9", "two OFFSETs"),
    "short offset": (lambda t: t.replace("OFFSET 0 20 0", "OFFSET 0 20"), "line 12", "three"),
    "offset of words": (lambda t: t.replace("0 30 0", "0 up 0"), "line 8", "'up'"),
    "offset not finite": (lambda t: t.replace("0 30 0", "0 nan 0"), "line 8", "'nan'"),
    "offset with underscore": (lambda t: t.replace("0 30 0", "0 3_0 0"), "line 8", "'3_0'"),
    "long offset": (lambda t: t.replace("0 30 0", "0 30 0 7"), "line 8", "'7' where"),
    "offset outside": (lambda t: t.replace("ROOT", "OFFSET 0 0 0\nROOT"), "line 2", "outside"),
    "channel count wrong": (lambda t: t.replace("CHANNELS 3", "CHANNELS 4"), "line 9", "names 3"),
    "channel count low": (lambda t: t.replace("CHANNELS 6", "CHANNELS 3"), "line 5", "names 6"),
    "channel count absurd": (
        lambda t: t.replace("CHANNELS 3", "CHANNELS 999999999999"),
        "line 9",
        "names 3",
    ),
    "channel count a word": (lambda t: t.replace("CHANNELS 3", "CHANNELS all"), "line 9", "'all'"),
    "unknown channel": (
        lambda t: t.replace("3 Zrotation", "3 Wrotation"),
        "line 9",
        "'Wrotation' is no channel",
    ),
    "rotation repeated": (
        lambda t: t.replace("3 Zrotation", "3 Xrotation"),
        "line 9",
        "repeats a channel",
    ),
    "position repeated": (
        lambda t: t.replace("6 Xposition", "6 Yposition"),
        "line 5",
        "repeats a channel",
    ),
    "channels twice": (
        lambda t: t.replace("OFFSET 0 30 0", "OFFSET 0 30 0\nCHANNELS 1 Xrotation"),
        "line 10",
        "CHANNELS",
    ),
    "channels of an end site": (
        lambda t: t.replace("OFFSET 0 20 0", "OFFSET 0 20 0\nCHANNELS 1 Xrotation"),
        "line 13",
        "CHANNELS",
    ),
    "no channels at all": (
        lambda t: "\n".join(row for row in t.split("\n") if "CHANNELS" not in row),
        "line 17",
        "no joint has channels",
    ),
    "stray word": (lambda t: t.replace("JOINT", "LIMB"), "line 6", "'LIMB'"),
    "no frames line": (lambda t: t.replace("Frames: 3\n", ""), "line 16", "no 'Frames:'"),
    "no frame time": (lambda t: t.replace("Frame Time: 0.0333333\n", ""), "line 17", "Frame Time"),
    "frames a word": (lambda t: t.replace("Frames: 3", "Frames: many"), "line 17", "'many'"),
    "frames too many": (lambda t: t.replace("Frames: 3", "Frames: 1e9"), "line 17", "'1e9'"),
    "frames a fraction": (lambda t: t.replace("Frames: 3", "Frames: 3.5"), "line 17", "'3.5'"),
    "frame time zero": (lambda t: t.replace("0.0333333", "0"), "line 18", "'0'"),
    "frame time zero too": (lambda t: t.replace("0.0333333", "0.000000"), "line 18", "Frame Time"),
    "frame time negative": (lambda t: t.replace("0.0333333", "-0.03"), "line 18", "'-0.03'"),
    "frame time nan": (lambda t: t.replace("0.0333333", "nan"), "line 18", "'nan'"),
    "frame time inf": (lambda t: t.replace("0.0333333", "inf"), "line 18", "'inf'"),
    "frame time a rate": (lambda t: t.replace("0.0333333", "30"), "line 18", "0.0001 to 1 s"),
    "frame time tiny": (lambda t: t.replace("0.0333333", "1e-5"), "line 18", "0.0001 to 1 s"),
    "frame time comma": (lambda t: t.replace("0.0333333", "0,033"), "line 18", "'0,033'"),
    "no rows": (lambda t: t[: t.index("1 90")], "line 17", "no frames"),
    "row cut short": (lambda t: t.replace(" 6 7 8", " 6"), "line 21", "7 numbers where"),
    "inner row short": (lambda t: t.replace(" 5 6 7\n", " 5 6\n"), "line 20", "8 numbers where"),
    "row too long": (lambda t: t.replace(" 5 6 7\n", " 5 6 7 8\n"), "line 20", "10 numbers"),
    "nan in a row": (lambda t: t.replace("11 21", "nan 21"), "line 20", "'nan'"),
    "capital NaN": (lambda t: t.replace("11 21", "-NaN(ind) 21"), "line 20", "NaN"),
    "inf in a row": (lambda t: t.replace("11 21", "-inf 21"), "line 20", "'-inf'"),
    "too big a number": (lambda t: t.replace("11 21", "1e999 21"), "line 20", "'1e999'"),
    "word in a row": (lambda t: t.replace("12 22", "12 x22"), "line 21", "'x22'"),
    "JSON null": (lambda t: t.replace("12 22", "12 null"), "line 21", "'null'"),
    "JSON true": (lambda t: t.replace("12 22", "12 true"), "line 21", "'true'"),
    "JSON text": (lambda t: t.replace("12 22", '12 "22"'), "line 21", "22"),
    "JSON list": (lambda t: t.replace("12 22", "12 [22]"), "line 21", "[22]"),
    "underscore": (lambda t: t.replace("12 22", "12 2_2"), "line 21", "'2_2'"),
    "hexadecimal": (lambda t: t.replace("12 22", "12 0x16"), "line 21", "'0x16'"),
    "decimal comma": (lambda t: t.replace("12 22", "12,5 22"), "line 21", "'12,5'"),
    "thin minus": (lambda t: t.replace("12 22", "12 \u221222"), "line 21", "22"),
    "zero bytes": (lambda t: t.replace("12 22", "12 \x00\x0022"), "line 21", r"'\x00\x0022'"),
    "a zero byte alone": (lambda t: t.replace("12 22", "12 \x00 22"), "line 21", "0x00"),
    "text after the rows": (lambda t: t + "END\n", "line 22", "'END'"),
    "a second motion": (lambda t: t + t[t.index("MOTION") :], "line 22", "'MOTION'"),
    "UTF-16": (lambda t: t.encode("utf-16"), "line 1", "UTF-16"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_file_is_one_error_with_its_line(case: str, tmp_path: Path) -> None:
    change, place, words = BROKEN[case]
    with pytest.raises(AssetError) as caught:
        clip_of(change(PLAIN), tmp_path, "broken.bvh")
    error = caught.value
    assert error.place == place, str(error)
    assert words in error.what
    assert error.path.endswith("broken.bvh")
    assert error.mend.endswith(".")
    assert "\n" not in str(error)


def test_a_short_frame_in_a_file_of_broken_lines_names_the_last_frame(tmp_path: Path) -> None:
    rows = PLAIN.index("1 90 3")
    numbers = PLAIN[rows:].split()[:-1]
    broken = "\n".join(" ".join(numbers[i : i + 4]) for i in range(0, len(numbers), 4))
    with pytest.raises(AssetError, match=r"line 25: the last frame has 8 numbers where"):
        clip_of(PLAIN[:rows] + broken, tmp_path)


def test_a_broken_row_deep_in_a_long_file_is_named(tmp_path: Path) -> None:
    # Far beyond one chunk of the parser, and with a declared count that is right.
    rows = ["0 90 0 1.5 2.5 3.5 4.5 5.5 6.5"] * 20_000
    rows[17_321] = "0 90 0 1.5 2.5 3..5 4.5 5.5 6.5"
    head = PLAIN[: PLAIN.index("1 90 3")].replace("Frames: 3", "Frames: 20000")
    with pytest.raises(AssetError, match=r"line 17340: '3\.\.5' is not a finite number"):
        clip_of(head + "\n".join(rows), tmp_path)


def test_limits_hold(tmp_path: Path) -> None:
    path = tmp_path / "clip.bvh"
    path.write_text(PLAIN)
    assert read(path, ReadOptions(max_joints=3, max_frames=3)).clips[0].frames == 3
    with pytest.raises(AssetError, match="line 10: more than 2 joints"):
        read(path, ReadOptions(max_joints=2))
    with pytest.raises(AssetError, match="line 21: 3 frames, more than the 2"):
        read(path, ReadOptions(max_frames=2))
    with pytest.raises(AssetError, match="more than the 100 that may be read"):
        read(path, ReadOptions(max_bytes=100))
