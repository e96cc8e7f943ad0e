"""Real glTF files, where they are present: against pygltflib, trimesh and plain struct reading."""

import base64
import struct
from functools import cache

import numpy as np
import pygltflib
import pytest
import trimesh
from scipy.spatial.transform import Rotation, Slerp

from kinelint.clip import Clip
from kinelint.kinematics import rotations
from kinelint.motion import world
from kinelint.readers import ReadOptions, read
from readers.gltf_oracle import tree
from real_data import real

# Joints of the skins, clips and the range of durations: as the data's own list has them.
FACTS = {
    "AnimatedMorphCube.glb": (0, 1, 4.20, 4.20),
    "CesiumMan.glb": (19, 1, 2.00, 2.00),
    "Fox.glb": (24, 3, 0.71, 3.42),
    "RiggedFigure.glb": (19, 1, 1.25, 1.25),
    "RiggedSimple.glb": (2, 1, 2.04, 2.04),  # from 0.04 to 2.08 s
    "RobotExpressive.glb": (43, 14, 0.42, 3.33),
    "SimpleSkin.gltf": (2, 1, 5.50, 5.50),
    "kaykit_knight.glb": (41, 76, 0.00, 4.00),
    "kaykit_med_movement_basic.glb": (23, 11, 0.03, 2.33),  # all from 0.03 s on
    "threevrm_test.vrma": (0, 1, 3.00, 3.00),
}


@cache
def library(path):
    """The file by pygltflib, and a function that decodes one float accessor with struct."""
    gltf = tree(path)

    def decoded(index):
        accessor = gltf.accessors[index]
        view = gltf.bufferViews[accessor.bufferView]
        uri = gltf.buffers[view.buffer].uri
        data = base64.b64decode(uri.split(",")[1]) if uri else gltf.binary_blob()
        width = {"SCALAR": 1, "VEC3": 3, "VEC4": 4, "MAT4": 16}[accessor.type]
        stride = view.byteStride or width * 4
        start = (view.byteOffset or 0) + (accessor.byteOffset or 0)
        assert accessor.componentType == pygltflib.FLOAT
        rows = [
            struct.unpack_from(f"<{width}f", data, start + i * stride)
            for i in range(accessor.count)
        ]
        return np.array(rows)

    return gltf, decoded


def node_world(gltf, node):
    """The transform of a node to the scene, from its JSON alone."""
    found = np.eye(4)
    if node is not None:
        one = gltf.nodes[node]
        if one.matrix is not None:
            found = np.reshape(one.matrix, (4, 4)).T
        else:
            turn = Rotation.from_quat(one.rotation or [0, 0, 0, 1]).as_matrix()
            found[:3, :3] = turn * (one.scale or [1, 1, 1])
            found[:3, 3] = one.translation or [0, 0, 0]
        above = next((i for i, up in enumerate(gltf.nodes) if node in (up.children or [])), None)
        found = node_world(gltf, above) @ found
    return found


def at_rest(skeleton):
    return Clip("rest", skeleton, 30.0, skeleton.rest_rotations[..., None])


@pytest.mark.parametrize("name", FACTS)
def test_joints_clips_and_durations_are_those_on_record(name):
    bound, clips, shortest, longest = FACTS[name]
    asset = read(real(f"gltf/{name}"))
    assert len(asset.clips) == clips
    durations = [clip.duration_s for clip in asset.clips]
    assert min(durations) == pytest.approx(shortest, abs=0.01)
    assert max(durations) == pytest.approx(longest, abs=0.01)
    gltf, _ = library(real(f"gltf/{name}")) if not name.endswith("vrma") else (None, None)
    joints = {node for skin in (gltf.skins if gltf else []) for node in skin.joints}
    assert len(joints) == bound
    assert joints <= {int(one.rsplit("/")[-1]) for one in asset.skeleton.handles}
    for clip in asset.clips:
        np.testing.assert_allclose(np.linalg.norm(clip.rotations, axis=1), 1.0, atol=1e-9)
        assert clip.sample_rate_hz >= 29.95


