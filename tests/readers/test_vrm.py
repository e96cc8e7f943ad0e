"""VRM 1.0, VRM 0.x and VRM animations, against the texts of the VRM Consortium.

Source: github.com/vrm-c/vrm-specification, VRMC_vrm 1.0 (humanoid.md, expressions.md, tpose.md,
lookAt.md), VRMC_vrm_animation 1.0, VRMC_springBone 1.0, VRMC_node_constraint 1.0, VRM 0.0.
"""

from __future__ import annotations

import json
import struct

import numpy as np
import pygltflib
import pytest
from scipy.spatial.transform import Rotation

from kinelint.anatomy.identify import identify
from kinelint.cli import main
from kinelint.clip import Asset
from kinelint.errors import AssetError
from kinelint.motion import world
from kinelint.readers import ReadOptions, read
from readers.gltf_maker import GltfMaker
from readers.vrm_maker import (
    NAMES,
    TIMES,
    bending,
    declared,
    figure,
    human_bones,
    old_bones,
    posed,
)
from real_data import real

STRAIGHT = [Rotation.identity()] * len(NAMES)
TURNED = list(Rotation.random(len(NAMES), random_state=3))


def animated(maker: GltfMaker, poses: list[np.ndarray] | np.ndarray) -> GltfMaker:
    maker.animation("bend", *((i, "rotation", TIMES, pose) for i, pose in enumerate(poses)))
    return maker


def vrma(leave: tuple[str, ...] = ("leftEye", "rightEye"), **more) -> GltfMaker:
    """A VRM animation of a figure with rest rotations; `more` stands beside its humanoid."""
    content = {"specVersion": "1.0", "humanoid": human_bones(leave), **more}
    poses = posed(TURNED, bending(5))
    maker = declared(figure(TURNED), "VRMC_vrm_animation", content)
    kept = [(i, "rotation", TIMES, poses[i]) for i, bone in enumerate(NAMES) if bone not in leave]
    maker.animation("bend", *kept)
    return maker


def asset_of(maker: GltfMaker, folder, name: str = "bosun.vrm") -> Asset:
    return read(maker.glb(folder / name))


def notes_on(asset: Asset, topic: str) -> list[str]:
    every = (*asset.notes, *(note for clip in asset.clips for note in clip.notes))
    return [note.text for note in every if note.topic == topic]


@pytest.mark.parametrize("kind", ["VRMC_vrm", "VRMC_vrm_animation", "VRM"])
def test_the_humanoid_tells_the_parts_where_names_say_nothing(tmp_path, kind):
    humanoid = old_bones() if kind == "VRM" else human_bones()
    maker = declared(figure(STRAIGHT, -1 if kind == "VRM" else 1), kind, {"humanoid": humanoid})
    skeleton = asset_of(animated(maker, bending(1)), tmp_path).skeleton
    assert skeleton is not None
    assert set(skeleton.names) == {f"n{i}" for i in range(len(NAMES))}
    assert {bone: skeleton.names[joint] for bone, joint in skeleton.humanoid.items()} == {
        bone: f"n{i}" for i, bone in enumerate(NAMES)
    }
    anatomy = identify(skeleton)
    parts = {one.part: skeleton.names[one.joint] for one in anatomy.assignments}
    for part, bone in {
        "pelvis": "hips",
        "head": "head",
        "left_shank": "leftLowerLeg",
        "right_forearm": "rightLowerArm",
        "left_foot": "leftFoot",
        "right_thumb_1": "rightThumbMetacarpal",
        "left_thumb_2": "leftThumbProximal",
    }.items():
        assert parts[part] == f"n{NAMES.index(bone)}"
    # Left and right are as declared, whichever way the figure faces (VRM 1.0: +Z, 0.x: -Z).
    assert not [note for note in anatomy.notes if "left" in note or "right" in note]


def test_without_the_humanoid_such_names_tell_nothing(tmp_path):
    skeleton = asset_of(animated(figure(STRAIGHT), bending(1)), tmp_path).skeleton
    assert skeleton is not None
    assert skeleton.humanoid == {}
    assert not any("thumb" in one.part for one in identify(skeleton).assignments)


