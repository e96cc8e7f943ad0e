"""The tree of an FBX 6.1 file: objects by name, and takes that hold their channels."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from readers.fbx_writer_modern import header, model_props, numbers_of
from readers.fbx_writer_records import Flag, Long, Named, Record, Value

if TYPE_CHECKING:
    from readers.fbx_writer import Curve, Scene, Take

_MODES: dict[str, tuple[Value, ...]] = {
    "linear": (Flag("L"),),
    "constant": (Flag("C"), Flag("s")),
}


def tree(scene: Scene, version: int) -> list[Record]:
    """All top-level records."""
    objects = Record("Objects", braces=True)
    for joint in scene.joints:
        model = objects.add("Model", Named(joint.name, "Model"), joint.kind)
        model.add("Version", 232)
        props = model.add("Properties60", braces=True)
        for name, kind, _, flags, values in model_props(joint):
            props.add("Property", name, kind, flags, *values)
        if joint.kind == "LimbNode":
            model.add("TypeFlags", "Skeleton")
    settings = objects.add("GlobalSettings")
    settings.add("Version", 1000)
    props = settings.add("Properties60", braces=True)
    for name, kind, _, value in numbers_of(scene):
        props.add("Property", name, kind, "", value)
    links = Record("Connections", braces=True)
    for joint in scene.joints:
        above = scene.joints[joint.parent].name if joint.parent >= 0 else "Scene"
        links.add("Connect", "OO", Named(joint.name, "Model"), Named(above, "Model"))
    takes = Record("Takes", braces=True)
    takes.add("Current", scene.takes[0].name if scene.takes else "")
    for take in scene.takes:
        _take(scene, take, takes)
    return [header(version), objects, links, takes]


def _take(scene: Scene, take: Take, takes: Record) -> None:
    one = takes.add("Take", take.name, braces=True)
    one.add("FileName", f"{take.name}.tak")
    if take.start_s is not None and take.stop_s is not None:
        span = tuple(Long(round(at * 46_186_158_000)) for at in (take.start_s, take.stop_s))
        one.add("LocalTime", *span)
        one.add("ReferenceTime", *span)
    (layer,) = take.layers
    for joint in sorted({curve.target for curve in layer.curves}):
        model = one.add("Model", Named(scene.joints[joint].name, "Model"))
        model.add("Version", 1.1)
        transform = model.add("Channel", "Transform")
        for path in "TRS":
            mine = [c for c in layer.curves if (c.target, c.path) == (joint, path)]
            if mine:
                group = transform.add("Channel", path)
                for curve in mine:
                    _channel(curve, group)
                group.add("LayerType", 1)


def _channel(curve: Curve, group: Record) -> None:
    channel = group.add("Channel", curve.axis)
    times = np.asarray(curve.ticks, dtype=np.int64).tolist()
    values = np.asarray(curve.values, dtype=np.float64).tolist()
    channel.add("Default", float(values[0]) if values else 0.0)
    channel.add("KeyVer", 4005)
    channel.add("KeyCount", len(times))
    keys: list[Value] = []
    for time, value in zip(times, values, strict=True):
        keys += [Long(time), float(value), *_MODES[curve.mode]]
    if keys:
        channel.add("Key", *keys)
    channel.add("Color", 1.0, 0.0, 0.0)
