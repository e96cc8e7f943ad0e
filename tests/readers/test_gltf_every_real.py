"""Every glTF file that is here, whole: each channel, joint and skin is read a second time.

By pygltflib (the tree), struct (the numbers), NumPy and SciPy (what lies between keys) and trimesh
(where nodes and meshes stand), none of which share code with the reader.
"""

import base64
import struct
from functools import cache

import numpy as np
import pytest
import trimesh
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation, Slerp

from kinelint.clip import Clip
from kinelint.kinematics import rotations
from kinelint.motion import world
from kinelint.readers import read
from readers.gltf_oracle import tree as library
from real_data import folder

NAMES = sorted(path.name for path in folder().glob("gltf/*") if path.suffix != ".md") or [None]
_FORMATS = {5120: "b", 5121: "B", 5122: "h", 5123: "H", 5125: "I", 5126: "f"}
_WIDTHS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT4": 16}
_KEYS = {5120: 127.0, 5121: 255.0, 5122: 32767.0, 5123: 65535.0}


@pytest.fixture(params=NAMES)
def path(request):
    if request.param is None:
        pytest.skip("no real glTF files are here (KINELINT_TEST_DATA)")
    return folder() / "gltf" / request.param


@cache
def decoded(path, index):
    """``(count, width)`` of an accessor, number by number."""
    gltf = library(path)
    accessor = gltf.accessors[index]
    view = gltf.bufferViews[accessor.bufferView]
    uri = gltf.buffers[view.buffer].uri
    data = base64.b64decode(uri.split(",")[1]) if uri else gltf.binary_blob()
    width, code = _WIDTHS[accessor.type], _FORMATS[accessor.componentType]
    stride = view.byteStride or width * struct.calcsize(code)
    start = (view.byteOffset or 0) + (accessor.byteOffset or 0)
    each, size = struct.Struct(f"<{width}{code}"), accessor.count
    rows = [each.unpack_from(data, start + i * stride) for i in range(size)]
    found = np.array(rows, dtype=float)
    return found / _KEYS[accessor.componentType] if accessor.normalized else found


@cache
def asset_of(path):
    return read(path)


def joints_of(skeleton):
    return {int(handle.rsplit("/")[-1]): i for i, handle in enumerate(skeleton.handles)}


def between(times, values, mode, at, turns):
    """Values ``(frames, width)`` at moments; glTF 2.0, appendix C."""
    at = np.clip(at, times[0], times[-1])
    if mode != "CUBICSPLINE" and np.all(values == values[0]):
        return np.tile(values[0], (len(at), 1))
    if mode == "CUBICSPLINE":
        inward, values, outward = values.reshape(len(times), 3, -1).transpose(1, 0, 2)
        found = np.empty((len(at), values.shape[1]))
        for i in range(max(len(times) - 1, 1)):
            span = slice(i, i + 2)
            slopes = np.stack((outward[i], inward[min(i + 1, len(times) - 1)]))
            inside = (at >= times[i]) & (at <= times[min(i + 1, len(times) - 1)])
            if len(times) == 1:
                found[:] = values[0]
            else:
                found[inside] = CubicHermiteSpline(times[span], values[span], slopes)(at[inside])
        return found
    if mode == "STEP" or len(times) == 1:
        # A frame that float32 puts a hair before its key shows it already.
        return values[np.maximum(np.searchsorted(times, at + 1e-5, side="right") - 1, 0)]
    if turns:
        return Slerp(times, Rotation.from_quat(values))(at).as_quat()
    return np.column_stack([np.interp(at, times, column) for column in values.T])


def curve_of(clip, joint, path):
    """``(frames, width)`` of one joint; what never moves is at rest."""
    if path == "rotation":
        return clip.rotations[joint][[1, 2, 3, 0]].T
    which, values, rest = {
        "translation": (clip.translated, clip.translations, clip.skeleton.rest_translations),
        "scale": (clip.scaled, clip.scales, clip.skeleton.rest_scales),
    }[path]
    found = np.flatnonzero(which == joint)
    return values[found[0]].T if len(found) else np.tile(rest[joint], (clip.frames, 1))