def test_rest_rotations_change_no_position(tmp_path):
    # VRMC_vrm_animation, how_to_transform_human_pose.md: the same pose told for joints that are
    # turned at rest, as VRM 1.0 may have them, and for joints that are not, as VRM 0.x has them.
    normalised = bending(2)
    straight = asset_of(animated(figure(STRAIGHT), normalised), tmp_path, "old.vrm")
    turned = asset_of(animated(figure(TURNED), posed(TURNED, normalised)), tmp_path, "new.vrm")
    places = [world(one.clips[0])[0] for one in (straight, turned)]
    np.testing.assert_allclose(places[1], places[0], atol=1e-6)
    assert np.ptp(places[0], axis=-1).max() > 0.1


def test_a_vrm_animation_carries_bones_and_expressions(tmp_path):
    expressions = {
        "preset": {"aa": {"node": len(NAMES)}},
        "custom": {"squall": {"node": len(NAMES) + 1}},
    }
    maker = vrma(expressions=expressions, lookAt={"node": len(NAMES) + 2})
    mouth, brow, eyes = (maker.node(name) for name in ("mouth", "brow", "eyes"))
    value = np.linspace(-0.5, 1.5, 31)
    shift = np.column_stack((value, np.full(31, 9.0), np.zeros(31)))
    sampler = maker.tree["animations"][0]
    for node, path, values in (
        (mouth, "translation", shift),
        (brow, "translation", shift * 0.5 + 0.25),
        (brow, "scale", np.ones((31, 3))),
        (eyes, "rotation", np.tile([0, 0, 0, 1], (31, 1))),
    ):
        sampler["samplers"].append({"input": 0, "output": maker.accessor(values)})
        target = {"node": node, "path": path}
        sampler["channels"].append({"sampler": len(sampler["samplers"]) - 1, "target": target})
    for one in sampler["samplers"]:
        one["input"] = sampler["samplers"][0]["input"]
    asset = asset_of(maker, tmp_path, "haul.vrma")
    clip = asset.clips[0]
    assert clip.weight_names == ("expression aa", "expression squall")
    # "The implementation must clamp the value to the range of [0, 1]."
    np.testing.assert_allclose(clip.weights[0], np.clip(value, 0, 1), atol=1e-6)
    np.testing.assert_allclose(clip.weights[1], np.clip(value * 0.5 + 0.25, 0, 1), atol=1e-6)
    assert len(clip.skeleton) == len(NAMES)  # what stands for a face or the eyes is no joint
    assert len(clip.translated) == 0
    assert len(notes_on(asset, "expressions")) == 1
    assert "'aa'" in notes_on(asset, "expressions")[0]
    assert len(notes_on(asset, "gaze")) == 1
    assert notes_on(asset, "channels") == [
        "channels that move what is no joint were left out: 1 channel, of brow"
    ]


def test_a_sign_that_hangs_on_a_bone_is_no_joint_either(tmp_path):
    maker = vrma(expressions={"preset": {"happy": {"node": len(NAMES)}}})
    maker.tree["nodes"][NAMES.index("head")]["children"].append(maker.node("smile"))
    assert "smile" not in asset_of(maker, tmp_path).clips[0].skeleton.names


def test_what_a_vrm_animation_may_not_move_is_read_and_told(tmp_path):
    # "must not include scales", "must not include translations for bones other than the Hips",
    # "`leftEye` and `rightEye` cannot be defined".
    maker = vrma(leave=())
    shift = np.column_stack((np.linspace(0, 0.1, 31), np.zeros((31, 2))))
    maker.animation(
        "stretch",
        (0, "translation", TIMES, shift),
        (1, "translation", TIMES, shift),
        (2, "scale", TIMES, 1 + shift),
    )
    asset = asset_of(maker, tmp_path)
    told = [note.text for note in asset.clips[1].notes if note.topic == "humanoid"]
    assert len(told) == 3
    assert told[0].endswith(": spine")
    assert told[1].endswith(": chest")
    assert told[2].endswith(": leftEye, rightEye")
    assert len(asset.clips[1].translated) == 2


def face(maker: GltfMaker, targets: int = 3) -> int:
    """A mesh of morph targets on a node of its own."""
    corners = maker.accessor(np.zeros((3, 3)))
    morphs = [{"POSITION": corners}] * targets
    mesh = maker.mesh("face", {"POSITION": corners}, targets=morphs)
    return maker.node("face", mesh=mesh)


