"""Writes motions as one binary glTF 2.0 file with the crew's skin; joints' Y runs along bones."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from making.blob import Bin
from making.crew import ENDS, JOINTS, NAMES, OFFSETS, PARENTS, tubes
from making.face_mesh import TARGETS, face_mesh
from making.pose import Motion
from making.turns import Array, quaternion_xyzw, unit

SIDES_OF_A_TUBE = 8


def bone_axes() -> dict[str, Array]:
    """Each joint's axes at rest, as a rotation matrix: Y towards what it carries."""
    made = {}
    for name in NAMES:
        ahead = [OFFSETS[i] for i, parent in enumerate(PARENTS) if parent == NAMES.index(name)]
        along = np.array(ENDS[name]) if name in ENDS else ahead[0] if ahead else np.array([0, 1, 0])
        if name in ("pelvis", "chest"):
            along = np.array([0.0, 1.0, 0.0])
        y = unit(np.asarray(along, dtype=np.float64))
        x = unit(np.cross(y, [0.0, 0.0, 1.0] if abs(y[2]) < 0.9 else [0.0, -1.0, 0.0]))
        made[name] = np.stack((x, y, np.cross(x, y)), axis=-1)
    return made


def write_glb(path: Path, motions: Mapping[str, Motion]) -> None:
    """One file: the body, and one animation for each motion by name."""
    axes, blob = bone_axes(), Bin()
    nodes = [_node(name, axes) for name in NAMES]
    mesh = _mesh(blob)
    inverse = [_inverse_bind(name, axes) for name in NAMES]
    skin = {
        "joints": list(range(len(NAMES))),
        "inverseBindMatrices": blob.add(np.array(inverse), "f"),
        "skeleton": 0,
    }
    nodes.append({"name": "crew", "mesh": 0, "skin": 0})
    meshes = [{"name": "crew", "primitives": [mesh]}]
    roots = [0, len(NAMES)]
    for name in dict.fromkeys(name for motion in motions.values() for name in motion.props):
        roots.append(len(nodes))
        nodes.append({"name": name})
    if any(motion.face for motion in motions.values()):
        nodes[NAMES.index("head")]["children"] = [len(nodes)]
        nodes.append({"name": "face", "mesh": len(meshes)})
        meshes.append(face_mesh(blob))
    document: dict[str, Any] = {
        "asset": {"version": "2.0", "generator": "Night Ferry example"},
        "scene": 0,
        "scenes": [{"nodes": roots}],
        "nodes": nodes,
        "meshes": meshes,
        "skins": [skin],
    }
    places = {str(node["name"]): i for i, node in enumerate(nodes)}
    animations = [_animation(blob, name, motion, axes, places) for name, motion in motions.items()]
    if animations:
        document["animations"] = animations
    document |= {"accessors": blob.accessors, "bufferViews": blob.views}
    document["buffers"] = [{"byteLength": len(blob.data)}]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(_container(document, bytes(blob.data)))


def _node(name: str, axes: Mapping[str, Array]) -> dict[str, Any]:
    parent = JOINTS[name][0]
    above = axes[parent] if parent else np.eye(3)
    node: dict[str, Any] = {
        "name": name,
        "translation": (above.T @ OFFSETS[NAMES.index(name)]).round(7).tolist(),
        "rotation": quaternion_xyzw((above.T @ axes[name])[None])[0].round(8).tolist(),
    }
    children = [NAMES.index(child) for child, (up, _) in JOINTS.items() if up == name]
    return node | ({"children": children} if children else {})


def _rest_position(name: str) -> Array:
    parent = JOINTS[name][0]
    above = _rest_position(parent) if parent else np.zeros(3)
    return np.asarray(above + OFFSETS[NAMES.index(name)])


def _inverse_bind(name: str, axes: Mapping[str, Array]) -> Array:
    matrix = np.eye(4)
    matrix[:3, :3] = axes[name].T
    matrix[:3, 3] = -axes[name].T @ _rest_position(name)
    return np.asarray(matrix.T.reshape(16))


def _mesh(blob: Bin) -> dict[str, Any]:
    points: list[Array] = []
    joints: list[int] = []
    triangles: list[tuple[int, int, int]] = []
    for tube in tubes():
        start, end = np.array(tube.start, dtype=float), np.array(tube.end, dtype=float)
        along = unit(end - start)
        across = unit(np.cross(along, [0.0, 0.0, 1.0] if abs(along[2]) < 0.7 else [0.0, 1.0, 0.0]))
        deep = np.cross(along, across)
        turn = np.arange(SIDES_OF_A_TUBE) * 2.0 * np.pi / SIDES_OF_A_TUBE
        base, n = len(points), SIDES_OF_A_TUBE
        for centre, (wide, thick) in ((start, tube.start_radii), (end, tube.end_radii)):
            ring = np.outer(np.cos(turn), across) * wide + np.outer(np.sin(turn), deep) * thick
            points += list(_rest_position(tube.joint) + centre + ring)
        joints += [NAMES.index(tube.joint)] * (2 * n)
        for i in range(n):
            j = (i + 1) % n
            triangles += [
                (base + i, base + n + i, base + j),
                (base + j, base + n + i, base + n + j),
            ]
            if 0 < i < n - 1:
                triangles += [(base, base + i, base + i + 1)]
                triangles += [(base + n, base + n + i + 1, base + n + i)]
    influences = np.zeros((len(points), 4))
    influences[:, 0] = joints
    weights = np.tile([1.0, 0.0, 0.0, 0.0], (len(points), 1))
    return {
        "attributes": {
            "POSITION": blob.add(np.array(points), "f", bounds=True, target=34962),
            "JOINTS_0": blob.add(influences, "B", target=34962),
            "WEIGHTS_0": blob.add(weights, "f", target=34962),
        },
        "indices": blob.add(np.array(triangles).reshape(-1, 1), "H", target=34963),
    }


def _animation(
    blob: Bin, title: str, motion: Motion, axes: Mapping[str, Array], places: Mapping[str, int]
) -> dict[str, Any]:
    seconds = np.arange(motion.frames) / motion.rate_hz
    time = blob.add(seconds[:, None], "f", bounds=True)
    samplers: list[dict[str, Any]] = []
    channels = []
    for i, name in enumerate(NAMES):
        above = axes[JOINTS[name][0]] if JOINTS[name][0] else np.eye(3)
        turned = quaternion_xyzw(above.T @ motion.local(name) @ axes[name])
        paths = {"rotation": turned}
        moved = motion.shift(name) @ above
        if np.abs(moved - above.T @ OFFSETS[i]).max() > 1e-6:
            paths["translation"] = moved
        for kind, values in paths.items():
            channels.append({"sampler": len(samplers), "target": {"node": i, "path": kind}})
            samplers.append({"input": time, "output": blob.add(values, "f")})
    more: list[tuple[int, str, Array]] = []
    for name, (turned, moved) in motion.props.items():
        more += [(places[name], "rotation", quaternion_xyzw(turned))]
        more += [(places[name], "translation", moved)]
    if motion.face:
        weights = np.stack([motion.face[target] for target in TARGETS], axis=1)
        more += [(places["face"], "weights", weights.reshape(-1, 1))]
    for node, path, values in more:
        channels.append({"sampler": len(samplers), "target": {"node": node, "path": path}})
        samplers.append({"input": time, "output": blob.add(values, "f")})
    return {"name": title, "samplers": samplers, "channels": channels}


def _container(document: dict[str, Any], data: bytes) -> bytes:
    text = json.dumps(document, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    data += b"\0" * (-len(data) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text
    chunks += struct.pack("<I4s", len(data), b"BIN\0") + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks
