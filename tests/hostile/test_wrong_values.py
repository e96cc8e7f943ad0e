"""Every place of a glTF tree with every kind of wrong value, and what fuzzing has found."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from hostile.bounds import in_time
from hostile.gate_oracle import judge_and_check
from hostile.mutations import apart, container, places
from hostile.oracle import read_and_check
from hostile.seeds import gltf_seeds
from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.report import Report
from readers.gltf_maker import GltfMaker

SEEDS = {name: data for name, data in gltf_seeds().items() if name.endswith("glb")}
DEEP: Any = 1
for _ in range(900):
    DEEP = [DEEP]
WRONG = [None, True, -1, 0, 0.5, 2**40, 1e300, "x", "\x1b[31m" * 300, [], [[]], {}, DEEP]


@pytest.mark.parametrize("name", SEEDS)
def test_a_wrong_value_at_any_place_is_read_or_refused(name: str, tmp_path: Path) -> None:
    path = tmp_path / "wrong.glb"
    text, binary = apart(SEEDS[name])
    assert binary is not None
    tree = json.loads(text)
    refused = 0
    for holder, key in list(places(tree)):
        right = holder[key]
        for wrong in WRONG:
            holder[key] = wrong
            path.write_bytes(container(json.dumps(tree).encode(), binary))
            with in_time():
                refused += isinstance(read_and_check(path), AssetError)
        holder[key] = right
    assert refused > 100


@pytest.mark.parametrize("name", SEEDS)
def test_a_key_missing_at_any_place_is_read_or_refused(name: str, tmp_path: Path) -> None:
    path = tmp_path / "wrong.glb"
    text, binary = apart(SEEDS[name])
    assert binary is not None
    for number in range(len(list(places(json.loads(text))))):
        tree = json.loads(text)
        holder, key = list(places(tree))[number]
        del holder[key]
        path.write_bytes(container(json.dumps(tree).encode(), binary))
        read_and_check(path)


def test_weights_and_skins_of_no_number_are_read_without_a_warning(tmp_path: Path) -> None:
    text, binary = apart(SEEDS["skinned.glb"])
    assert binary is not None
    path = tmp_path / "wrong.glb"
    for odd in (np.nan, np.inf, -np.inf, 3.4e38, 1e-45):
        word = np.float32(odd).tobytes()
        for at in range(0, len(binary), 4):
            path.write_bytes(container(text, binary[:at] + word + binary[at + 4 :]))
            read_and_check(path)


def test_many_of_a_kind_are_one_note(tmp_path: Path) -> None:
    maker = GltfMaker()
    sheared = [1, 0, 0, 0, 0.5, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]
    for i in range(200):
        maker.node("n" * 500, matrix=sheared, **({"children": [i + 1]} if i < 199 else {}))
    times, still = maker.accessor([0.0, 0.1]), maker.accessor([[0, 0, 0, 1.0]] * 2)
    for node in range(150):
        maker.animation("same", (node, "rotation", times, still))
    found = read_and_check(maker.glb(tmp_path / "many.glb"))
    assert isinstance(found, Asset)
    assert len({clip.name for clip in found.clips}) == 150


def test_clips_whose_legs_have_no_length_are_judged(tmp_path: Path) -> None:
    """A comb of joints that looks like a body with all of its limbs in one place."""
    limb = "JOINT l { OFFSET %s 0 0 CHANNELS 1 Xrotation\n" * 3 + "}" * 3
    step = "JOINT s { OFFSET 0 1 0 CHANNELS 1 Xrotation\n"
    comb = "".join(step + limb % ((1,) * 3) + limb % ((-1,) * 3) for _ in range(20)) + "}" * 20
    head = f"HIERARCHY\nROOT a\n{{\nOFFSET 0 0 0\nCHANNELS 1 Yrotation\n{comb}}}\nMOTION\n"
    path = tmp_path / "comb.bvh"
    path.write_text(f"{head}Frames: 3\nFrame Time: 0.01\n" + ("1 " * 141 + "\n") * 3)
    assert isinstance(judge_and_check(path), Report)
