"""glTF extensions: which are read, which cost nothing to leave out, which stop the reading.

Sources: KHR_mesh_quantization, KHR_animation_pointer, KHR_draco_mesh_compression and the glTF 2.0
Asset Object Model (github.com/KhronosGroup/glTF).
"""

import numpy as np
import pytest
import trimesh
from scipy.spatial.transform import Rotation

from kinelint.errors import AssetError
from kinelint.readers.gltf import READER
from kinelint.readers.options import ReadOptions
from readers.gltf_maker import GltfMaker

TIMES = np.arange(7) / 30
TURNS = Rotation.from_euler("x", np.arange(7)[:, None] * 5.0, degrees=True).as_quat()
RANDOM = np.random.default_rng(4)


def read(maker, folder):
    return READER.read(maker.glb(folder / "deckhand.glb"), ReadOptions())


def moving():
    maker = GltfMaker()
    maker.chain("hips", "spine")
    maker.animation("bend", (1, "rotation", TIMES, TURNS))
    return maker


def texts(notes, topic):
    return [note.text for note in notes if note.topic == topic]


@pytest.mark.parametrize(
    "name",
    [
        "KHR_texture_basisu",
        "KHR_texture_transform",
        "KHR_materials_unlit",
        "KHR_materials_variants",
        "KHR_lights_punctual",
        "EXT_texture_webp",
        "KHR_xmp_json_ld",
        "VRMC_materials_mtoon",
        "EXT_mesh_features",
    ],
)
def test_what_only_looks_need_stops_no_reading_and_is_not_told(tmp_path, name):
    maker = moving()
    maker.tree["extensionsRequired"] = maker.tree["extensionsUsed"] = [name]
    asset = read(maker, tmp_path)
    assert asset.clips[0].frames == 7
    assert texts(asset.notes, "extensions") == []


@pytest.mark.parametrize(
    "name", ["EXT_mesh_gpu_instancing", "KHR_node_visibility", "MSFT_lod", "VRMC_springBone_limit"]
)
def test_what_costs_no_motion_is_passed_over_and_told(tmp_path, name):
    maker = moving()
    maker.tree["extensionsRequired"] = maker.tree["extensionsUsed"] = [name]
    told = texts(read(maker, tmp_path).notes, "extensions")
    assert len(told) == 1
    assert told[0].startswith(f"{name}: ")


def test_unknown_extensions_are_told_if_used_and_refused_if_required(tmp_path):
    maker = moving()
    maker.tree["extensionsUsed"] = [f"STUDIO_bones_{i}" for i in range(6)]
    told = texts(read(maker, tmp_path).notes, "extensions")
    assert told == [
        "extensions that are not read: STUDIO_bones_0, STUDIO_bones_1, STUDIO_bones_2, "
        "STUDIO_bones_3 and 2 more"
    ]
    maker.tree["extensionsRequired"] = ["KHR_materials_unlit", "STUDIO_bones_1"]
    with pytest.raises(AssetError, match="STUDIO_bones_1") as caught:
        read(maker, tmp_path)
    assert caught.value.place == "/extensionsRequired/1"


def pointed(*pointers):
    """A figure whose channel targets are pointers, all with the same keys and values."""
    maker = moving()
    positions = maker.accessor(np.zeros((3, 3)))
    targets = [{"POSITION": positions}] * 2
    mesh = maker.mesh("face", {"POSITION": positions}, targets=targets)
    maker.node("left cheek", mesh=mesh, weights=[0, 0])
    maker.node("right cheek", mesh=mesh)
    tree = maker.tree["animations"][0]
    keys = tree["samplers"][0]["input"]
    for pointer, values in pointers:
        tree["samplers"].append({"input": keys, "output": maker.accessor(values)})
        target = {
            "path": "pointer",
            "extensions": {"KHR_animation_pointer": {"pointer": pointer}},
        }
        tree["channels"].append({"sampler": len(tree["samplers"]) - 1, "target": target})
    return maker


RISING = np.linspace(0, 1, 7)
BOTH = np.column_stack((RISING, 1 - RISING)).reshape(-1)


def test_pointers_to_weights_of_nodes_and_meshes_are_read(tmp_path):
    maker = pointed(
        ("/nodes/2/weights", BOTH),
        ("/nodes/3/weights/1", RISING),
        ("/meshes/0/weights/0", 1 - RISING),
    )
    clip = read(maker, tmp_path).clips[0]
    assert clip.weight_names == (
        "left cheek target 0",
        "left cheek target 1",
        "right cheek target 1",
        "face target 0",
    )
    expected = [RISING, 1 - RISING, RISING, 1 - RISING]
    np.testing.assert_allclose(clip.weights, expected, atol=1e-6)
    clip = read(pointed(("/meshes/0/weights", BOTH)), tmp_path).clips[0]
    assert clip.weight_names == ("face target 0", "face target 1")
    np.testing.assert_allclose(clip.weights, [RISING, 1 - RISING], atol=1e-6)


