"""Names in FBX files that terminals, reports or paths could take for something else."""

from __future__ import annotations

from pathlib import Path

import pytest

from hostile.gate_oracle import judge_and_check
from kinelint.clip import Asset
from kinelint.report import Report
from readers.fbx_writer_checks import assert_moves_as_written, needs_fbx
from readers.fbx_writer_held import Held
from readers.fbx_writer_records import binary, text
from readers.fbx_writer_spoilt import small

pytestmark = needs_fbx
WORDS = {
    "colours": "\x1b[31mred\x1b[0m",
    "title": "\x1b]0;gone\x07",
    "lines": "a\nb\r\nc",
    "backwards": "abc\u202edef",
    "separator": "a\u2028b\x85c",
    "null": "a\0b",
    "class mark": "a\0\1Model",
    "colons": "Model::Model::hips",
    "path": "../../../etc/passwd",
    "drive": "C:\\crew\\hips",
    "markup": "<script>alert(1)</script>&amp;&quot;",
    "quote": 'say "row"',
    "brace": "a{b}c: 1, \\",
    "comment": "a;b",
    "long": "x" * 100_000,
    "wide": "船" * 500,
    "joined": "e\u0301\u200d\ufe0f",
    "unpaired": "a\udcffb",
    "blank": " ",
    "format": "%s%n{0}",
}


@pytest.mark.parametrize("name", WORDS)
@pytest.mark.parametrize("where", ["take", "joint", "morph"])
def test_words_are_only_words(name: str, where: str, tmp_path: Path) -> None:
    scene = small(mesh=True)
    if where == "take":
        scene.takes[0].name = WORDS[name]
    elif where == "joint":
        scene.joints[1].name = WORDS[name]
    else:
        scene.meshes[0].shapes[0].name = WORDS[name]
    data = binary(scene.records(7400), 7400)
    held = Held(tmp_path)
    found = held.read(data)
    assert not held.lost
    assert isinstance(found, Asset), found
    (clip,) = found.clips
    assert len(clip.skeleton) == 3
    plain = small(mesh=True)
    plain.joints = plain.joints[:3]
    plain.joints[1].name = clip.skeleton.names[1]
    assert_moves_as_written(plain, plain.takes[0], clip)
    assert isinstance(judge_and_check(tmp_path / "spoilt.fbx"), Report)


@pytest.mark.parametrize("name", ["quote", "brace", "comment", "markup", "backwards", "format"])
def test_words_in_a_text_file(name: str, tmp_path: Path) -> None:
    scene = small()
    scene.joints[1].name = WORDS[name].replace("&amp;", "&")
    clip = Held(tmp_path).clip(text(scene.records(7400), 7400))
    assert clip.skeleton.names[0] == "hips"
    assert len(clip.skeleton) == 3