@pytest.mark.parametrize(
    "name",
    [
        "CesiumMan.glb",
        "Fox.glb",
        "RiggedFigure.glb",
        "RobotExpressive.glb",
        "SimpleSkin.gltf",
        "kaykit_med_movement_basic.glb",
    ],
)
def test_every_rotation_channel_equals_slerp_of_the_bytes_that_pygltflib_finds(name):
    path = real(f"gltf/{name}")
    gltf, decoded = library(path)
    asset = read(path)
    joint = {int(handle.rsplit("/")[-1]): i for i, handle in enumerate(asset.skeleton.handles)}
    compared = 0
    for clip, animation in zip(asset.clips, gltf.animations, strict=True):
        assert clip.name in (animation.name, "animation 0")
        for channel in animation.channels:
            sampler = animation.samplers[channel.sampler]
            if channel.target.path != "rotation" or sampler.interpolation not in (None, "LINEAR"):
                continue
            times, values = decoded(sampler.input)[:, 0], decoded(sampler.output)
            at = np.clip(clip.start_s + clip.times_s, times[0], times[-1])
            turns = Rotation.from_quat(values)
            expected = Slerp(times, turns)(at) if len(times) > 1 else turns[[0] * clip.frames]
            found = clip.rotations[joint[channel.target.node]]
            off = rotations.angle_between(found, expected.as_quat()[:, [3, 0, 1, 2]].T)
            # Frames snap to keys that float32 times put a few microseconds beside them.
            assert np.degrees(off.max()) < 0.02
            compared += 1
    assert compared


@pytest.mark.parametrize("name", ["CesiumMan.glb", "RobotExpressive.glb", "Fox.glb"])
def test_every_key_of_a_24_hz_file_is_a_frame_with_the_stored_value(name):
    path = real(f"gltf/{name}")
    gltf, decoded = library(path)
    clip, animation = read(path).clips[0], gltf.animations[0]
    joint = {int(handle.rsplit("/")[-1]): i for i, handle in enumerate(clip.skeleton.handles)}
    for channel in animation.channels:
        sampler = animation.samplers[channel.sampler]
        if channel.target.path == "rotation":
            times, values = decoded(sampler.input)[:, 0], decoded(sampler.output)
            frames = np.rint((times - clip.start_s) * clip.sample_rate_hz).astype(int)
            stored = values / np.linalg.norm(values, axis=1, keepdims=True)
            found = clip.rotations[joint[channel.target.node]][:, frames]
            np.testing.assert_allclose(found, stored[:, [3, 0, 1, 2]].T, atol=3e-16)


@pytest.mark.parametrize("name", ["RobotExpressive.glb", "kaykit_knight.glb", "CesiumMan.glb"])
def test_rest_transforms_equal_trimesh(name):
    path = real(f"gltf/{name}")
    asset = read(path)
    scene = trimesh.load(str(path), force="scene")
    # Names that several nodes bear are others' in trimesh.
    all_names = [node.name for node in library(path)[0].nodes]
    rest = {
        name: i
        for i, name in enumerate(asset.skeleton.names)
        if name and all_names.count(name) == 1
    }
    positions, _ = world(at_rest(asset.skeleton))
    shared = [node for node in scene.graph.nodes if node in rest]
    for node in shared:
        expected = scene.graph.get(node)[0][:3, 3]
        np.testing.assert_allclose(positions[rest[node], :, 0], expected, atol=1e-4)
    assert shared or name == "CesiumMan.glb"  # whose nodes have no names