def test_expressions_of_a_figure_name_the_morph_targets_that_they_drive(tmp_path):
    maker = animated(figure(STRAIGHT), bending(1))
    node = face(maker)
    expressions = {
        "preset": {
            "aa": {"morphTargetBinds": [{"node": node, "index": 0, "weight": 1.0}]},
            "happy": {
                "morphTargetBinds": [
                    {"node": node, "index": 0, "weight": 0.3},
                    {"node": node, "index": 1, "weight": 1.0},
                    {"node": node, "index": 9, "weight": 1.0},
                ],
                "materialColorBinds": [{"material": 0, "type": "color"}],
            },
        },
        "custom": {"squall": {"morphTargetBinds": []}},
    }
    content = {"humanoid": human_bones(), "expressions": expressions, "lookAt": {"type": "bone"}}
    declared(maker, "VRMC_vrm", content)
    maker.animation("grin", (node, "weights", TIMES, np.zeros(31 * 3)))
    asset = asset_of(maker, tmp_path)
    assert asset.clips[1].weight_names == (
        "face target 0 (aa, happy)",
        "face target 1 (happy)",
        "face target 2",
    )
    assert notes_on(asset, "expressions") == [
        "2 expressions (0 custom) on 2 morph targets: aa, happy",
        "binds of expressions that lead to no morph target were left out: 1 bind, happy",
        "colours and textures of expressions are not read: 1 expression, happy",
    ]
    assert notes_on(asset, "gaze") == ["eyes that follow a target (by bones) are not judged"]


@pytest.mark.parametrize(
    "bind",
    [
        {"node": len(NAMES), "index": 3, "weight": 1.0},
        {"node": len(NAMES), "index": -1, "weight": 1.0},
        {"node": 999, "index": 0, "weight": 1.0},
        {"node": 0, "index": 0, "weight": 1.0},
        {"node": len(NAMES), "index": 0, "weight": "all"},
        "happy",
    ],
)
def test_an_expression_whose_only_bind_leads_nowhere_is_told(tmp_path, bind):
    maker = animated(figure(STRAIGHT), bending(1))
    assert face(maker) == len(NAMES)
    expressions = {"preset": {"happy": {"morphTargetBinds": [bind]}}}
    declared(maker, "VRMC_vrm", {"humanoid": human_bones(), "expressions": expressions})
    assert notes_on(asset_of(maker, tmp_path), "expressions") == [
        "binds of expressions that lead to no morph target were left out: 1 bind, happy"
    ]


@pytest.mark.parametrize("wrong", ["no", 3, [], None])
def test_parts_of_a_wrong_type_are_told(tmp_path, wrong):
    maker = vrma(expressions={"preset": wrong, "custom": {}}, lookAt=wrong)
    maker.tree["extensions"]["VRMC_vrm_animation"]["humanoid"] = wrong
    said = notes_on(asset_of(maker, tmp_path, "wave.vrma"), "extensions")
    parts = [f"VRMC_vrm_animation/{key}" for key in ("humanoid", "lookAt", "expressions/preset")]
    text = "parts of the VRM extensions are of a wrong type and were not read"
    assert said == [f"{text}: {', '.join(parts)}"]


def test_a_preset_that_is_none_is_told(tmp_path):
    node = len(NAMES)
    maker = vrma(expressions={"preset": {"seasick": {"node": node}, "happy": {"node": node + 1}}})
    for name in ("seasick", "happy"):
        maker.node(name)
    asset = asset_of(maker, tmp_path, "wave.vrma")
    text = "presets that VRM 1.0 does not have were read as custom expressions"
    assert f"{text}: seasick" in notes_on(asset, "expressions")


