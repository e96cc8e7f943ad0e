"""Peaks of memory in the worst files known of each kind, against what DEVELOPERS.md promises."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from hostile.bounds import TIMES_SIZE, below
from hostile.mutations import container
from hostile.oracle import read_and_check
from kinelint.readers import ReadOptions

SIZE = 192 << 10
# Large enough that only parsing counts here, small enough that what is made cannot.
OPTIONS = ReadOptions(max_frames=10_000_000, max_joints=500, max_memory_bytes=1 << 20)
HEAD = """HIERARCHY
ROOT a
{
OFFSET 0 0 0
CHANNELS 2 Xposition Yposition
}
MOTION
Frames: 5
Frame Time: 0.01
"""
OBJECT = '{"asset":{"version":"2.0"},'
ACCESSOR = {"bufferView": 0, "componentType": 5126, "count": 2, "type": "SCALAR"}

MORPHING = {
    "samplers": [{"input": 0, "output": 0}],
    "channels": [{"sampler": 0, "target": {"node": 0, "path": "weights"}}],
}


def bvh(part: str) -> bytes:
    return (HEAD + part * (SIZE // len(part))).encode()


def gltf(part: str, end: str) -> bytes:
    return (OBJECT + '"x":[' + part * (SIZE // len(part)) + end + "]}").encode()


def keys() -> bytes:
    """Nothing but times: each is looked at against every usual rate."""
    count = SIZE // 4
    tree = {
        "asset": {"version": "2.0"},
        "buffers": [{"byteLength": SIZE}],
        "bufferViews": [{"buffer": 0, "byteLength": SIZE}],
        "accessors": [{**ACCESSOR, "count": count}],
        "nodes": [{}],
        "animations": [MORPHING],
    }
    return container(json.dumps(tree).encode(), np.arange(count, dtype="<f4").tobytes())


def uri(head: str, part: str) -> bytes:
    tree = {
        "asset": {"version": "2.0"},
        "buffers": [{"byteLength": 8, "uri": head + part * (SIZE // len(part))}],
        "bufferViews": [{"buffer": 0, "byteLength": 8}],
        "accessors": [ACCESSOR],
        "nodes": [{}],
        "animations": [MORPHING],
    }
    return json.dumps(tree).encode()


WORST = {
    "rows": bvh("1 2\n"),
    "rows with a blank": bvh("1  2\n"),
    "one line": bvh("1 "),
    "short rows": bvh("1\n") + b"1\n1",
    "too long rows": bvh("1 2 3\n"),
    "old line ends": bvh("1 2\n").replace(b"\n", b"\r"),
    "one number": bvh("1"),
    "braces": b"HIERARCHY ROOT a {" + b"{ " * (SIZE // 2) + b"\nMOTION\nFrames: 1\nFrame Time: 1\n",
    "channels": HEAD.replace("Xpos", "Xposition " * (SIZE // 10) + "Xpos").encode() + b"1 2\n",
    "words of a name": HEAD.replace("ROOT a", "ROOT" + " a" * (SIZE // 2)).encode() + b"1 2\n",
    "blanks": HEAD.replace("Frames:", "Frames:" + " " * SIZE).encode() + b"1 2\n",
    "objects": gltf("{},", "{}"),
    "lists": gltf("[],", "[]"),
    "objects with a key": gltf('{"":0},', "{}"),
    "fractions": gltf("0.5,", "1"),
    "open lists": gltf("[", ""),
    "nodes": (OBJECT + '"nodes":[' + "{}," * (SIZE // 3) + "{}]}").encode(),
    "meshes": (OBJECT + '"nodes":[{}],"meshes":[' + "{}," * (SIZE // 3) + "{}]}").encode(),
    "keys": keys(),
    "base64": uri("data:;base64,", "AAAA"),
    "percent": uri("data:,", "%41"),
}


@pytest.mark.parametrize("name", WORST)
def test_parsing_takes_so_many_times_the_file_and_no_more(name: str, tmp_path: Path) -> None:
    path = tmp_path / ("worst.bvh" if WORST[name].startswith(b"HIER") else "worst.gltf")
    path.write_bytes(WORST[name])
    # Readers, numpy and the oracle itself, once.
    (tmp_path / "first.gltf").write_bytes(b"{}")
    read_and_check(tmp_path / "first.gltf", OPTIONS)
    with below((3 << 20) + TIMES_SIZE * len(WORST[name])):
        read_and_check(path, OPTIONS)