@pytest.mark.parametrize(
    "name", ["CesiumMan.glb", "RiggedFigure.glb", "Fox.glb", "kaykit_knight.glb"]
)
def test_skinned_vertices_at_rest_equal_the_standards_formula(name):
    # glTF 2.0, section 3.7.3.3, with pygltflib's tree and bytes: our skin, taken rigidly from its
    # bind pose to the rest pose, must stand where joint world times inverse bind puts the mesh.
    path = real(f"gltf/{name}")
    gltf, decoded = library(path)
    asset = read(path)
    skin = asset.skins[0]
    node = next(one for one in gltf.nodes if one.skin is not None)
    table = gltf.skins[node.skin]
    joint = {int(handle.rsplit("/")[-1]): i for i, handle in enumerate(asset.skeleton.handles)}
    inverse = decoded(table.inverseBindMatrices).reshape(-1, 4, 4).transpose(0, 2, 1)
    palette = np.zeros((len(asset.skeleton), 4, 4))
    for bone, matrix in zip(table.joints, inverse, strict=True):
        palette[joint[bone]] = node_world(gltf, bone) @ matrix
    primitives = gltf.meshes[node.mesh].primitives
    points = np.vstack([decoded(one.attributes.POSITION) for one in primitives])
    moved = np.einsum(
        "vkij,vj->vki", palette[skin.joints], np.column_stack((points, np.ones(len(points))))
    )
    expected = np.einsum("vk,vki->vi", skin.weights, moved)[:, :3]
    positions, turned = world(at_rest(asset.skeleton))
    bound = np.nan_to_num(skin.bind_rotations, nan=0.5)[..., None]
    turn = rotations.multiply(turned, rotations.conjugate(bound))[skin.joints]
    arms = (skin.vertices[:, None] - skin.bind_positions[skin.joints])[..., None]
    ours = rotations.rotate(turn, arms)[..., 0] + positions[skin.joints][..., 0]
    ours = np.einsum("vk,vki->vi", skin.weights, np.where(skin.weights[..., None] > 0, ours, 0.0))
    np.testing.assert_allclose(ours, expected, atol=2e-5 * np.ptp(expected))


def test_a_figure_bound_in_a_z_up_space_stands_upright_in_the_scene():
    skin = read(real("gltf/CesiumMan.glb")).skins[0]
    low, high = skin.vertices.min(axis=0), skin.vertices.max(axis=0)
    assert 1.4 < high[1] - low[1] < 1.6
    assert abs(low[1]) < 0.01


def test_loops_close_on_their_last_key_without_an_invented_seam():
    # Each loop's last key repeats its first; at 30 Hz without the end the seam reads 16 to 18 deg.
    clips = {clip.name: clip for clip in read(real("gltf/RobotExpressive.glb")).clips}
    for name in ("Running", "Walking"):
        turned = clips[name].rotations
        seam = rotations.angle_between(turned[..., :1], turned[..., -1:])
        assert clips[name].duration_s == pytest.approx(23 / 24, abs=1e-6)
        assert np.degrees(seam.max()) < 0.1


def test_a_vrm_animation_names_its_humanoid_and_its_expression():
    asset = read(real("gltf/threevrm_test.vrma"))
    assert len(asset.skeleton.humanoid) == 51
    assert asset.skeleton.names[asset.skeleton.humanoid["leftHand"]] == "leftHand"
    clip = asset.clips[0]
    assert clip.weight_names == ("expression happy",)
    assert clip.weights.max() == pytest.approx(1.0)
    moving = np.flatnonzero(
        rotations.angle_between(clip.rotations, clip.rotations[..., :1]).max(axis=-1) > 1e-6
    )
    assert [clip.skeleton.names[i] for i in moving] == ["rightUpperArm"]


def test_a_morph_only_file_gives_a_clip_of_weights():
    asset = read(real("gltf/AnimatedMorphCube.glb"), ReadOptions())
    gltf, decoded = library(real("gltf/AnimatedMorphCube.glb"))
    sampler = gltf.animations[0].samplers[0]
    clip = asset.clips[0]
    np.testing.assert_allclose(clip.weights, decoded(sampler.output).reshape(-1, 2).T, atol=1e-7)
    assert clip.skeleton.names == ("AnimatedMorphCube",)