def test_a_pointer_to_the_weights_of_a_mesh_that_no_node_shows_is_told(tmp_path):
    maker = pointed(("/meshes/0/weights", BOTH))
    for node in maker.tree["nodes"][2:]:
        del node["mesh"]
    told = texts(read(maker, tmp_path).clips[0].notes, "channels")
    assert len(told) == 1
    assert "/meshes/0/weights" in told[0]


def test_pointers_to_joints_are_read_and_others_are_told_in_one_note(tmp_path):
    shift = np.column_stack((RISING, RISING, RISING))
    maker = pointed(
        ("/nodes/0/translation", shift),
        ("/nodes/0/scale", 1 + shift),
        ("/nodes/1/rotation", TURNS),
        ("/materials/0/alphaCutoff", RISING),
        ("/cameras/0/perspective/yfov", RISING),
        ("/nodes/01/rotation", TURNS),
    )
    clip = read(maker, tmp_path).clips[0]
    np.testing.assert_allclose(clip.translations[0], shift.T, atol=1e-6)
    np.testing.assert_allclose(clip.scales[0], 1 + shift.T, atol=1e-6)
    assert texts(clip.notes, "channels") == [
        "channels that move what an earlier channel moves already were left out: 1 channel, "
        "spine rotation",
        "channels that point at what is neither a joint nor a weight were left out: 3 channels, "
        "/materials/0/alphaCutoff, /cameras/0/perspective/yfov, /nodes/01/rotation",
    ]
    assert texts(clip.notes, "scale-keys") == ["joints change their scale: hips"]


def test_a_pointer_to_a_node_that_is_not_there_is_named(tmp_path):
    with pytest.raises(AssetError) as caught:
        read(pointed(("/nodes/99/rotation", TURNS)), tmp_path)
    place = "/animations/0/channels/1/target/extensions/KHR_animation_pointer/pointer"
    assert caught.value.place == place


def padded(maker, values, dtype, normalized):
    """An accessor of 3 components whose elements start every 4 bytes or 8, as the standard asks."""
    array = np.asarray(values, dtype=dtype)
    rows = np.zeros((len(array), 4), dtype=dtype)
    rows[:, :3] = array
    view = maker.view(rows.tobytes(), byteStride=rows.strides[0])
    codes = {"int8": 5120, "uint8": 5121, "int16": 5122, "uint16": 5123}
    found = {"bufferView": view, "componentType": codes[dtype], "count": len(array)}
    maker.tree["accessors"].append({**found, "type": "VEC3", "normalized": normalized})
    return len(maker.tree["accessors"]) - 1


STEPS = {"int8": 127.0, "uint8": 255.0, "int16": 32767.0, "uint16": 65535.0}


@pytest.mark.parametrize("normalized", [False, True])
@pytest.mark.parametrize("dtype", list(STEPS))
def test_quantised_positions_stand_where_their_transform_takes_them(tmp_path, dtype, normalized):
    # KHR_mesh_quantization, "Decoding Quantized Data": f = c / most (signed: not below -1), the
    # node (or the inverse bind matrix) takes that to metres.
    whole = RANDOM.integers(-100 if dtype[0] == "i" else 0, 100, (20, 3))
    stored = whole / STEPS[dtype] if normalized else whole.astype(float)
    back = np.eye(4)
    back[:3, :3] *= 0.02 if not normalized else 0.02 * STEPS[dtype]
    back[:3, 3] = (0.5, -1.0, 2.0)
    maker = moving()
    maker.tree["extensionsRequired"] = ["KHR_mesh_quantization"]
    mesh = maker.mesh("oilskin", {"POSITION": padded(maker, whole, dtype, normalized)})
    columns = back.T.reshape(-1).tolist()
    maker.tree["nodes"][1]["children"] = [maker.node("oilskin", mesh=mesh, matrix=columns)]
    skinned = {
        "POSITION": padded(maker, whole, dtype, normalized),
        "JOINTS_0": maker.accessor(np.tile([0, 1, 0, 0], (20, 1)), "uint16"),
        "WEIGHTS_0": maker.accessor(np.tile([51, 204, 0, 0], (20, 1)), "uint8", normalized=True),
    }
    bind = np.stack(
        (np.eye(4), np.linalg.inv([[1, 0, 0, 0], [0, 1, 0, 1], [0, 0, 1, 0], [0, 0, 0, 1]]))
    )
    skin = maker.skin([0, 1], bind @ back)
    maker.node("body", mesh=maker.mesh("body", skinned), skin=skin)
    asset = read(maker, tmp_path)
    expected = stored @ back[:3, :3].T + back[:3, 3]
    body = next(one for one in asset.skins if one.name == "body")
    np.testing.assert_allclose(body.vertices, expected, atol=1e-5)
    np.testing.assert_allclose(body.weights[:, :2], [[0.2, 0.8]] * 20, atol=1e-9)
    np.testing.assert_allclose(body.bind_positions, [[0, 0, 0], [0, 1, 0]], atol=1e-5)
    assert len(asset.clips[0].skeleton) == 2


