"""The node tree of a glTF file, and the one skeleton that is taken from it."""

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from kinelint.motion import world
from kinelint.readers.gltf import READER
from kinelint.readers.gltf_nodes import decompose
from kinelint.readers.options import ReadOptions
from readers.gltf_maker import GltfMaker

TIMES = np.arange(7) / 30
TURN = Rotation.from_euler("x", np.arange(7)[:, None], degrees=True).as_quat()


def read(maker: GltfMaker, folder):
    return READER.read(maker.glb(folder / "deckhand.glb"), ReadOptions())


def columns(matrix):
    return [float(x) for x in np.asarray(matrix).T.reshape(-1)]


def test_matrices_come_apart_into_the_rotation_and_scale_they_were_made_of():
    turns = Rotation.random(50, random_state=1)
    scales = np.random.default_rng(2).uniform(0.1, 9.0, (50, 3))
    found, sizes, sheared = decompose(turns.as_matrix() * scales[:, None, :])
    np.testing.assert_allclose(sizes, scales, rtol=1e-12)
    between = Rotation.from_quat(found[:, [1, 2, 3, 0]]) * turns.inv()
    assert between.magnitude().max() < 1e-12
    assert not sheared.any()


def test_mirrored_flat_and_sheared_matrices_give_a_proper_rotation():
    shear = np.eye(3)
    shear[0, 1] = 0.3
    mirror, flat = np.diag([1.0, 1.0, -2.0]), np.diag([1.0, 0.0, 3.0])
    found, sizes, sheared = decompose(np.stack((mirror, flat, shear)))
    np.testing.assert_allclose(np.linalg.norm(found, axis=1), 1.0, atol=1e-12)
    turned = Rotation.from_quat(found[:, [1, 2, 3, 0]]).as_matrix() * sizes[:, None, :]
    np.testing.assert_allclose(turned[0], mirror, atol=1e-12)
    np.testing.assert_allclose(turned[1], flat, atol=1e-12)
    assert sheared.tolist() == [False, False, True]


def test_matrix_and_trs_nodes_stand_where_trimesh_has_them(tmp_path):
    maker = GltfMaker()
    corners = maker.accessor([[0, 0, 0], [1, 0, 0], [0, 1, 0]])
    mesh = maker.mesh("probe", {"POSITION": corners})
    turn = Rotation.from_euler("ZYX", [20, 30, 40], degrees=True)
    matrix = np.eye(4)
    matrix[:3, :3] = turn.as_matrix() * [1.0, 2.0, 0.5]
    matrix[:3, 3] = [1, 2, 3]
    trs = {"translation": [0.5, 0, 0], "rotation": turn.as_quat().tolist(), "scale": [2, 2, 2]}
    maker.node("root", matrix=columns(matrix), children=[1])
    maker.node("middle", children=[2], **trs)
    maker.node("end", translation=[0, 1, 0], mesh=mesh)
    maker.animation("a", (2, "rotation", TIMES[:2], [[0, 0, 0, 1], [0, 0, 0, 1]]))
    maker.tree.update(scenes=[{"nodes": [0]}], scene=0)
    asset = read(maker, tmp_path)
    scene = trimesh.load(tmp_path / "deckhand.glb", force="scene")
    positions, _ = world(asset.clips[0])
    expected = scene.graph.get("end")[0][:3, 3]
    np.testing.assert_allclose(positions[2, :, 0], expected, atol=1e-6)


def test_the_skeleton_holds_joints_their_ancestors_and_helpers_but_no_props(tmp_path):
    maker = GltfMaker()
    mesh = maker.mesh("hook", {"POSITION": maker.accessor(np.eye(3))})
    maker.node("armature", children=[1, 7])
    maker.node("hips", children=[2, 3])
    maker.node("hand", children=[4, 5])
    maker.node("shin", children=[])
    maker.node("hand_end")
    maker.node("boathook", mesh=mesh, children=[6])
    maker.node("hook tip")
    maker.node("crate", mesh=mesh)
    maker.skin([1, 2])
    maker.animation("a", (3, "rotation", TIMES, TURN))
    skeleton = read(maker, tmp_path).skeleton
    assert skeleton.names == ("armature", "hips", "hand", "hand_end", "shin")
    assert skeleton.handles == ("/nodes/0", "/nodes/1", "/nodes/2", "/nodes/4", "/nodes/3")
    assert skeleton.parents.tolist() == [-1, 0, 1, 2, 1]
    assert skeleton.tips.tolist() == [False, False, False, True, False]