def test_every_channel_of_every_clip_is_what_its_bytes_say(path):
    gltf, asset = library(path), asset_of(path)
    joints = joints_of(asset.skeleton)
    size = np.median(np.linalg.norm(asset.skeleton.rest_translations, axis=1)) or 1.0
    compared = 0
    for clip in asset.clips:
        animation = gltf.animations[int(clip.source.clip_handle.rsplit("/")[-1])]
        at = clip.start_s + clip.times_s
        weights = iter(clip.weights)
        for channel in animation.channels:
            sampler, target = animation.samplers[channel.sampler], channel.target
            times, values = decoded(path, sampler.input)[:, 0], decoded(path, sampler.output)
            mode = sampler.interpolation or "LINEAR"
            if target.path == "weights":
                for column in between(times, values.reshape(len(times), -1), mode, at, False).T:
                    np.testing.assert_allclose(next(weights), column, atol=1e-4)
                compared += 1
                continue
            if target.node not in joints:
                continue
            expected = between(times, values, mode, at, target.path == "rotation")
            found = curve_of(clip, joints[target.node], target.path)
            if target.path == "rotation":
                apart = rotations.angle_between(found.T[[3, 0, 1, 2]], expected.T[[3, 0, 1, 2]])
                assert np.degrees(apart.max()) < 0.02
            else:
                # Frames snap to keys that float32 times put a few microseconds beside them.
                assert np.abs(found - expected).max() < 2e-4 * max(size, 1.0)
            compared += 1
    assert compared or not asset.clips


def test_every_key_of_every_clip_is_covered_by_its_frames(path):
    for clip in asset_of(path).clips:
        animation = library(path).animations[int(clip.source.clip_handle.rsplit("/")[-1])]
        inputs = [decoded(path, sampler.input)[:, 0] for sampler in animation.samplers]
        first, last = min(one[0] for one in inputs), max(one[-1] for one in inputs)
        assert clip.start_s == pytest.approx(first, abs=1e-6)
        assert clip.start_s + clip.duration_s == pytest.approx(last, abs=1e-5)
        assert set(np.unique(np.concatenate(inputs))) == set(clip.key_times_s)


def test_every_joint_stands_at_rest_where_its_nodes_matrices_take_it(path):
    gltf, skeleton = library(path), asset_of(path).skeleton
    positions, _ = world(Clip("rest", skeleton, 30.0, skeleton.rest_rotations[..., None]))
    above = {child: i for i, node in enumerate(gltf.nodes) for child in node.children or []}
    for node, joint in joints_of(skeleton).items():
        found = np.eye(4)
        while node is not None:
            found = matrix_of(gltf.nodes[node]) @ found
            node = above.get(node)
        np.testing.assert_allclose(positions[joint, :, 0], found[:3, 3], atol=1e-4)


def matrix_of(node):
    found = np.eye(4)
    if node.matrix is not None:
        return np.reshape(node.matrix, (4, 4)).T
    turn = Rotation.from_quat(node.rotation or [0, 0, 0, 1]).as_matrix()
    found[:3, :3] = turn * (node.scale or [1, 1, 1])
    found[:3, 3] = node.translation or [0, 0, 0]
    return found


def test_every_skin_holds_the_vertices_that_its_primitives_list(path):
    gltf, asset = library(path), asset_of(path)
    by_name = {}
    for i, node in enumerate(gltf.nodes):
        if node.mesh is not None:
            mesh = gltf.meshes[node.mesh]
            by_name.setdefault(mesh.name or node.name or f"node {i}", []).append(mesh)
    for skin in asset.skins:
        sizes = []
        for mesh in by_name[skin.name]:
            positions = {one.attributes.POSITION for one in mesh.primitives}
            sizes.append(sum(gltf.accessors[one].count for one in positions))
        assert len(skin.vertices) in sizes
        np.testing.assert_allclose(skin.weights.sum(axis=1), 1.0, atol=1e-6)