def test_a_quantised_mesh_below_a_joint_stands_where_trimesh_has_it(tmp_path):
    maker = moving()
    whole = RANDOM.integers(-3000, 3000, (30, 3))
    attributes = {"POSITION": padded(maker, whole, "int16", True)}
    mesh = maker.mesh("crate", attributes, indices=maker.accessor(np.arange(30), "uint16"))
    scale = [5.0, 5.0, 5.0]
    maker.tree["nodes"][1]["children"] = [maker.node("crate", mesh=mesh, scale=scale)]
    maker.tree |= {"scenes": [{"nodes": [0]}], "scene": 0}
    path = maker.glb(tmp_path / "crate.glb")
    skin = READER.read(path, ReadOptions()).skins[0]
    scene = trimesh.load(str(path), force="scene", process=False)
    place, name = scene.graph.get("crate")
    # trimesh 4 and before leave normalised integers undivided.
    stored = np.asarray(scene.geometry[name].vertices)
    stored = stored / 32767.0 if np.abs(stored).max() > 1.0 else stored
    expected = trimesh.transform_points(stored, place)
    np.testing.assert_allclose(skin.vertices, expected, atol=1e-5)
    assert np.ptp(skin.vertices) > 0.5


def test_of_a_compressed_mesh_the_motion_is_read_and_the_rest_told(tmp_path):
    # The extension touches primitives alone, so that no motion is lost without it.
    maker = moving()
    for table in ("extensionsUsed", "extensionsRequired"):
        maker.tree[table] = ["KHR_draco_mesh_compression"]
    view = maker.view(bytes(40))
    maker.tree["accessors"].append({"componentType": 5126, "count": 9, "type": "VEC3"})
    packed = {"KHR_draco_mesh_compression": {"bufferView": view, "attributes": {"POSITION": 0}}}
    attributes = {"POSITION": len(maker.tree["accessors"]) - 1}
    mesh = maker.mesh("oilskin", attributes, extensions=packed)
    maker.node("body", mesh=mesh, skin=maker.skin([0, 1]))
    asset = read(maker, tmp_path)
    assert asset.clips[0].frames == 7
    assert asset.skins == ()
    assert texts(asset.notes, "body-model") == [
        "compressed mesh primitives (KHR_draco_mesh_compression: 1) were left out; "
        "no motion is in them"
    ]


def test_cameras_and_lights_that_move_are_no_joints(tmp_path):
    maker = moving()
    maker.tree["cameras"] = [{"type": "perspective", "perspective": {"yfov": 1, "znear": 0.1}}]
    camera = maker.node("watch", camera=0)
    lamp = maker.node("lamp", extensions={"KHR_lights_punctual": {"light": 0}})
    shift = np.column_stack((RISING, RISING, RISING))
    maker.animation(
        "pan",
        (1, "rotation", TIMES, TURNS),
        (camera, "translation", TIMES, shift),
        (camera, "rotation", TIMES, TURNS),
        (lamp, "translation", TIMES, shift),
    )
    asset = read(maker, tmp_path)
    assert asset.skeleton.names == ("hips", "spine")
    assert texts(asset.clips[0].notes, "channels") == []
    assert texts(asset.clips[1].notes, "channels") == [
        "channels that move cameras or lights were left out: 3 channels, of watch, lamp"
    ]


def test_a_camera_that_carries_joints_is_one(tmp_path):
    maker = moving()
    hand = maker.node("hand")
    maker.node("rig", camera=0, children=[hand])
    maker.animation("wave", (hand, "rotation", TIMES, TURNS), (3, "rotation", TIMES, TURNS))
    assert set(read(maker, tmp_path).skeleton.names) == {"hips", "spine", "rig", "hand"}


def test_influences_beyond_four_are_told_with_what_they_weigh(tmp_path):
    maker = GltfMaker()
    maker.chain(*(f"j{i}" for i in range(6)))
    weights = np.array([[0.4, 0.2, 0.2, 0.1, 0.06, 0.04, 0, 0], [0.5, 0.5, 0, 0, 0, 0, 0, 0]])
    slots = np.tile([0, 1, 2, 3, 4, 5, 0, 0], (2, 1))
    attributes = {"POSITION": maker.accessor(np.zeros((2, 3)))}
    for i in (0, 1):
        half = slice(4 * i, 4 * i + 4)
        attributes[f"JOINTS_{i}"] = maker.accessor(slots[:, half], "uint8")
        attributes[f"WEIGHTS_{i}"] = maker.accessor(weights[:, half])
    mesh = maker.mesh("oilskin", attributes)
    maker.node("body", mesh=mesh, skin=maker.skin(list(range(6))))
    told = texts(read(maker, tmp_path).notes, "body-model")
    assert told == [
        "1 vertices follow more than four joints; of each the four heaviest were kept, "
        "at most 10.0% of a weight left out"
    ]


def test_sheared_joints_are_told_in_one_note(tmp_path):
    maker = GltfMaker()
    sheared = [1.0, 0, 0, 0, 0.5, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]
    for i in range(3):
        maker.node(f"j{i}", matrix=sheared, **({"children": [i + 1]} if i < 3 else {}))
    maker.node("end")
    maker.animation("bend", (3, "rotation", TIMES, TURNS))
    told = texts(read(maker, tmp_path).notes, "shear")
    assert told == ["the shear of joints' matrices was left out: 3 joints, j0, j1, j2"]
