"""The tree of an FBX 7.x file: objects with ids, and connections between them."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from readers.fbx_writer_records import Bits, Flag, Long, Named, Record, Value

if TYPE_CHECKING:
    from readers.fbx_writer import Curve, Joint, Layer, Mesh, Scene, Take

FIRST_ID = 1_000_000
_PATHS = {"T": "Lcl Translation", "R": "Lcl Rotation", "S": "Lcl Scaling", "W": "DeformPercent"}
_RESTS = {"T": "translation", "R": "rotation_deg", "S": "scale"}
_ORDERS = ("XYZ", "XZY", "YZX", "YXZ", "ZXY", "ZYX")
# Interpolation bits of a key.
KEY_FLAGS = {"constant": 0x2, "linear": 0x4, "cubic": 0x8 | 0x400}
_AUTO = 0x8 | 0x100


class _Builder:
    """Hands out ids and collects objects and connections."""

    def __init__(self) -> None:
        self.objects = Record("Objects", braces=True)
        self.links = Record("Connections", braces=True)
        self._next = FIRST_ID

    def object(self, kind: str, name: Named, sub: str) -> tuple[int, Record]:
        self._next += 1
        return self._next, self.objects.add(kind, Long(self._next), name, sub, braces=True)

    def link(self, child: int, parent: int, prop: str | None = None) -> None:
        ends = (Long(child), Long(parent))
        if prop is None:
            self.links.add("C", "OO", *ends)
        else:
            self.links.add("C", "OP", *ends, prop)


def tree(scene: Scene, version: int) -> list[Record]:
    """All top-level records."""
    made = _Builder()
    models = _models(scene, made)
    channels = [one for mesh in scene.meshes for one in _mesh(mesh, models, made)]
    for take in scene.takes:
        _stack(take, scene, models, channels, made)
    if scene.bind_pose:
        _pose(scene, models, made)
    for ends in scene.connections:
        made.links.add("C", *ends)
    return [header(version), settings(scene), definitions(made.objects), made.objects, made.links]


def header(version: int) -> Record:
    """What opens every file."""
    head = Record("FBXHeaderExtension", braces=True)
    head.add("FBXHeaderVersion", 1003)
    head.add("FBXVersion", version)
    head.add("Creator", "kinelint tests")
    return head


def numbers_of(scene: Scene) -> list[tuple[str, str, str, Value]]:
    """Global settings as (name, type, second type, value)."""
    axes = scene.axes
    whole = (
        {}
        if axes is None
        else {
            "UpAxis": axes.up,
            "UpAxisSign": axes.up_sign,
            "FrontAxis": axes.front,
            "FrontAxisSign": axes.front_sign,
            "CoordAxis": axes.coord,
            "CoordAxisSign": axes.coord_sign,
        }
    )
    rows: list[tuple[str, str, str, Value]] = [
        (name, "int", "Integer", value) for name, value in whole.items()
    ]
    unit = float(scene.unit_cm)
    rows.append(("UnitScaleFactor", "double", "Number", unit))
    rows.append(("OriginalUnitScaleFactor", "double", "Number", unit))
    rows.append(("TimeMode", "enum", "", scene.time_mode))
    rows.append(("CustomFrameRate", "double", "Number", float(scene.custom_hz)))
    return rows


def settings(scene: Scene) -> Record:
    """GlobalSettings."""
    made = Record("GlobalSettings", braces=True)
    made.add("Version", 1000)
    props = made.add("Properties70", braces=True)
    for name, kind, second, value in numbers_of(scene):
        props.add("P", name, kind, second, "", value)
    return made


def definitions(objects: Record) -> Record:
    """How many objects of each kind there are."""
    made = Record("Definitions", braces=True)
    made.add("Version", 100)
    made.add("Count", len(objects.children))
    names = [one.name for one in objects.children]
    for name in dict.fromkeys(names):
        made.add("ObjectType", name).add("Count", names.count(name))
    return made


def model_props(joint: Joint) -> list[tuple[str, str, str, str, tuple[Value, ...]]]:
    """Properties of a model as (name, type, second type, flags, values)."""
    vectors = {
        "RotationOffset": joint.rotation_offset,
        "RotationPivot": joint.rotation_pivot,
        "ScalingOffset": joint.scaling_offset,
        "ScalingPivot": joint.scaling_pivot,
        "PreRotation": joint.pre_deg,
        "PostRotation": joint.post_deg,
        "GeometricTranslation": joint.geometric_translation,
    }
    rows: list[tuple[str, str, str, str, tuple[Value, ...]]] = [
        ("RotationOrder", "enum", "", "", (_ORDERS.index(joint.order),)),
        ("RotationActive", "bool", "", "", (int(joint.rotation_active),)),
        ("InheritType", "enum", "", "", (joint.inherit,)),
    ]
    for name, value in vectors.items():
        if any(value):
            rows.append((name, "Vector3D", "Vector", "", _floats(value)))
    for path, value in (("T", joint.translation), ("R", joint.rotation_deg), ("S", joint.scale)):
        name = _PATHS[path]
        rows.append((name, name, "", "A", _floats(value)))
    return rows


def _floats(values: Iterable[float]) -> tuple[float, ...]:
    return tuple(float(one) for one in values)


def _models(scene: Scene, made: _Builder) -> list[int]:
    ids = []
    for joint in scene.joints:
        model, record = made.object("Model", Named(joint.name, "Model"), joint.kind)
        record.add("Version", 232)
        props = record.add("Properties70", braces=True)
        for name, kind, second, flags, values in model_props(joint):
            props.add("P", name, kind, second, flags, *values)
        record.add("Shading", Flag("Y"))
        ids.append(model)
    for joint, model in zip(scene.joints, ids, strict=True):
        made.link(model, ids[joint.parent] if joint.parent >= 0 else 0)
        if joint.kind in ("LimbNode", "Root", "Null"):
            name = Named(joint.name, "NodeAttribute")
            attribute, record = made.object("NodeAttribute", name, joint.kind)
            record.add("TypeFlags", "Null" if joint.kind == "Null" else "Skeleton")
            made.link(attribute, model)
    return ids


def _stack(
    take: Take, scene: Scene, models: list[int], channels: list[int], made: _Builder
) -> None:
    stack, record = made.object("AnimationStack", Named(take.name, "AnimStack"), "")
    props = record.add("Properties70", braces=True)
    for name, time_s in (("LocalStart", take.start_s), ("LocalStop", take.stop_s)):
        if time_s is not None:
            props.add("P", name, "KTime", "Time", "", Long(round(time_s * 46_186_158_000)))
    for layer in take.layers:
        made.link(_layer(layer, scene, models, channels, made), stack)


def _layer(
    layer: Layer, scene: Scene, models: list[int], channels: list[int], made: _Builder
) -> int:
    one, record = made.object("AnimationLayer", Named(layer.name, "AnimLayer"), "")
    props = record.add("Properties70", braces=True)
    if layer.weight != 100.0:
        props.add("P", "Weight", "Number", "", "A", float(layer.weight))
    if layer.mute:
        props.add("P", "Mute", "bool", "", "", 1)
    if layer.blend:
        props.add("P", "BlendMode", "enum", "", "", layer.blend)
    if layer.by_channel:
        props.add("P", "RotationAccumulationMode", "enum", "", "", 1)
    if layer.weights is not None:
        _weighted(layer.weights, one, made)
    groups: dict[tuple[int, str], list[Curve]] = {}
    for curve in layer.curves:
        groups.setdefault((curve.target, curve.path), []).append(curve)
    for (target, path), curves in groups.items():
        node, record = made.object("AnimationCurveNode", Named(path, "AnimCurveNode"), "")
        props = record.add("Properties70", braces=True)
        for channel, value in _held(curves, scene):
            props.add("P", channel, "Number", "", "A", value)
        owner = channels[target] if path == "W" else models[target]
        made.link(node, one)
        made.link(node, owner, _PATHS[path])
        for curve in curves:
            made.link(_curve(curve, made), node, _channel(curve))
    return one


def _weighted(keys: tuple[Any, Any], layer: int, made: _Builder) -> None:
    from readers.fbx_writer import Curve

    node, record = made.object("AnimationCurveNode", Named("Weight", "AnimCurveNode"), "")
    props = record.add("Properties70", braces=True)
    props.add("P", "d|Weight", "Number", "", "A", 100.0)
    made.link(node, layer)
    made.link(node, layer, "Weight")
    curve = Curve(0, "", "", *keys)
    made.link(_curve(curve, made), node, "d|Weight")


def _held(curves: list[Curve], scene: Scene) -> list[tuple[str, float]]:
    """What each channel of a curve node is without a curve: the model's own value."""
    one = curves[0]
    if one.path == "W":
        return [("d|DeformPercent", 0.0)]
    rest = getattr(scene.joints[one.target], _RESTS[one.path])
    return [(f"d|{axis}", float(value)) for axis, value in zip("XYZ", rest, strict=True)]