def test_every_skin_stands_at_rest_where_the_standards_formula_puts_it(path):
    # glTF 2.0, section 3.7.3.3: joint world times inverse bind; the reader's skin is taken from
    # its bind pose to the rest pose by turning and moving each joint.
    gltf, asset = library(path), asset_of(path)
    bearers = [node for node in gltf.nodes if node.skin is not None and node.mesh is not None]
    if not bearers:
        pytest.skip("this file binds no mesh")
    joints, above = joints_of(asset.skeleton), {}
    for i, node in enumerate(gltf.nodes):
        above |= dict.fromkeys(node.children or [], i)
    rest = Clip("rest", asset.skeleton, 30.0, asset.skeleton.rest_rotations[..., None])
    positions, turned = world(rest)
    for node, skin in zip(bearers, asset.skins, strict=False):
        table = gltf.skins[node.skin]
        inverse = decoded(path, table.inverseBindMatrices).reshape(-1, 4, 4).transpose(0, 2, 1)
        palette = np.zeros((len(asset.skeleton), 4, 4))
        for bone, matrix in zip(table.joints, inverse, strict=True):
            place, up = np.eye(4), bone
            while up is not None:
                place, up = matrix_of(gltf.nodes[up]) @ place, above.get(up)
            palette[joints[bone]] = place @ matrix
        shared = dict.fromkeys(one.attributes.POSITION for one in gltf.meshes[node.mesh].primitives)
        points = np.vstack([decoded(path, one) for one in shared])
        homogeneous = np.column_stack((points, np.ones(len(points))))
        moved = np.einsum("vkij,vj->vki", palette[skin.joints], homogeneous)
        expected = np.einsum("vk,vki->vi", skin.weights, moved)[:, :3]
        bound = np.nan_to_num(skin.bind_rotations, nan=0.5)[..., None]
        turn = rotations.multiply(turned, rotations.conjugate(bound))[skin.joints]
        arms = (skin.vertices[:, None] - skin.bind_positions[skin.joints])[..., None]
        ours = rotations.rotate(turn, arms)[..., 0] + positions[skin.joints][..., 0]
        ours = np.where(skin.weights[..., None] > 0, ours, 0.0)
        ours = np.einsum("vk,vki->vi", skin.weights, ours)
        np.testing.assert_allclose(ours, expected, atol=2e-5 * np.ptp(expected))


def test_rigid_meshes_stand_where_trimesh_puts_them(path):
    # trimesh shows no skins: what hangs on nodes is where it and the reader must agree.
    asset = asset_of(path)
    rigid = [one for one in asset.skins if np.isfinite(one.bind_positions[:, 0]).sum() == 1]
    if not rigid:
        pytest.skip("no mesh of this file hangs rigidly on a joint")
    scene = trimesh.load(str(path), force="scene", process=False)
    clouds = []
    for name in scene.graph.nodes_geometry:
        place, geometry = scene.graph.get(name)
        points = np.asarray(scene.geometry[geometry].vertices)
        clouds.append(trimesh.transform_points(points, place))
    boxes = np.array([[*one.min(axis=0), *one.max(axis=0)] for one in clouds])
    agreed = 0
    for skin in rigid:
        # A mesh of several primitives is several geometries there.
        inside = [
            one
            for one, box in zip(clouds, boxes, strict=True)
            if np.all(box[:3] >= skin.vertices.min(axis=0) - 1e-4)
            and np.all(box[3:] <= skin.vertices.max(axis=0) + 1e-4)
        ]
        together = np.vstack(inside) if inside else np.empty((0, 3))
        if len(together) >= len(skin.vertices):
            apart = cKDTree(together).query(skin.vertices)[0]
            assert apart.max() < 1e-4
            agreed += 1
    assert agreed
