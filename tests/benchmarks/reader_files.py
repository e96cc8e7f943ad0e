"""One made walk in each format that is read, so that times of readers can be compared."""

from __future__ import annotations

import json
import struct
import sys
from pathlib import Path

import clip_files
import numpy as np

from kinelint.clip import Clip
from kinelint.kinematics.arrays import Floats

RATE_HZ = 60.0
# The writers of FBX files are the tests'.
sys.path.append(str(Path(__file__).resolve().parent.parent))


def bvh(path: Path, clip: Clip) -> None:
    """As text, in centimetres."""
    clip_files.write(path, clip)


def glb(path: Path, clip: Clip, clips: int) -> None:
    """As `clips` animations of all joints, which share their times and have values of their own."""
    nodes = [
        {"name": name, "translation": shift.tolist(), "children": list(children)}
        for name, shift, children in zip(
            clip.skeleton.names,
            clip.skeleton.rest_translations,
            clip.skeleton.children,
            strict=True,
        )
    ]
    for node in nodes:
        if not node["children"]:
            del node["children"]
    data, views, accessors = bytearray(), [], []

    def accessor(values: Floats, kind: str) -> int:
        raw = np.ascontiguousarray(values, dtype="<f4").tobytes()
        views.append({"buffer": 0, "byteOffset": len(data), "byteLength": len(raw)})
        data.extend(raw)
        table = {"bufferView": len(views) - 1, "componentType": 5126, "type": kind}
        accessors.append(table | {"count": len(values)})
        return len(accessors) - 1

    times = accessor(np.arange(clip.frames) / RATE_HZ, "SCALAR")
    animations = []
    for number in range(clips):
        outputs = [
            (joint, "rotation", accessor(clip.rotations[joint][[1, 2, 3, 0]].T, "VEC4"))
            for joint in range(len(clip.skeleton))
        ]
        outputs += [
            (int(joint), "translation", accessor(values.T, "VEC3"))
            for joint, values in zip(clip.translated, clip.translations, strict=True)
        ]
        samplers = [{"input": times, "output": output} for _, _, output in outputs]
        channels = [
            {"sampler": i, "target": {"node": joint, "path": what}}
            for i, (joint, what, _) in enumerate(outputs)
        ]
        animations.append({"name": f"walk {number}", "samplers": samplers, "channels": channels})
    tree = {
        "asset": {"version": "2.0"},
        "nodes": nodes,
        "animations": animations,
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{"byteLength": len(data)}],
    }
    text = json.dumps(tree).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<II", len(text), 0x4E4F534A) + text
    chunks += struct.pack("<II", len(data), 0x004E4942) + bytes(data)
    path.write_bytes(struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks)


def fbx(path: Path, clip: Clip) -> None:
    """As binary 7.4, one key a frame."""
    from readers.fbx_writer import TIME_MODES
    from readers.fbx_writer_clip import scene_of

    scene = scene_of(clip, unit_cm=100.0, time_mode=TIME_MODES[RATE_HZ])
    scene.write(path, ascii_text=False)


def usd(path: Path, clip: Clip) -> None:
    """As binary UsdSkel, one time sample a frame."""
    from pxr import Gf, Usd, UsdGeom, UsdSkel, Vt

    stage = Usd.Stage.CreateNew(str(path))
    UsdGeom.SetStageMetersPerUnit(stage, 1.0)
    UsdGeom.SetStageUpAxis(stage, UsdGeom.Tokens.y)
    stage.SetTimeCodesPerSecond(RATE_HZ)
    stage.SetEndTimeCode(clip.frames - 1)
    UsdSkel.Root.Define(stage, "/Crew")
    skeleton = UsdSkel.Skeleton.Define(stage, "/Crew/Skel")
    names = [clip.skeleton.path(joint).replace(" ", "_") for joint in range(len(clip.skeleton))]
    skeleton.CreateJointsAttr(names)
    rest = clip.skeleton.rest_translations
    places = [Gf.Matrix4d().SetTranslate(Gf.Vec3d(*one.tolist())) for one in rest]
    skeleton.CreateRestTransformsAttr(places)
    skeleton.CreateBindTransformsAttr(places)
    animation = UsdSkel.Animation.Define(stage, "/Crew/Walk")
    animation.CreateJointsAttr(names)
    shifts, turns = animation.CreateTranslationsAttr(), animation.CreateRotationsAttr()
    animation.CreateScalesAttr(Vt.Vec3hArray([Gf.Vec3h(1)] * len(names)))
    moved = np.tile(rest[..., None], clip.frames).astype(np.float32)
    moved[clip.translated] = clip.translations
    for frame in range(clip.frames):
        shifts.Set(Vt.Vec3fArray.FromNumpy(np.ascontiguousarray(moved[..., frame])), frame)
        quaternions = [Gf.Quatf(*one) for one in clip.rotations[..., frame].tolist()]
        turns.Set(Vt.QuatfArray(quaternions), frame)
    binding = UsdSkel.BindingAPI.Apply(skeleton.GetPrim())
    binding.CreateAnimationSourceRel().SetTargets([animation.GetPath()])
    stage.GetRootLayer().Save()
