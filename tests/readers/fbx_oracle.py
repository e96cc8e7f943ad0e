"""The FBX binding's own evaluation of a whole scene, in a process of its own.

    python fbx_oracle.py FILE REQUEST.npz ANSWER.npz

The request holds ``take_<i>``: the times at which to evaluate take i. The answer holds world
matrices ``(frames, nodes, 3, 4)`` under the same names; ``rest``: the same without animation;
``paths``: each node's names from the root; ``bind_paths`` and ``bind``: where clusters and bind
poses have nodes; ``mesh_<i>``: vertices of each skinned mesh at its bind pose and, as evaluated
with skinning, under ``skinned_<i>`` ``(frames, vertices, 3)`` at the times of take 0.

Everything is in the file's own axes and units: nothing is asked to be converted. The binding
crashes when objects are freed, so all are kept, and the process ends without clearing up.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np

_KEPT: list[Any] = []
_BATCH = 300


def keep(thing: Any) -> Any:
    _KEPT.append(thing)
    return thing


def members(things: Any) -> list[Any]:
    keep(things)
    return [keep(things[i]) for i in range(len(things))]


def matrix(columns: Any) -> np.ndarray:
    return np.array(columns, dtype=np.float64).T


def paths_of(nodes: list[Any]) -> list[str]:
    named = {}
    for node in nodes:
        above = keep(node.parent)
        front = named[above.element_id] + "/" if above is not None and not above.is_root else ""
        named[node.element_id] = front + node.name if not node.is_root else ""
    return [named[node.element_id] for node in nodes]


def answer(path: Path, request: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    import ufbx

    scene = keep(ufbx.load_memory(path.read_bytes()))
    nodes = members(scene.nodes)
    paths = paths_of(nodes)
    found = {
        "paths": np.array(paths),
        "rest": np.array([matrix(node.node_to_world) for node in nodes])[None],
        "unit_m": np.array(keep(scene.settings).unit_meters),
    }
    by_id = {node.element_id: at for node, at in zip(nodes, paths, strict=True)}
    found |= bind_of(scene, by_id)
    for i, mesh in enumerate(members(scene.meshes)):
        found |= at_bind(mesh, i)
    for i, stack in enumerate(members(scene.anim_stacks)):
        if f"take_{i}" in request:
            anim = keep(stack.anim)
            moments = [
                evaluated(scene, anim, float(t), i == 0, found) for t in request[f"take_{i}"]
            ]
            found[f"take_{i}"] = np.array(moments)
    for name in [one for one in found if one.startswith("skinned_")]:
        found[name] = np.array(found[name])
    return found


def evaluated(scene: Any, anim: Any, time_s: float, skins: bool, found: dict) -> np.ndarray:
    moment = keep(scene.evaluate(anim, time_s, evaluate_skinning=skins))
    if skins:
        for i, mesh in enumerate(members(moment.meshes)):
            if len(keep(mesh.skin_deformers)):
                shown = members(mesh.instances)[0]
                points = np.array(memoryview(keep(keep(mesh.skinned_position).values)))
                if mesh.skinned_is_local:
                    place = matrix(shown.geometry_to_world)
                    points = points @ place[:, :3].T + place[:, 3]
                found.setdefault(f"skinned_{i}", []).append(points)
    return np.array([matrix(node.node_to_world) for node in members(moment.nodes)])


def bind_of(scene: Any, by_id: dict[int, str]) -> dict[str, np.ndarray]:
    at = {}
    for pose in members(scene.poses):
        for one in members(pose.bone_poses) if pose.is_bind_pose else ():
            at[by_id[keep(one.bone_node).element_id]] = matrix(one.bone_to_world)
    for cluster in members(scene.skin_clusters):
        at[by_id[keep(cluster.bone_node).element_id]] = matrix(cluster.bind_to_world)
    return {"bind_paths": np.array(list(at)), "bind": np.array(list(at.values()))}


def at_bind(mesh: Any, index: int) -> dict[str, np.ndarray]:
    """By the heaviest cluster of each vertex alone."""
    points = np.array(memoryview(keep(mesh.vertices)))
    best, at = np.zeros(len(points)), np.full(points.shape, np.nan)
    for deformer in members(mesh.skin_deformers)[:1]:
        for cluster in members(deformer.clusters):
            bind, geometry = matrix(cluster.bind_to_world), matrix(cluster.geometry_to_bone)
            owned, weights = keep(cluster.vertices), keep(cluster.weights)
            for k in range(len(owned)):
                vertex = owned[k]
                if weights[k] > best[vertex]:
                    best[vertex] = weights[k]
                    local = geometry[:, :3] @ points[vertex] + geometry[:, 3]
                    at[vertex] = bind[:, :3] @ local + bind[:, 3]
    return {f"mesh_{index}": at} if np.isfinite(at).any() else {}


def ask(path: Path, folder: Path, times: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """The answer for any number of times, in batches: evaluated scenes stay in memory."""
    whole: dict[str, list[np.ndarray]] = {}
    most = max((len(one) for one in times.values()), default=0)
    for start in range(0, max(most, 1), _BATCH):
        request, reply = folder / "request.npz", folder / "answer.npz"
        np.savez(request, **{name: one[start : start + _BATCH] for name, one in times.items()})
        command = [sys.executable, __file__, str(path), str(request), str(reply)]
        subprocess.run(command, check=True, timeout=120)
        with np.load(reply) as parts:
            for name in parts.files:
                whole.setdefault(name, []).append(parts[name])
    moving = ("take_", "skinned_")
    return {
        name: np.concatenate([one for one in parts if len(one)])
        if name.startswith(moving) and any(len(one) for one in parts)
        else parts[0]
        for name, parts in whole.items()
    }


if __name__ == "__main__":
    with np.load(sys.argv[2]) as asked:
        reply_to = answer(Path(sys.argv[1]), dict(asked))
    np.savez(sys.argv[3], **reply_to)
    sys.stdout.flush()
    os._exit(0)