def test_static_ancestors_carry_their_rest_transform(tmp_path):
    maker = GltfMaker()
    turn = Rotation.from_euler("x", -90, degrees=True)
    upright = np.eye(4)
    upright[:3, :3] = turn.as_matrix()
    maker.node("axes", matrix=columns(upright), children=[1])
    maker.node("hips", translation=[0, 0, 1])
    maker.animation("a", (1, "rotation", TIMES, TURN))
    asset = read(maker, tmp_path)
    positions, _ = world(asset.clips[0])
    np.testing.assert_allclose(positions[1, :, 0], turn.apply([0, 0, 1]), atol=1e-12)
    assert (asset.clips[0].up_axis, asset.clips[0].metres_per_unit) == ("y", 1.0)


def test_a_sheared_joint_is_noted(tmp_path):
    maker = GltfMaker()
    matrix = np.eye(4)
    matrix[0, 1] = 0.5
    maker.node("hips", matrix=columns(matrix), children=[1])
    maker.node("spine")
    maker.animation("a", (1, "rotation", TIMES, TURN))
    assert "shear" in [one.topic for one in read(maker, tmp_path).notes]


def test_joints_may_be_nameless_and_alike(tmp_path):
    maker = GltfMaker()
    maker.node(children=[1])
    maker.node("bone", children=[2])
    maker.node("bone")
    maker.animation("a", (2, "rotation", TIMES, TURN))
    assert read(maker, tmp_path).skeleton.names == ("", "bone", "bone")


def test_a_rest_pose_without_animation_has_a_skeleton_of_all_its_nodes(tmp_path):
    maker = GltfMaker()
    maker.chain("hips", "spine", "head")
    asset = read(maker, tmp_path)
    assert asset.skeleton.names == ("hips", "spine", "head")
    assert not asset.skeleton.tips.any()


@pytest.mark.parametrize("name", ["VRMC_vrm", "VRMC_vrm_animation"])
def test_vrm_1_bones_are_named_and_kept(tmp_path, name):
    # VRM 1.0 specification, VRMC_vrm humanoid and VRMC_vrm_animation.
    maker = GltfMaker()
    maker.chain("a", "b", "c")
    bones = {"hips": {"node": 0}, "head": {"node": 2}}
    maker.tree["extensions"] = {name: {"humanoid": {"humanBones": bones}}}
    skeleton = read(maker, tmp_path).skeleton
    assert dict(skeleton.humanoid) == {"hips": 0, "head": 2}
    assert not skeleton.tips.any()


def test_vrm_0_bones_get_the_thumb_names_of_1_0(tmp_path):
    maker = GltfMaker()
    maker.chain("a", "b", "c", "d")
    order = ["leftHand", "leftThumbProximal", "leftThumbIntermediate", "leftThumbDistal"]
    bones = [{"bone": bone, "node": node} for node, bone in enumerate(order)]
    maker.tree["extensions"] = {"VRM": {"humanoid": {"humanBones": bones}}}
    found = dict(read(maker, tmp_path).skeleton.humanoid)
    assert found == {
        "leftHand": 0,
        "leftThumbMetacarpal": 1,
        "leftThumbProximal": 2,
        "leftThumbDistal": 3,
    }


def test_vrm_expressions_are_weights_and_no_joints(tmp_path):
    # VRMC_vrm_animation: the X translation of the node is the weight of the expression.
    maker = GltfMaker()
    maker.chain("hips", "head")
    smile = maker.node("smile")
    maker.animation(
        "grin",
        (1, "rotation", TIMES, TURN),
        (smile, "translation", TIMES, np.outer(np.arange(7) / 6, [1, 0, 0])),
    )
    expressions = {"preset": {"happy": {"node": smile}}}
    bones = {"hips": {"node": 0}, "head": {"node": 1}}
    vrm = {"humanoid": {"humanBones": bones}, "expressions": expressions}
    maker.tree["extensions"] = {"VRMC_vrm_animation": vrm}
    clip = read(maker, tmp_path).clips[0]
    assert clip.skeleton.names == ("hips", "head")
    assert clip.weight_names == ("expression happy",)
    np.testing.assert_allclose(clip.weights[0], np.arange(7) / 6, atol=1e-7)