def _channel(curve: Curve) -> str:
    return "d|DeformPercent" if curve.path == "W" else f"d|{curve.axis}"


def _curve(curve: Curve, made: _Builder) -> int:
    one, record = made.object("AnimationCurve", Named("", "AnimCurve"), "")
    times = np.asarray(curve.ticks, dtype=np.int64)
    values = np.asarray(curve.values, dtype=np.float32)
    record.add("Default", 0.0)
    record.add("KeyVer", 4008)
    record.add("KeyTime", times)
    record.add("KeyValueFloat", values)
    flags, data, counts = _attributes(curve, values.size)
    record.add("KeyAttrFlags", flags)
    record.add("KeyAttrDataFloat", Bits(data))
    record.add("KeyAttrRefCount", counts)
    return one


def _attributes(curve: Curve, keys: int) -> tuple[Any, Any, Any]:
    """Flags, four numbers a flag, and how many keys share each."""
    if curve.slopes is None:
        bits = _AUTO if curve.mode == "cubic" else KEY_FLAGS[curve.mode]
        shared = (np.array([bits], np.int32), np.zeros(4, np.float32))
        return (*shared, np.array([keys], np.int32))
    slopes = np.asarray(curve.slopes, dtype=np.float32)
    data = np.zeros((keys, 4), np.float32)
    data[:, :2] = slopes
    # The third number holds two weights of tangents; without the weighted flag none is read.
    flags = np.full(keys, KEY_FLAGS[curve.mode], np.int32)
    return flags, data.ravel(), np.ones(keys, np.int32)