def test_expressions_of_vrm_0_have_the_names_of_vrm_1(tmp_path):
    maker = animated(figure(STRAIGHT, -1), bending(1))
    node = face(maker)
    groups = [
        {"presetName": preset, "name": name, "binds": [{"mesh": 0, "index": i, "weight": 100}]}
        for i, (preset, name) in enumerate((("joy", "Joy"), ("Blink_L", ""), ("unknown", "Squall")))
    ]
    content = {"humanoid": old_bones(), "blendShapeMaster": {"blendShapeGroups": groups}}
    declared(maker, "VRM", content)
    maker.tree["meshes"][0]["primitives"][0]["extras"] = {"targetNames": ["smile", "wink"]}
    maker.animation("grin", (node, "weights", TIMES, np.zeros(31 * 3)))
    assert asset_of(maker, tmp_path).clips[1].weight_names == (
        "face smile (happy)",
        "face wink (blinkLeft)",
        "face target 2 (Squall)",
    )


def test_constraints_and_springs_are_told_in_one_note_each(tmp_path):
    maker = animated(figure(STRAIGHT), bending(1))
    declared(maker, "VRMC_vrm", {"humanoid": human_bones()})
    for node in range(6):
        roll = {"roll": {"source": 9, "rollAxis": "X"}}
        content = {"specVersion": "1.0", "constraint": roll}
        maker.tree["nodes"][node]["extensions"] = {"VRMC_node_constraint": content}
    springs = [{"joints": [{"node": 4}, {"node": 5}]}, {"joints": [{"node": 5}]}]
    declared(maker, "VRMC_springBone", {"springs": springs})
    asset = asset_of(maker, tmp_path)
    assert notes_on(asset, "constraints") == [
        "nodes that follow others by a constraint, which is not evaluated: "
        "6 nodes, n0, n1, n2, n3 and 2 more"
    ]
    assert notes_on(asset, "springs") == [
        "not simulated are springs by which 2 joints swing: n4, n5"
    ]


def test_notes_of_a_reader_stand_in_every_report(tmp_path, capsys, monkeypatch):
    maker = declared(
        animated(figure(STRAIGHT), bending(1)), "VRMC_vrm", {"humanoid": human_bones()}
    )
    watch = maker.node("watch", camera=0)
    maker.tree["cameras"] = [{"type": "perspective", "perspective": {"yfov": 1, "znear": 0.1}}]
    tree = maker.tree["animations"][0]
    tree["channels"].append({"sampler": 0, "target": {"node": watch, "path": "rotation"}})
    content = {"specVersion": "1.0", "constraint": {"roll": {"source": 9, "rollAxis": "X"}}}
    maker.tree["nodes"][4]["extensions"] = {"VRMC_node_constraint": content}
    path = maker.glb(tmp_path / "haul.vrm")
    monkeypatch.chdir(tmp_path)
    main(["gate", str(path), "--json", "gate.json", "--sarif", "gate.sarif"])
    report = json.loads((tmp_path / "gate.json").read_text(encoding="utf-8"))["report"]
    log = json.loads((tmp_path / "gate.sarif").read_text(encoding="utf-8"))
    told = log["runs"][0]["invocations"][0]["toolExecutionNotifications"]
    texts = [one["message"]["text"] for one in told]
    shown = " ".join(capsys.readouterr().out.split())
    for notes, start in (
        (report["assets"][0]["notes"], "nodes that follow others by a constraint"),
        (report["assets"][0]["clips"][0]["notes"], "channels that move cameras or lights"),
    ):
        (found,) = [one["text"] for one in notes if one["text"].startswith(start)]
        assert f"{found[0].upper()}{found[1:]}." in texts
        assert found in shown


def test_springs_of_vrm_0_are_told_too(tmp_path):
    groups = {"boneGroups": [{"bones": [4]}, {"bones": [5, 4]}]}
    content = {"humanoid": old_bones(), "secondaryAnimation": groups}
    maker = declared(animated(figure(STRAIGHT, -1), bending(1)), "VRM", content)
    assert notes_on(asset_of(maker, tmp_path), "springs")[0].endswith("2 joints swing: n4, n5")


def test_a_figure_without_motion_is_a_skeleton_without_clips(tmp_path):
    maker = declared(figure(STRAIGHT), "VRMC_vrm", {"humanoid": human_bones()})
    asset = asset_of(maker, tmp_path)
    assert asset.clips == ()
    assert asset.skeleton is not None
    assert len(asset.skeleton.humanoid) == len(NAMES)


