"""Small sound files of every kind that the readers know, made here and nowhere else.

They are what mutations start from, and the fixed seed corpus of the fuzzer.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

import bvh_text
import ferry_tree
from readers.gltf_maker import GltfMaker

TIMES = np.arange(6) / 30.0
TURNS = np.array([[0.0, 0.0, np.sin(a), np.cos(a)] for a in np.linspace(0.0, 0.4, 6)])
HANDS = ("hips", "spine", "head", "left arm")


def bvh_seeds() -> dict[str, bytes]:
    """BVH texts by name."""
    plain = bvh_text.PLAIN
    world = plain.replace(
        "CHANNELS 3 Zrotation Xrotation Yrotation",
        "CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation",
    )
    for row in ("4 5 6", "5 6 7", "6 7 8"):
        world = world.replace(f" {row}\n", f" 0 30.1 0 {row}\n")
    two = plain.replace("MOTION", "ROOT crate\n{\nOFFSET 0 0 0\nCHANNELS 1 Yrotation\n}\nMOTION")
    for row in ("4 5 6", "5 6 7", "6 7 8"):
        two = two.replace(f"{row}\n", f"{row} 9\n")
    scaled = plain.replace("CHANNELS 3 Z", "CHANNELS 4 Yscale Z")
    for row in ("4 5 6", "5 6 7", "6 7 8"):
        scaled = scaled.replace(f" {row}\n", f" 1.1 {row}\n")
    texts = {
        "plain": plain,
        "scaled": scaled,
        "crlf": plain.replace("\n", "\r\n"),
        "tabs": plain.replace(" ", "\t"),
        "world": world,
        "two-roots": two,
        "one-line": plain.replace("\n2 91", " 2 91").replace("\n3 92", " 3 92"),
        "more-announced": plain.replace("Frames: 3", "Frames: 1000000000000"),
        "person": ferry_tree.bvh(frames=4),
    }
    found = {name: text.encode() for name, text in texts.items()}
    found["marked"] = b"\xef\xbb\xbf" + plain.encode()
    found["latin"] = plain.replace("chest", "Brustkörper").encode("latin-1")
    return found


def gltf_seeds() -> dict[str, bytes]:
    """JSON and binary glTF by name."""
    makers = {
        "turn": _turning,
        "modes": _modes,
        "sparse": _sparse,
        "skinned": _skinned,
        "morph": _morphing,
        "bones": _humanoid,
        "matrix": _matrices,
    }
    found: dict[str, bytes] = {}
    with TemporaryDirectory() as folder:
        for name, make in makers.items():
            found[f"{name}.glb"] = make().glb(Path(folder, "a.glb")).read_bytes()
        for name in ("turn", "skinned"):
            found[f"{name}.gltf"] = makers[name]().gltf(Path(folder, "a.gltf")).read_bytes()
    return found


def _turning() -> GltfMaker:
    maker = GltfMaker()
    maker.chain(*HANDS)
    maker.animation("haul", (1, "rotation", TIMES, TURNS), (0, "translation", TIMES, TURNS[:, :3]))
    return maker


def _modes() -> GltfMaker:
    maker = GltfMaker()
    maker.chain(*HANDS)
    uneven = np.array([0.0, 0.11, 0.3, 0.31])
    three = np.repeat(TURNS[:4], 3, axis=0)
    maker.animation(
        "throw",
        (0, "rotation", uneven, three, "CUBICSPLINE"),
        (1, "rotation", uneven, TURNS[:4], "STEP"),
        (1, "scale", uneven, np.ones((4, 3))),
    )
    maker.animation("throw", (2, "rotation", [0.0], TURNS[:1]))
    return maker


def _sparse() -> GltfMaker:
    maker = GltfMaker()
    maker.chain(*HANDS)
    values = maker.sparse(TURNS, 6, [1, 4], TURNS[:2])
    zeros = maker.sparse(None, 6, [0, 5], np.ones((2, 3)))
    maker.animation("catch", (1, "rotation", TIMES, values), (0, "translation", TIMES, zeros))
    return maker


def _skinned() -> GltfMaker:
    maker = GltfMaker()
    joints = maker.chain(*HANDS)
    skin = maker.skin(joints, np.tile(np.eye(4), (4, 1, 1)))
    points = maker.accessor(np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]))
    slots = maker.accessor([[0, 1, 0, 0]] * 4, "uint8")
    weights = maker.accessor(np.array([[0.5, 0.5, 0, 0]] * 4))
    order = maker.accessor([0, 1, 2, 1, 2, 3], "uint16")
    attributes = {"POSITION": points, "JOINTS_0": slots, "WEIGHTS_0": weights}
    mesh = maker.mesh("coat", attributes, indices=order)
    maker.node("coat", mesh=mesh, skin=skin)
    maker.animation("kneel", (1, "rotation", TIMES, TURNS))
    return maker


def _morphing() -> GltfMaker:
    maker = GltfMaker()
    maker.chain(*HANDS)
    points = maker.accessor(np.eye(3))
    mesh = maker.mesh("face", {"POSITION": points}, targets=[{"POSITION": points}] * 2)
    maker.tree["meshes"][0]["extras"] = {"targetNames": ["smile", "blink"]}
    face = maker.node("face", mesh=mesh)
    maker.animation("call", (face, "weights", TIMES, np.linspace(0, 1, 12)))
    return maker


def _humanoid() -> GltfMaker:
    maker = _turning()
    bones = {"hips": {"node": 0}, "spine": {"node": 1}, "head": {"node": 2}}
    maker.tree["extensionsUsed"] = ["VRMC_vrm_animation"]
    maker.tree["extensions"] = {
        "VRMC_vrm_animation": {
            "specVersion": "1.0",
            "humanoid": {"humanBones": bones},
            "expressions": {"preset": {"happy": {"node": 3}}},
        }
    }
    return maker


def _matrices() -> GltfMaker:
    maker = GltfMaker()
    sheared = [2, 0, 0, 0, 0.5, 1, 0, 0, 0, 0, -1, 0, 1, 2, 3, 1]
    maker.node("hips", children=[1], matrix=sheared)
    maker.node("spine", rotation=[0, 0, 2, 2], scale=[1, 0, 1])
    pointer = {"extensions": {"KHR_animation_pointer": {"pointer": "/nodes/1/rotation"}}}
    maker.animation("climb", (0, "rotation", TIMES, TURNS), (1, "rotation", TIMES, TURNS))
    maker.tree["animations"][0]["channels"][1]["target"] = {"path": "pointer", **pointer}
    return maker


POLICY = """# what the ferry's crew must keep to
fail_on = "warning"
assets = ["**/*.bvh", "crew/*.glb"]
except = ["raw/**"]
sample_rate_hz = 60.0
up_axis = "y"