def _mesh(mesh: Mesh, models: list[int], made: _Builder) -> list[int]:
    geometry, record = made.object("Geometry", Named("", "Geometry"), "Mesh")
    record.add("Vertices", np.asarray(mesh.vertices, dtype=np.float64).ravel())
    corners = np.array(mesh.triangles, dtype=np.int32).reshape(-1, 3)
    corners[:, 2] = -1 - corners[:, 2]
    record.add("PolygonVertexIndex", corners.ravel())
    made.link(geometry, models[mesh.node])
    if mesh.clusters:
        _skin(mesh, geometry, models, made)
    return _shapes(mesh, geometry, made) if mesh.shapes else []


def _skin(mesh: Mesh, geometry: int, models: list[int], made: _Builder) -> None:
    skin, _ = made.object("Deformer", Named("", "Deformer"), "Skin")
    made.link(skin, geometry)
    for cluster in mesh.clusters:
        one, record = made.object("Deformer", Named("", "SubDeformer"), "Cluster")
        bind = np.asarray(cluster.bind, dtype=np.float64)
        record.add("Indexes", np.asarray(cluster.vertices, dtype=np.int32))
        record.add("Weights", np.asarray(cluster.weights, dtype=np.float64))
        # The mesh lies in the world at binding: its own matrix is what undoes the joint's.
        record.add("Transform", np.linalg.inv(bind).T.ravel())
        record.add("TransformLink", bind.T.ravel())
        made.link(one, skin)
        made.link(models[cluster.joint], one)


def _shapes(mesh: Mesh, geometry: int, made: _Builder) -> list[int]:
    blend, _ = made.object("Deformer", Named("", "Deformer"), "BlendShape")
    made.link(blend, geometry)
    ids = []
    for shape in mesh.shapes:
        name = Named(shape.name, "SubDeformer")
        channel, record = made.object("Deformer", name, "BlendShapeChannel")
        record.add("DeformPercent", float(shape.percent))
        record.add("FullWeights", np.array([100.0]))
        target, record = made.object("Geometry", Named(shape.name, "Geometry"), "Shape")
        record.add("Indexes", np.asarray(shape.vertices, dtype=np.int32))
        record.add("Vertices", np.asarray(shape.offsets, dtype=np.float64).ravel())
        made.link(channel, blend)
        made.link(target, channel)
        ids.append(channel)
    return ids


def _pose(scene: Scene, models: list[int], made: _Builder) -> None:
    _, record = made.object("Pose", Named("", "Pose"), "BindPose")
    record.add("Type", "BindPose")
    record.add("NbPoseNodes", len(scene.bind_pose))
    for joint, matrix in scene.bind_pose.items():
        node = record.add("PoseNode", braces=True)
        node.add("Node", Long(models[joint]))
        node.add("Matrix", np.asarray(matrix, dtype=np.float64).T.ravel())