@pytest.mark.parametrize(("version", "told"), [("1.0", 0), ("1.0-beta", 0), ("2.0", 1), (3, 1)])
def test_a_version_that_is_not_known_is_read_and_told(tmp_path, version, told):
    content = {"specVersion": version, "humanoid": human_bones()}
    asset = asset_of(declared(figure(STRAIGHT), "VRMC_vrm", content), tmp_path)
    assert len(notes_on(asset, "extensions")) == told


def test_faults_of_the_humanoid_are_named(tmp_path):
    humanoid = human_bones(leave=("leftHand", "neck"))
    humanoid["humanBones"]["jaw"] = {"node": 0}
    asset = asset_of(declared(figure(STRAIGHT), "VRMC_vrm", {"humanoid": humanoid}), tmp_path)
    assert notes_on(asset, "humanoid") == [
        "the humanoid lacks bones that VRM requires: leftHand",
        "bones that share a node or are named twice were left out: jaw",
    ]
    humanoid["humanBones"]["jaw"] = {"node": 10_000}
    with pytest.raises(AssetError) as caught:
        asset_of(declared(figure(STRAIGHT), "VRMC_vrm", {"humanoid": humanoid}), tmp_path)
    assert caught.value.place == "/extensions/VRMC_vrm/humanoid/humanBones/jaw"
    lost = vrma(expressions={"preset": {"aa": {"node": -1}}})
    with pytest.raises(AssetError) as caught:
        asset_of(lost, tmp_path)
    assert caught.value.place == "/extensions/VRMC_vrm_animation/expressions/preset/aa"


def test_the_published_sample_reads_as_its_bytes_say():
    # Once by hand from the container's bytes, once by pygltflib's tree.
    path = real("gltf/threevrm_test.vrma")
    data = path.read_bytes()
    length = struct.unpack_from("<I", data, 12)[0]
    tree = json.loads(data[20 : 20 + length])
    binary = data[20 + length + 8 :]

    def floats(index: int) -> np.ndarray:
        accessor = tree["accessors"][index]
        view = tree["bufferViews"][accessor["bufferView"]]
        width = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[accessor["type"]]
        start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        count = accessor["count"] * width
        return np.array(struct.unpack_from(f"<{count}f", binary, start)).reshape(-1, width)

    asset = read(path, ReadOptions())
    clip, extension = asset.clips[0], tree["extensions"]["VRMC_vrm_animation"]
    library = pygltflib.GLTF2().load_binary(str(path))
    bones = library.extensions["VRMC_vrm_animation"]["humanoid"]["humanBones"]
    assert bones == extension["humanoid"]["humanBones"]
    handles = [int(one.rsplit("/")[-1]) for one in clip.skeleton.handles]
    assert {bone: handles[joint] for bone, joint in clip.skeleton.humanoid.items()} == {
        bone: one["node"] for bone, one in bones.items()
    }
    for joint, node in enumerate(handles):
        x, y, z, w = library.nodes[node].rotation
        np.testing.assert_allclose(clip.skeleton.rest_rotations[joint], [w, x, y, z], atol=1e-6)
        place = library.nodes[node].translation
        np.testing.assert_allclose(clip.skeleton.rest_translations[joint], place, atol=1e-9)
    samplers = tree["animations"][0]["samplers"]
    for channel in tree["animations"][0]["channels"]:
        sampler, target = samplers[channel["sampler"]], channel["target"]
        times, values = floats(sampler["input"])[:, 0], floats(sampler["output"])
        frames = np.rint((times - clip.start_s) * clip.sample_rate_hz).astype(int)
        if target["node"] == extension["expressions"]["preset"]["happy"]["node"]:
            np.testing.assert_allclose(clip.weights[0, frames], values[:, 0], atol=1e-7)
        elif target["node"] != extension["lookAt"]["node"]:
            stored = values / np.linalg.norm(values, axis=1, keepdims=True)
            found = clip.rotations[handles.index(target["node"])][:, frames]
            np.testing.assert_allclose(found, stored[:, [3, 0, 1, 2]].T, atol=1e-7)
    assert clip.weight_names == ("expression happy",)
    assert [note.topic for note in asset.notes] == ["gaze"]
    parts = {one.part for one in identify(clip.skeleton).assignments}
    assert {"pelvis", "left_hand", "right_toes", "left_little_3"} <= parts
