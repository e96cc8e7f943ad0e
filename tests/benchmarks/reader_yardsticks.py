"""The same numbers by general-purpose readers: what each format's file takes without kinelint."""

from __future__ import annotations

import json
import re
import struct
from pathlib import Path
from typing import Any

import numpy as np

from kinelint.kinematics.arrays import Floats

_KEPT: list[object] = []


def bvh(path: Path) -> list[Floats]:
    """NumPy's reading of the text, and SciPy's rotations of every joint."""
    from scipy.spatial.transform import Rotation

    text = path.read_text(encoding="utf-8")
    head, _, body = text.partition("MOTION")
    channels = [line.split()[2:] for line in head.splitlines() if "CHANNELS" in line]
    start = re.search(r"Frame Time:\s*\S+", body)
    assert start
    columns = sum(map(len, channels))
    values = np.fromstring(body[start.end() :], sep=" ").reshape(-1, columns)
    found, at = [], 0
    for names in channels:
        turns = [i for i, name in enumerate(names) if name.endswith("rotation")]
        order = "".join(names[i][0] for i in turns)
        angles = values[:, [at + i for i in turns]]
        found.append(Rotation.from_euler(order, angles, degrees=True).as_quat())
        at += len(names)
    return found


def glb(path: Path) -> list[Floats]:
    """pygltflib's tree, and the channels decoded with NumPy; nothing is sampled."""
    import pygltflib

    gltf = pygltflib.GLTF2().load_binary(str(path))
    data = gltf.binary_blob()
    widths = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}
    found = []
    for animation in gltf.animations:
        for channel in animation.channels:
            sampler = animation.samplers[channel.sampler]
            accessor = gltf.accessors[sampler.output]
            view = gltf.bufferViews[accessor.bufferView]
            width = widths[accessor.type]
            start = (view.byteOffset or 0) + (accessor.byteOffset or 0)
            raw = np.frombuffer(data, "<f4", accessor.count * width, start)
            found.append(raw.reshape(-1, width).astype(float))
    return found


def bare_glb(path: Path) -> list[Floats]:
    """The least that could be done: the standard library's JSON, and views of the bytes."""
    data = path.read_bytes()
    length = struct.unpack_from("<I", data, 12)[0]
    tree, start = json.loads(data[20 : 20 + length]), 20 + length + 8
    views, accessors = tree["bufferViews"], tree["accessors"]
    widths = {"VEC3": 3, "VEC4": 4}
    found = []
    for animation in tree["animations"]:
        samplers = animation["samplers"]
        for channel in animation["channels"]:
            accessor = accessors[samplers[channel["sampler"]]["output"]]
            width = widths[accessor["type"]]
            at = start + views[accessor["bufferView"]]["byteOffset"]
            raw = np.frombuffer(data, "<f4", accessor["count"] * width, at)
            found.append(raw.reshape(-1, width).astype(float))
    return found


def fbx(path: Path, rate_hz: float = 60.0) -> list[Floats]:
    """The binding alone: loaded, baked at the rate, every key taken out."""
    import ufbx

    # What the binding hands out may not be freed: see kinelint.readers.fbx_binding.
    scene = ufbx.load_memory(path.read_bytes())
    anim = scene.anim
    baked = ufbx.bake_anim(scene, anim, resample_rate=rate_hz)
    nodes = baked.nodes
    _KEPT.extend((scene, anim, baked, nodes))
    found = []
    for i in range(len(nodes)):
        node = nodes[i]
        turns, shifts = _keys(node.rotation_keys), _keys(node.translation_keys)
        _KEPT.append(node)
        found.append(np.array([_quaternion(key) for key in turns]))
        found.append(np.array([_vector(key) for key in shifts]))
    return found


def _keys(listed: Any) -> list[Any]:
    """The members of a list, each kept as the list is."""
    keys = [listed[k] for k in range(len(listed))]
    _KEPT.extend((listed, *keys))
    return keys


def _quaternion(key: Any) -> tuple[float, float, float, float]:
    value = key.value
    return value.x, value.y, value.z, value.w


def _vector(key: Any) -> tuple[float, float, float]:
    value = key.value
    return value.x, value.y, value.z


def usd(path: Path) -> Floats:
    """usd-core's own queries alone: every joint's local transform at every frame."""
    from pxr import Usd, UsdSkel

    stage = Usd.Stage.Open(str(path))
    cache = UsdSkel.Cache()
    for prim in stage.Traverse():
        if prim.IsA(UsdSkel.Root):
            cache.Populate(UsdSkel.Root(prim), Usd.TraverseInstanceProxies())
    prims = [prim for prim in stage.Traverse() if prim.IsA(UsdSkel.Skeleton)]
    skeleton = UsdSkel.Skeleton(prims[0])
    query = cache.GetSkelQuery(skeleton).GetAnimQuery()
    times = query.GetJointTransformTimeSamples()
    frames = [query.ComputeJointLocalTransforms(Usd.TimeCode(time)) for time in times]
    return np.array([np.asarray(one) for one in frames])
