"""Skeletons, rates and numbers at the edge of what a file can say, through the whole gate."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import bvh_text
from hostile.bounds import in_time
from hostile.gate_oracle import judge_and_check
from hostile.mutations import apart, container
from hostile.oracle import TIGHT, read_and_check
from hostile.seeds import gltf_seeds
from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.report import Report, Verdict
from readers.gltf_maker import GltfMaker

QUIET = settings(
    deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture], derandomize=True
)
NUMBERS = st.one_of(
    st.sampled_from([0.0, -0.0, 1.0, -1.0, 90.0, 180.0, 360.0, 1e-30, 1e12, -1e12, 1e13, 5e-324]),
    st.floats(allow_nan=False, allow_infinity=False),
    st.floats(-10, 10),
)
FLOAT32 = st.one_of(
    st.sampled_from([0.0, 1.0, -1.0, np.nan, np.inf, -np.inf, 3.4e38, 1e-45, 1e12]),
    st.floats(-2, 2, width=32),
)
TEXTS = st.one_of(st.sampled_from(["hips", "", "spine", "left thigh"]), st.text(max_size=8))


@st.composite
def bvh_texts(draw: st.DrawFn) -> str:
    """Any forest of joints, any channels, any numbers."""
    lines, columns, depth = ["HIERARCHY"], 0, 0
    for i in range(draw(st.integers(1, 8))):
        up = draw(st.integers(0, depth))
        lines += ["}"] * up
        depth -= up
        name = draw(TEXTS).translate(dict.fromkeys(map(ord, "{}\n\r"))) or "joint"
        lines += [f"{'JOINT' if depth else 'ROOT'} {name}", "{"]
        lines.append("OFFSET " + " ".join(str(draw(NUMBERS)) for _ in range(3)))
        axes = draw(st.permutations("XYZ"))[: draw(st.integers(0, 3))]
        words = [f"{axis}rotation" for axis in axes]
        if draw(st.booleans()):
            words = ["Xposition", "Yposition", "Zposition", *words]
        if i == 0 and not words:
            words = ["Yrotation"]
        lines.append(" ".join(["CHANNELS", str(len(words)), *words]))
        columns += len(words)
        depth += 1
        if draw(st.booleans()):
            lines += ["End Site", "{", "OFFSET 0 0 0", "}"]
    lines += ["}"] * depth
    frames = draw(st.integers(0, 6))
    time = draw(
        st.sampled_from(["0.0333333", "0.008333", "1", "0.0001", "0", "-1", "1e-30", "nan"])
    )
    lines += ["MOTION", f"Frames: {frames}", f"Frame Time: {time}"]
    for _ in range(frames):
        lines.append(" ".join(str(draw(NUMBERS)) for _ in range(columns)))
    return "\n".join(lines) + "\n"


@given(bvh_texts())
@settings(QUIET, max_examples=120)
def test_any_skeleton_of_a_bvh_file_is_judged_or_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "odd.bvh"
    path.write_text(text, encoding="utf-8")
    with in_time(60.0):
        read_and_check(path)
        judge_and_check(path)


@st.composite
def gltf_makers(draw: st.DrawFn) -> GltfMaker:
    """Any nodes with any transforms, any keys and values."""
    maker = GltfMaker()
    count = draw(st.integers(1, 7))
    nodes: list[dict[str, Any]] = [{"name": draw(TEXTS)} for _ in range(count)]
    for child in range(1, count):
        parent = draw(st.integers(-1, count - 1 if draw(st.integers(0, 9)) == 0 else child - 1))
        if parent >= 0:
            nodes[parent].setdefault("children", []).append(child)
    for node in nodes:
        for key, size in (("translation", 3), ("rotation", 4), ("scale", 3)):
            if draw(st.integers(0, 2)) == 0:
                node[key] = [draw(NUMBERS) for _ in range(size)]
        if draw(st.integers(0, 9)) == 0:
            node["matrix"] = [draw(NUMBERS) for _ in range(16)]
    maker.tree["nodes"] = nodes
    keys = draw(st.integers(1, 5))
    steps = [draw(st.sampled_from([1 / 30, 1e-6, 0.5, 0.01, 20.0])) for _ in range(keys)]
    channels = []
    for node in range(count):
        for path, size in (("rotation", 4), ("translation", 3), ("scale", 3)):
            if draw(st.integers(0, 2)) == 0:
                mode = draw(st.sampled_from(["LINEAR", "STEP", "CUBICSPLINE"]))
                rows = keys * (3 if mode == "CUBICSPLINE" else 1)
                values = [[draw(FLOAT32) for _ in range(size)] for _ in range(rows)]
                channels.append((node, path, np.cumsum(steps), np.float32(values), mode))
    if channels:
        maker.animation(draw(TEXTS), *channels)
    return maker


@given(gltf_makers())
@settings(QUIET, max_examples=150)
def test_any_nodes_of_a_gltf_file_are_judged_or_refused(tmp_path: Path, maker: GltfMaker) -> None:
    path = maker.glb(tmp_path / "odd.glb")
    with in_time(60.0):
        read_and_check(path)
        judge_and_check(path)


def judged(folder: Path, text: str) -> Report:
    path = folder / "odd.bvh"
    path.write_text(text)
    report = judge_and_check(path)
    assert isinstance(report, Report)
    return report


ONE_JOINT = "HIERARCHY\nROOT a\n{\nOFFSET 0 0 0\nCHANNELS 1 Xrotation\n}\nMOTION\n"


@pytest.mark.parametrize("frames", [1, 2, 3, 5000])
def test_one_joint_of_few_or_many_frames_is_judged(frames: int, tmp_path: Path) -> None:
    text = f"{ONE_JOINT}Frames: {frames}\nFrame Time: 0.01\n" + "1\n" * frames
    report = judged(tmp_path, text)
    assert report.verdict is Verdict.PASS
    assert report.assets[0].clips[0].frames == frames


def test_no_frame_at_all_is_refused(tmp_path: Path) -> None:
    report = judged(tmp_path, ONE_JOINT + "Frames: 0\nFrame Time: 0.01\n")
    assert report.verdict is Verdict.INCOMPLETE
    assert len(report.assets[0].troubles) == 1


RATES = ["0", "-0.01", "1e-30", "1e30", "nan", "inf", "0x1", "", "1" * 400, "1,5", "00001.5"]


@pytest.mark.parametrize("time", RATES)
def test_rates_that_no_motion_has_are_refused(time: str, tmp_path: Path) -> None:
    text = f"{ONE_JOINT}Frames: 1\nFrame Time: {time}\n1\n"
    path = tmp_path / "odd.bvh"
    path.write_text(text)
    error = read_and_check(path)
    assert isinstance(error, AssetError)
    assert error.place in ("line 8", "line 9", "line 10")


def test_bones_without_length_and_names_used_twice(tmp_path: Path) -> None:
    text = bvh_text.PLAIN.replace("chest", "hips").replace("OFFSET 0 30 0", "OFFSET 0 0 0")
    assert judged(tmp_path, text).verdict is Verdict.PASS


@pytest.mark.parametrize("depth", [2, 50, 290])
def test_cycles_of_nodes_are_refused_at_any_length(depth: int, tmp_path: Path) -> None:
    nodes = [{"children": [(i + 1) % depth]} for i in range(depth)]
    path = tmp_path / "odd.gltf"
    path.write_text(json.dumps({"asset": {"version": "2.0"}, "nodes": nodes}))
    error = read_and_check(path)
    assert isinstance(error, AssetError)
    assert error.place == "/nodes/0"


def chain(folder: Path, count: int, key: str, value: list[float]) -> Path:
    nodes = [{"children": [i + 1], key: value} for i in range(count)] + [{key: value}]
    maker = GltfMaker()
    maker.tree["nodes"] = nodes
    still = np.tile([0.0, 0.0, 0.0, 1.0], (3, 1))
    maker.animation("odd", (count, "rotation", [0.0, 0.1, 0.2], still))
    return maker.glb(folder / "odd.glb")


@pytest.mark.parametrize("scale", [0.0, 1e-30, -1.0, 1e3, 1e12])
def test_scales_that_vanish_or_explode_down_a_chain(scale: float, tmp_path: Path) -> None:
    path = chain(tmp_path, 250, "scale", [scale] * 3)
    assert isinstance(read_and_check(path), Asset)
    report = judge_and_check(path)
    assert isinstance(report, Report)
    if scale >= 1e3:
        assert "multiply to more than" in report.assets[0].troubles[0].text


@pytest.mark.parametrize("quaternion", [[0, 0, 0, 2], [1e-3] * 4, [1e12, 0, 0, 0], [0, 0, 0, -1]])
def test_quaternions_of_any_length_but_none_are_made_unit(
    quaternion: list[float], tmp_path: Path
) -> None:
    path = chain(tmp_path, 3, "rotation", quaternion)
    found = read_and_check(path)
    assert isinstance(found, Asset)
    judge_and_check(path)


def test_keys_of_no_length_or_no_number_are_named_by_frame(tmp_path: Path) -> None:
    for bad in (np.zeros(4), np.full(4, np.nan), np.array([0, 0, 0, np.inf])):
        maker = GltfMaker()
        maker.chain("hips", "spine")
        turns = np.tile([0.0, 0.0, 0.0, 1.0], (4, 1))
        turns[2] = bad
        maker.animation("odd", (1, "rotation", np.arange(4) / 30, turns))
        report = judge_and_check(maker.glb(tmp_path / "odd.glb"))
        assert isinstance(report, Report)
        (trouble,) = report.assets[0].troubles
        assert (trouble.clip, trouble.place) == ("odd", "frame 2")


def test_limits_hold_for_skeletons_too(tmp_path: Path) -> None:
    path = chain(tmp_path, TIGHT.max_joints, "translation", [0, 1, 0])
    error = read_and_check(path)
    assert isinstance(error, AssetError)
    assert error.place == "/nodes"


def test_a_skin_below_scales_beyond_measure_is_refused_with_its_node(tmp_path: Path) -> None:
    text, binary = apart(gltf_seeds()["skinned.glb"])
    assert binary is not None
    tree = json.loads(text)
    for node in tree["nodes"]:
        node["scale"] = [1e9] * 3
    del tree["skins"][0]["inverseBindMatrices"]
    path = tmp_path / "odd.glb"
    path.write_bytes(container(json.dumps(tree).encode(), binary))
    error = read_and_check(path)
    assert isinstance(error, AssetError)
    assert error.place == "/nodes/1"
