"""The writer and its chain of transforms, against the binding's own evaluation of the scene.

So a fault of the fixtures is not taken for a fault of the reader.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from readers import fbx_writer_world
from readers.fbx_writer import (
    ORDERS,
    Curve,
    Joint,
    Layer,
    Rrs,
    RrSs,
    RSrs,
    Scene,
    Take,
    curves,
    frame_ticks,
)
from readers.fbx_writer_checks import needs_fbx

pytestmark = needs_fbx
TIMES_S = (0.0, 0.1, 0.123, 0.3)
VERSIONS = [(version, True) for version in (6100, 7100, 7200, 7300, 7400, 7500, 7700)]
VERSIONS += [(version, False) for version, _ in VERSIONS]
# Nothing may be freed, hence the references and the hard exit.
_EVALUATE = """
import ctypes, json, os, sys, ufbx

def kept(one):
    ctypes.pythonapi.Py_IncRef(ctypes.py_object(one))
    return one

def listed(many):
    many = kept(many)
    return [kept(many[i]) for i in range(len(many))]

found = {}
for path in sys.argv[2:]:
    scene = kept(ufbx.load_file(path))
    anim = kept(listed(scene.anim_stacks)[0].anim)
    places = found[path] = {}
    for time in json.loads(sys.argv[1]):
        for node in listed(kept(scene.evaluate(anim, time)).nodes):
            at = kept(kept(node.node_to_world).c3)
            places.setdefault(node.name, []).append((at.x, at.y, at.z))
print(json.dumps(found), flush=True)
os._exit(0)
"""


def evaluated(*paths: Path) -> list[dict[str, list[list[float]]]]:
    """Node name to positions at `TIMES_S`, as the binding sees each file."""
    command = [sys.executable, "-c", _EVALUATE, json.dumps(TIMES_S), *map(str, paths)]
    ended = subprocess.run(command, capture_output=True, check=True, timeout=120)
    return list(json.loads(ended.stdout).values())


def tangled(seed: int, inherit: int, *, scaled: bool, legacy: bool = False) -> Scene:
    """A chain with every property of a model at random, turned, moved and scaled over time."""
    rng = np.random.default_rng(seed)
    at, frames = frame_ticks(11, 30.0), 11

    def some(size: float) -> tuple[float, float, float]:
        x, y, z = rng.uniform(-size, size, 3)
        return float(x), float(y), float(z)

    joints, keyed = [], []
    for i in range(6):
        grown = tuple(rng.uniform(0.5, 2.0, 3).tolist()) if scaled else (1.0, 1.0, 1.0)
        joints.append(
            Joint(
                f"j{i}",
                i - 1,
                some(20.0),
                some(180.0),
                grown,
                order=ORDERS[(seed + i) % 6],
                pre_deg=some(180.0),
                post_deg=some(180.0),
                rotation_pivot=some(5.0),
                rotation_offset=some(5.0),
                scaling_pivot=some(5.0),
                scaling_offset=some(5.0),
                inherit=inherit,
            )
        )
        keyed += curves(i, "R", rng.uniform(-170.0, 170.0, (3, frames)), at)
        keyed += curves(i, "T", rng.uniform(-20.0, 20.0, (3, frames)), at)
        if scaled and i % 2:
            keyed += curves(i, "S", rng.uniform(0.5, 2.0, (3, frames)), at)
    return Scene(joints, [Take("climb", [Layer(keyed)], 0.0, 1 / 3)])


def assert_agrees(scene: Scene, found: dict[str, list[list[float]]]) -> None:
    expected = fbx_writer_world.world(scene, scene.takes[0], TIMES_S)
    for joint, one in zip(scene.joints, expected, strict=True):
        np.testing.assert_allclose(found[joint.name], one.T, atol=1e-4, rtol=0)


@pytest.mark.parametrize("inherit", [RrSs, RSrs, Rrs])
def test_the_chain_is_the_bindings_own(inherit: int, tmp_path: Path) -> None:
    scenes = [tangled(seed, inherit, scaled=seed % 2 == 1) for seed in range(8)]
    paths = [one.write(tmp_path / f"{i}.fbx") for i, one in enumerate(scenes)]
    for scene, found in zip(scenes, evaluated(*paths), strict=True):
        assert_agrees(scene, found)


def test_every_version_and_spelling_says_the_same(tmp_path: Path) -> None:
    scene = tangled(3, RSrs, scaled=True)
    paths = [
        scene.write(tmp_path / f"{version}{'ab'[text]}.fbx", version, ascii_text=text)
        for version, text in VERSIONS
    ]
    for found in evaluated(*paths):
        assert_agrees(scene, found)


@pytest.mark.parametrize("mode", ["linear", "constant", "cubic"])
def test_curves_between_their_keys(mode: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    slopes = rng.uniform(-50.0, 50.0, (5, 2)) if mode == "cubic" else None
    at = frame_ticks(5, 10.0)
    keyed = [Curve(0, "T", axis, at, rng.uniform(-9, 9, 5), mode, slopes) for axis in "XYZ"]
    scene = Scene([Joint("hook")], [Take(layers=[Layer(keyed)])])
    paths = [scene.write(tmp_path / f"{'ab'[text]}.fbx", ascii_text=text) for text in (True, False)]
    for found in evaluated(*paths):
        assert_agrees(scene, found)
