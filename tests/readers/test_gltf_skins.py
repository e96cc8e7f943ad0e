"""glTF skins at their bind pose, against the standard's skinning formula and trimesh."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from kinelint.errors import AssetError
from kinelint.readers.gltf import READER
from kinelint.readers.gltf_meshes import corners, heaviest
from kinelint.readers.options import ReadOptions
from readers.gltf_maker import GltfMaker

POINTS = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 2, 1]], dtype=float)
SLOTS = np.array([[0, 1, 0, 0], [1, 0, 0, 0], [0, 1, 0, 0], [1, 0, 0, 0]])
WEIGHTS = np.array([[0.5, 0.5, 0, 0], [1, 0, 0, 0], [0.25, 0.75, 0, 0], [1, 0, 0, 0]])


def read(maker, folder):
    return READER.read(maker.glb(folder / "deckhand.glb"), ReadOptions())


def matrix(turn=None, shift=(0, 0, 0), scale=1.0):
    found = np.eye(4)
    found[:3, :3] = (turn.as_matrix() if turn else np.eye(3)) * scale
    found[:3, 3] = shift
    return found


def skinned(folder, above, inverse_bind, attributes=None, **primitive):
    """Two joints, "hips" on the node of matrix `above`, "spine" 1 m up; a mesh on both."""
    maker = GltfMaker()
    maker.node("armature", matrix=list(above.T.reshape(-1)), children=[1, 3])
    maker.node("hips", children=[2])
    maker.node("spine", translation=[0, 1, 0])
    used = {
        "POSITION": lambda: maker.accessor(POINTS),
        "JOINTS_0": lambda: maker.accessor(SLOTS, "uint8"),
        "WEIGHTS_0": lambda: maker.accessor(WEIGHTS),
        **(attributes(maker) if attributes else {}),
    }
    mesh = maker.mesh("oilskin", {name: make() for name, make in used.items()}, **primitive)
    maker.node("body", mesh=mesh, skin=0, translation=[50, 60, 70])
    maker.skin([1, 2], inverse_bind)
    return maker


def test_a_mesh_is_given_where_its_bind_pose_stands_in_the_scene(tmp_path):
    # Bound in a Z-up space in centimetres under a node that turns and scales it (as real exports
    # do). Skinning, glTF 2.0 section 3.7.3.3: sum of w * joint world * inverse bind * position.
    above = matrix(Rotation.from_euler("x", -90, degrees=True), (0, 0, 3), 0.01)
    bind = np.stack((matrix(), matrix(shift=(0, 1, 0))))
    asset = read(skinned(tmp_path, above, np.linalg.inv(bind)), tmp_path)
    skin = asset.skins[0]
    joints = np.stack((above @ bind[0], above @ bind[1]))
    palette = joints @ np.linalg.inv(bind)
    homogeneous = np.column_stack((POINTS, np.ones(4)))
    expected = np.einsum("vi,vijk,vk->vj", WEIGHTS, palette[SLOTS], homogeneous)[:, :3]
    np.testing.assert_allclose(skin.vertices, expected, atol=1e-7)
    np.testing.assert_allclose(skin.bind_positions[1:], joints[:, :3, 3], atol=1e-7)
    assert np.isnan(skin.bind_positions[0]).all()
    turned = Rotation.from_quat(skin.bind_rotations[1:][:, [1, 2, 3, 0]])
    axes = Rotation.from_euler("x", -90, degrees=True)
    assert (turned * axes.inv()).magnitude().max() < 1e-7
    assert skin.name == "oilskin"


def test_the_mesh_nodes_own_transform_does_not_count(tmp_path):
    maker = skinned(tmp_path, matrix(), np.stack((matrix(), matrix(shift=(0, -1, 0)))))
    skin = read(maker, tmp_path).skins[0]
    np.testing.assert_allclose(skin.vertices, POINTS, atol=1e-7)


def test_a_bind_pose_other_than_the_rest_pose_is_kept(tmp_path):
    # The spine is bound 2 m up and stands 1 m up at rest.
    maker = skinned(tmp_path, matrix(), np.stack((matrix(), matrix(shift=(0, -2, 0)))))
    skin = read(maker, tmp_path).skins[0]
    np.testing.assert_allclose(skin.bind_positions[2], [0, 2, 0], atol=1e-12)


def test_a_skin_without_matrices_is_posed_at_rest(tmp_path):
    # Section 3.7.3.1: without matrices each is the identity, so vertices are in joint axes.
    maker = skinned(tmp_path, matrix(), None)
    skin = read(maker, tmp_path).skins[0]
    share = np.where(SLOTS == 1, WEIGHTS, 0.0).sum(axis=1)
    expected = POINTS + np.outer(share, [0, 1, 0])
    np.testing.assert_allclose(skin.vertices, expected, atol=1e-7)
    np.testing.assert_allclose(skin.bind_positions[2], [0, 1, 0], atol=1e-12)


def test_slots_are_joints_of_the_skeleton_and_weights_sum_to_1(tmp_path):
    inverse = np.stack((matrix(), matrix()))
    quantised = {
        "JOINTS_0": lambda maker: maker.accessor(SLOTS, "uint16"),
        "WEIGHTS_0": lambda maker: maker.accessor(
            np.round(WEIGHTS * 255), "uint8", normalized=True
        ),
    }
    maker = skinned(
        tmp_path,
        matrix(),
        inverse,
        lambda maker: {name: lambda make=make: make(maker) for name, make in quantised.items()},
    )
    asset = read(maker, tmp_path)
    skin = asset.skins[0]
    assert [asset.skeleton.names[i] for i in skin.joints[:, 0]] == [
        "hips",
        "spine",
        "hips",
        "spine",
    ]
    np.testing.assert_allclose(skin.weights.sum(axis=1), 1.0, atol=1e-12)
    np.testing.assert_allclose(skin.weights, WEIGHTS, atol=0.003)


def test_quantised_positions_are_read_as_they_stand_or_dequantised(tmp_path):
    # KHR_mesh_quantization allows integer positions, normalised or not.
    inverse = np.stack((matrix(), matrix()))
    for normalized, scale in ((False, 1.0), (True, 1 / 127)):
        maker = skinned(
            tmp_path,
            matrix(),
            inverse,
            lambda maker, normalized=normalized: {
                "POSITION": lambda: maker.accessor(
                    np.column_stack((POINTS, np.zeros(4)))[:, :3], "int8", normalized=normalized
                )
            },
        )
        # Tightly packed int8 vectors of three: 3 bytes each, as the maker writes them.
        np.testing.assert_allclose(read(maker, tmp_path).skins[0].vertices, POINTS * scale)


def test_the_four_heaviest_of_eight_influences_are_kept():
    weights = np.array([[0.1, 0.2, 0.0, 0.05, 0.3, 0.15, 0.2, 0.0], [0.0] * 8])
    slots, kept = heaviest(np.arange(16).reshape(2, 8), weights)
    assert slots[0].tolist() == [4, 1, 6, 5]
    np.testing.assert_allclose(kept[0], np.array([0.3, 0.2, 0.2, 0.15]) / 0.85)
    # A vertex without weight follows its first joint.
    assert (slots[1, 0], kept[1].tolist()) == (8, [1.0, 0.0, 0.0, 0.0])


def test_strips_and_fans_become_the_triangles_the_standard_lists():
    # glTF 2.0, section 3.7.2.1: strip p_i = {v_i, v_(i+1+i%2), v_(i+2-i%2)}, fan p_i =
    # {v_(i+1), v_(i+2), v_0}; both keep the winding.
    order = np.array([10, 11, 12, 13, 14])
    assert corners(order, 5).tolist() == [[10, 11, 12], [11, 13, 12], [12, 13, 14]]
    assert corners(order, 6).tolist() == [[11, 12, 10], [12, 13, 10], [13, 14, 10]]
    assert corners(order, 4).tolist() == [[10, 11, 12]]


def test_triangles_may_be_indexed_or_not_and_lines_are_left_out(tmp_path):
    inverse = np.stack((matrix(), matrix()))
    skin = read(skinned(tmp_path, matrix(), inverse), tmp_path).skins[0]
    assert skin.triangles.tolist() == [[0, 1, 2]]
    maker = skinned(tmp_path, matrix(), inverse)
    primitive = maker.tree["meshes"][0]["primitives"][0]
    primitive["indices"] = maker.accessor([3, 2, 1, 0, 1, 2], "uint16")
    lines = {**primitive, "mode": 1}
    maker.tree["meshes"][0]["primitives"].append(lines)
    skin = read(maker, tmp_path).skins[0]
    assert skin.triangles.tolist() == [[3, 2, 1], [0, 1, 2]]
    # Both primitives name the same vertices; they are there once.
    assert len(skin.vertices) == 4


def test_primitives_with_vertices_of_their_own_are_joined(tmp_path):
    maker = skinned(tmp_path, matrix(), np.stack((matrix(), matrix())))
    other = dict(maker.tree["meshes"][0]["primitives"][0]["attributes"])
    other["POSITION"] = maker.accessor(POINTS + 5.0)
    maker.tree["meshes"][0]["primitives"].append({"attributes": other})
    skin = read(maker, tmp_path).skins[0]
    assert skin.triangles.tolist() == [[0, 1, 2], [4, 5, 6]]
    np.testing.assert_allclose(skin.vertices[4:], POINTS + 5.0)


def test_several_skins_share_the_skeleton(tmp_path):
    maker = skinned(tmp_path, matrix(), np.stack((matrix(), matrix())))
    maker.node("boots", mesh=0, skin=1)
    maker.skin([2, 1], np.stack((matrix(), matrix())))
    first, second = read(maker, tmp_path).skins
    assert first.joints[:, 0].tolist() == [1, 2, 1, 2]
    assert second.joints[:, 0].tolist() == [2, 1, 2, 1]


def test_a_mesh_hung_on_a_joint_is_a_skin_of_one_joint(tmp_path):
    maker = GltfMaker()
    turn = Rotation.from_euler("z", 90, degrees=True).as_quat()
    maker.chain("hips", "shin")
    mesh = maker.mesh("boot", {"POSITION": maker.accessor(POINTS)})
    maker.node("boot", mesh=mesh, rotation=turn.tolist(), translation=[0, -1, 0])
    maker.tree["nodes"][1]["children"] = [2]
    maker.animation("a", (1, "rotation", [0.0, 0.1], np.tile([0.0, 0, 0, 1], (2, 1))))
    asset = read(maker, tmp_path)
    (skin,) = asset.skins
    # Hips at the origin, shin 1 m up, boot back down 1 m and turned about Z.
    np.testing.assert_allclose(skin.vertices, Rotation.from_quat(turn).apply(POINTS), atol=1e-7)
    assert set(skin.joints[:, 0].tolist()) == {1}
    assert skin.weights.tolist() == [[1.0, 0.0, 0.0, 0.0]] * 4
    assert "body-model" in [one.topic for one in asset.notes]


def test_a_mesh_that_hangs_on_no_joint_is_no_part_of_the_body(tmp_path):
    maker = skinned(tmp_path, matrix(), np.stack((matrix(), matrix())))
    maker.node("crate", mesh=maker.mesh("crate", {"POSITION": maker.accessor(POINTS)}))
    assert [skin.name for skin in read(maker, tmp_path).skins] == ["oilskin"]


def test_compressed_meshes_are_left_out_with_a_note(tmp_path):
    maker = skinned(tmp_path, matrix(), np.stack((matrix(), matrix())))
    primitive = maker.tree["meshes"][0]["primitives"][0]
    primitive["extensions"] = {"KHR_draco_mesh_compression": {"bufferView": 0, "attributes": {}}}
    del maker.tree["accessors"][primitive["attributes"]["POSITION"]]["bufferView"]
    maker.tree["extensionsRequired"] = ["KHR_draco_mesh_compression"]
    asset = read(maker, tmp_path)
    assert asset.skins == ()
    assert any("compressed" in note.text for note in asset.notes)


@pytest.mark.parametrize(
    ("attributes", "primitive", "inverse", "place"),
    [
        (
            lambda maker: {"JOINTS_0": lambda: maker.accessor(SLOTS + 2, "uint8")},
            {},
            [matrix(), matrix()],
            "/skins/0",
        ),
        (
            lambda maker: {"WEIGHTS_0": lambda: maker.accessor(WEIGHTS[:3])},
            {},
            [matrix(), matrix()],
            "/meshes/0/primitives/0/attributes",
        ),
        (
            lambda maker: {"JOINTS_0": lambda: maker.accessor(SLOTS)},
            {},
            [matrix(), matrix()],
            "/accessors/1",
        ),
        (
            lambda maker: {"POSITION": lambda: maker.accessor(POINTS * np.inf)},
            {},
            [matrix(), matrix()],
            "/meshes/0/primitives/0/attributes",
        ),
        (None, {"mode": 9}, [matrix(), matrix()], "/meshes/0/primitives/0/mode"),
        (None, {"indices": 1}, [matrix(), matrix()], "/meshes/0/primitives/0/indices"),
        (None, {}, [matrix()], "/skins/0/inverseBindMatrices"),
        (None, {}, [matrix(), matrix(scale=0.0)], "/skins/0/inverseBindMatrices"),
        (None, {}, [matrix(), matrix(scale=np.nan)], "/skins/0/inverseBindMatrices"),
    ],
)
@pytest.mark.filterwarnings("ignore:invalid value")
def test_faults_of_skins_and_meshes_are_named(tmp_path, attributes, primitive, inverse, place):
    maker = skinned(tmp_path, matrix(), np.stack(inverse), attributes, **primitive)
    with pytest.raises(AssetError) as caught:
        read(maker, tmp_path)
    assert caught.value.place == place
