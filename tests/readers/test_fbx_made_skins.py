"""Skins, bind poses and morph channels."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from readers import fbx_writer_world
from readers.fbx_writer import (
    Axes,
    Cluster,
    Curve,
    Joint,
    Layer,
    Mesh,
    Scene,
    Shape,
    Take,
    curves,
    frame_ticks,
)
from readers.fbx_writer_checks import (
    assert_moves_as_written,
    asset_of,
    needs_fbx,
)

pytestmark = needs_fbx
FRAMES = 6
AT = frame_ticks(FRAMES, 30.0)
TRIANGLES = [[0, 1, 2], [1, 3, 2], [2, 3, 4]]


def sleeve(axes: Axes | None = None, unit_cm: float = 1.0, clusters: int = 3) -> Scene:
    """A strip of five vertices on a chain of joints, bound in another pose than it rests in."""
    rng = np.random.default_rng(4)
    joints = [
        Joint(f"j{i}", i - 1, (0.0, 20.0 if i else 90.0, 0.0), tuple(rng.uniform(-30, 30, 3)))
        for i in range(clusters)
    ]
    mesh_node = Joint("sleeve", -1, kind="Mesh")
    bound = [Joint(j.name, j.parent, j.translation) for j in joints]
    scene = Scene([*bound, mesh_node], axes=axes or Axes(), unit_cm=unit_cm)
    binds = fbx_writer_world.matrices(scene, None, [0.0])[:, 0]
    vertices = rng.uniform(-20, 20, (5, 3)) + np.array([0.0, 100.0, 0.0])
    weights = rng.uniform(0.1, 1.0, (5, clusters))
    weights /= weights.sum(axis=1, keepdims=True)
    weights[0] = np.eye(clusters)[0]
    made = [Cluster(i, range(5), weights[:, i].tolist(), binds[i]) for i in range(clusters)]
    scene.joints = [*joints, mesh_node]
    scene.meshes = [Mesh(clusters, vertices, TRIANGLES, made)]
    scene.bind_pose = {i: binds[i] for i in range(clusters + 1)}
    keyed = curves(1, "R", rng.uniform(-40, 40, (3, FRAMES)), AT)
    scene.takes = [Take("haul", [Layer(keyed)], 0.0, (FRAMES - 1) / 30.0)]
    return scene


@pytest.mark.parametrize("text", [True, False], ids=["text", "binary"])
@pytest.mark.parametrize(
    ("axes", "unit_cm"), [(Axes(), 1.0), (Axes(2, 1, 1, -1, 0, 1), 2.54), (Axes(), 100.0)]
)
def test_a_skin_is_bound_as_written(axes: Axes, unit_cm: float, text: bool, tmp_path: Path) -> None:
    scene = sleeve(axes, unit_cm)
    asset = asset_of(scene, tmp_path, ascii_text=text)
    (skin,) = asset.skins
    assert asset.skeleton is not None
    mesh = scene.meshes[0]
    vertices = fbx_writer_world.ours(scene, np.asarray(mesh.vertices).T).T
    np.testing.assert_allclose(skin.vertices, vertices, atol=1e-5)
    assert skin.triangles.tolist() == TRIANGLES
    for cluster in mesh.clusters:
        joint = asset.skeleton.names.index(f"j{cluster.joint}")
        found = np.where(skin.joints == joint, skin.weights, 0.0).sum(axis=1)
        np.testing.assert_allclose(found, cluster.weights, atol=1e-6)
        at = np.asarray(cluster.bind)[:3, 3]
        expected = fbx_writer_world.ours(scene, at[:, None])[:, 0]
        np.testing.assert_allclose(skin.bind_positions[joint], expected, atol=1e-5)


def test_of_more_than_four_joints_the_heaviest_stay(tmp_path: Path) -> None:
    scene = sleeve(clusters=7)
    asset = asset_of(scene, tmp_path)
    (skin,) = asset.skins
    assert asset.skeleton is not None
    written = np.array([cluster.weights for cluster in scene.meshes[0].clusters]).T
    for vertex, row in enumerate(written):
        kept = np.sort(row)[::-1][:4]
        kept = kept[kept > 0] / kept.sum()
        found = np.sort(skin.weights[vertex])[::-1][: len(kept)]
        np.testing.assert_allclose(found, kept, atol=1e-6)


def test_a_skin_does_not_change_the_motion(tmp_path: Path) -> None:
    scene = sleeve()
    (clip,) = asset_of(scene, tmp_path).clips
    scene.joints = [joint for joint in scene.joints if joint.kind != "Mesh"]
    assert_moves_as_written(scene, scene.takes[0], clip)


def test_weights_that_do_not_sum_to_one_are_brought_there(tmp_path: Path) -> None:
    scene = sleeve()
    for cluster in scene.meshes[0].clusters:
        cluster.weights = [0.4 * one for one in cluster.weights]
    (skin,) = asset_of(scene, tmp_path).skins
    np.testing.assert_allclose(skin.weights.sum(axis=1), 1.0, atol=1e-9)


def test_a_cluster_of_no_vertex_and_a_vertex_of_no_cluster(tmp_path: Path) -> None:
    scene = sleeve()
    clusters = scene.meshes[0].clusters
    clusters[2].vertices, clusters[2].weights = [], []
    for cluster in clusters[:2]:
        cluster.vertices, cluster.weights = range(4), list(cluster.weights)[:4]
    asset = asset_of(scene, tmp_path)
    for skin in asset.skins:
        assert np.isfinite(skin.weights).all()
        np.testing.assert_allclose(skin.weights.sum(axis=1), 1.0, atol=1e-9)
    assert len(asset.clips) == 1


def faces() -> Scene:
    """A face with two morph targets, one of them keyed, beside a chain that turns."""
    scene = sleeve()
    mesh = scene.meshes[0]
    mesh.shapes = [
        Shape("smile", [0, 1], [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]),
        Shape("blink", [2], [[0.0, 0.0, 2.0]], percent=30.0),
    ]
    percent = np.array([0.0, 50.0, 100.0, 75.0, 25.0, 0.0])
    scene.takes[0].layers[0].curves.append(Curve(0, "W", "", AT, percent))
    return scene


@pytest.mark.parametrize("text", [True, False], ids=["text", "binary"])
def test_morph_channels_are_weights(text: bool, tmp_path: Path) -> None:
    scene = faces()
    (clip,) = asset_of(scene, tmp_path, ascii_text=text).clips
    smile = [i for i, name in enumerate(clip.weight_names) if "smile" in name]
    assert len(smile) == 1
    np.testing.assert_allclose(clip.weights[smile[0]], [0.0, 0.5, 1.0, 0.75, 0.25, 0.0], atol=1e-6)
    blink = [i for i, name in enumerate(clip.weight_names) if "blink" in name]
    for i in blink:
        np.testing.assert_allclose(clip.weights[i], 0.3, atol=1e-6)


def test_a_clip_of_weights_alone(tmp_path: Path) -> None:
    scene = faces()
    scene.takes[0].layers[0].curves = [
        one for one in scene.takes[0].layers[0].curves if one.path == "W"
    ]
    (clip,) = asset_of(scene, tmp_path).clips
    assert clip.frames == FRAMES
    assert any("smile" in name for name in clip.weight_names)