[figure]
sex = "female"
stature_m = 1.7

[limits]
max_frames = 10_000

[rules.foot-slide]
level = "warning"

[rules]
"loop-seam" = { level = "off" }

[[scope]]
clips = ["crew/[hk]*#Walk?"]
class = ["locomotion", 'idle']
required = ["foot-slide"]
ground_m = 0.1
[scope.rules.foot-slide]
level = "note"

[[skeleton]]
assets = ["crew/*"]
metres_per_unit = 0.01
parts = { left_thigh = "LeftUpLeg" }
[skeleton.radii_mm]
left_hand = 40
"""
CUES = '''# what the clips are
[[cue]]
clips = ["walk*"]
class = "locomotion"
loop = true
in_place = true
travel_m_per_s = [0.0, 0.0, 1.4]
not_captured = ["fingers", "toes"]

[[cue]]
clips = ["kneel.bvh", "sit.glb#Rest*"]
additive = false
only_parts = ["hand"]
ground_m = -0.2
[[cue.contact]]
parts = ["left_hand", "right_forearm"]
depth_mm = 20
[[cue.surface]]
name = """a "crate"
of ours"""
top_m = 0.4
from_m = [0, 0]
to_m = [1, 0.5]
'''


def policy_seeds() -> dict[str, bytes]:
    """Policies by name."""
    return {"full": POLICY.encode(), "crlf": POLICY.replace("\n", "\r\n").encode(), "none": b""}


def cues_seeds() -> dict[str, bytes]:
    """Cue sheets by name."""
    return {"full": CUES.encode(), "crlf": CUES.replace("\n", "\r\n").encode(), "none": b"\n"}


def report_seeds() -> dict[str, bytes]:
    """Reports as JSON by name."""
    from kinelint.outputs.json_report import dump
    from outputs.made_report import full, troubled

    return {"full": dump(full()), "troubled": dump(troubled())}


def fbx_seeds() -> dict[str, bytes]:
    """FBX of both kinds and of three versions by name."""
    from readers.fbx_writer_spoilt import small

    kinds = [(7400, True), (7400, False), (7700, False), (6100, True), (6100, False)]
    return {
        f"{version}-{'text' if text else 'binary'}": small(mesh=version > 7000).spelled(
            version, ascii_text=text
        )
        for version, text in kinds
    }


def usd_seeds() -> dict[str, bytes]:
    """USD text, crate and package by name."""
    from readers.usd_maker import crew

    found: dict[str, bytes] = {}
    with TemporaryDirectory() as folder:
        for ending in ("usda", "usdc", "usdz"):
            path = crew(np.random.default_rng(1), keys=4).save(Path(folder, f"crew.{ending}"))
            found[ending] = path.read_bytes()
    return found


SEEDS: dict[str, Callable[[], dict[str, bytes]]] = {
    "bvh": bvh_seeds,
    "gltf": gltf_seeds,
    "policy": policy_seeds,
    "cues": cues_seeds,
    "report": report_seeds,
    "fbx": fbx_seeds,
    "usd": usd_seeds,
}
NATIVE = {"fbx": "ufbx", "usd": "pxr"}
"""Kinds that are read in a child process, and the package that this needs."""
GLTF_TURN = "turn.gltf"
ENDINGS = {
    "bvh": ".bvh",
    "gltf": ".gltf",
    "policy": ".toml",
    "cues": ".toml",
    "report": ".json",
    "fbx": ".fbx",
    "usd": ".usd",
}


def json_of(data: bytes) -> dict[str, object]:
    """The tree of a JSON glTF, for tests that change it."""
    tree: dict[str, object] = json.loads(data)
    return tree
