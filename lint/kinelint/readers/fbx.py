"""FBX 6.1 to 7.7, binary and ASCII, to clips, one skeleton and skins.

Runs in a child process of its own only: see `fbx_binding`. What is carried over and what is not
is said in `fbx_sniff.CARRIES`.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from kinelint.clip import Asset, Clip, Source
from kinelint.errors import AssetError
from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats
from kinelint.readers.fbx_binding import binding, counted, few, kept, listed, listing, load
from kinelint.readers.fbx_chain import plan_scales
from kinelint.readers.fbx_clips import Planned, Planner, make_clip, sample
from kinelint.readers.fbx_nodes import Joints, Nodes, choose_joints, read_nodes
from kinelint.readers.fbx_rest import (
    bind_matrices,
    build_rest,
    build_skeleton,
    rest_locals,
    scale_note,
)
from kinelint.readers.fbx_skins import SkinMaker
from kinelint.readers.fbx_takes import (
    Take,
    distinct,
    read_takes,
    unread_notes,
    weight_channels,
)
from kinelint.readers.fbx_timing import frame_rate_hz, rate_notes
from kinelint.readers.fbx_zero import zero_turns
from kinelint.readers.options import ReadOptions

_OLDEST = 6100
# Warnings of the binding about textures, connections told twice and constraints of the scene.
_HARMLESS = (0, 1, 4, 11)


def read_fbx(path: Path, options: ReadOptions) -> Asset:
    """All takes as clips over one skeleton, and all skins, in metres with Y up.

    A file without animation has no clips and a note that says so.

    Raises:
        AssetError: the file cannot be read, or asks for more than `options` allows.
    """
    scene = load(path, options)
    _check_unit(kept(scene.settings))
    nodes = read_nodes(scene)
    takes = read_takes(scene, nodes)
    bound = _bound(scene, nodes)
    joints = choose_joints(nodes, bound, {node for take in takes for node in take.moved}, options)
    notes = list(_scene_notes(scene, nodes))
    notes += unread_notes(takes)
    if joints is None:
        notes.append(Note("skeleton", "the file holds no skeleton"))
        return Asset((), notes=tuple(notes))
    return _asset(scene, nodes, takes, joints, notes, options)


def _asset(
    scene: Any,
    nodes: Nodes,
    takes: list[Take],
    joints: Joints,
    notes: list[Note],
    options: ReadOptions,
) -> Asset:
    planner = Planner(joints, frame_rate_hz(kept(scene.settings)), options)
    # All takes are checked before the first frame is asked for.
    planned = [one for one in map(planner.plan, takes) if one is not None]
    notes += _animation_notes(takes, planned)
    channels = weight_channels(scene) if any(one.take.weights for one in planned) else {}
    own = rest_locals(nodes, joints)
    sampled = [sample(one, nodes, joints, own, channels) for one in planned]
    scales = [one.local.scales for one in sampled]
    tree = plan_scales(joints.parents, joints.modes, own.scales[..., 0], scales)

    def zero() -> Floats | None:
        # A file that moves nothing was saved in the pose that it is about.
        return zero_turns(nodes, joints, own.turns[..., 0]) if planned else None

    rest = build_rest(tree, own, joints, bind_matrices(scene, nodes), zero)
    skeleton = build_skeleton(nodes, joints, rest)
    names, more = distinct(one.take.name for one in planned)
    up_axis, binary = _up_axis(scene), not kept(scene.metadata).ascii
    clips: list[Clip] = []
    for one, name, found in zip(planned, names, sampled, strict=True):
        source = Source("fbx", binary, f"AnimStack::{one.take.name}")
        clips.append(make_clip(one, name, found, skeleton, tree, source, up_axis))
    skins, body_notes = SkinMaker(scene, nodes, joints).make()
    notes += (*more, *rest.notes, *scale_note(skeleton, joints, tree), *body_notes)
    return Asset(tuple(clips), skeleton, skins, tuple(notes))


def _check_unit(settings: Any) -> None:
    unit = float(settings.unit_meters)
    if not (math.isfinite(unit) and 1e-9 < unit < 1e9):
        what = f"its unit of length is {unit:g} m"
        mend = "Export it with a unit, such as centimetres."
        raise AssetError(what, place="GlobalSettings/UnitScaleFactor", mend=mend)


def _up_axis(scene: Any) -> str | None:
    """The axis that is up, as the scene was converted; None if the file names no three axes.

    The binding converts nothing then.
    """
    axes = _axes(scene)
    named = binding().CoordinateAxis.UNKNOWN not in axes
    return "y" if named and len({int(one) // 2 for one in axes}) == 3 else None


def _axes(scene: Any) -> list[Any]:
    return list(kept(scene.settings).axes)


def _bound(scene: Any, nodes: Nodes) -> set[int]:
    bones = [kept(one.bone_node) for one in listed(scene.skin_clusters)]
    found = (nodes.index_of.get(bone.element_id) for bone in bones if bone is not None)
    return {node for node in found if node is not None}


def _animation_notes(takes: list[Take], planned: list[Planned]) -> Iterator[Note]:
    if not takes:
        yield Note("animation", "the file holds no animation")
    read = {id(one.take) for one in planned}
    empty = [take.name or f"take {take.index}" for take in takes if id(take) not in read]
    if empty:
        text = "has no curve that moves a joint and was left out"
        if len(empty) > 1:
            text = "have no curve that moves a joint and were left out"
        yield Note("animation", f"{few(empty)} {text}")


def _scene_notes(scene: Any, nodes: Nodes) -> Iterator[Note]:
    settings, metadata = kept(scene.settings), kept(scene.metadata)
    if metadata.version < _OLDEST:
        text = f"FBX {metadata.version / 1000:g} is older than what this reader was tried with"
        yield Note("version", text)
    if binding().CoordinateAxis.UNKNOWN in _axes(scene):
        yield Note("axes", "the file does not say which axis is up")
    elif _up_axis(scene) is None:
        text = "two of the file's axes are one: what it says of them, and of up, was not used"
        yield Note("axes", text)
    elif _left_handed(settings):
        yield Note("axes", "the file's axes are left-handed; the scene was mirrored")
    yield from rate_notes(settings, kept(settings.props).find_int("TimeMode", 0))
    constraints = listed(scene.constraints)
    if constraints:
        kinds = Counter(one.type_name or "constraint" for one in constraints)
        listed_kinds = listing([f"{kind!r} ({count})" for kind, count in kinds.most_common()])
        text = f"not evaluated: {counted(len(constraints), 'constraint')}: {listed_kinds}"
        yield Note("constraints", f"{text}; named {few(one.name for one in constraints)}")
    caches = listed(scene.cache_deformers)
    if caches:
        text = f"not opened: {counted(len(caches), 'cache')} of moving vertices"
        yield Note("body-model", text)
    for one in listed(metadata.warnings):
        if int(one.type) in _HARMLESS:
            continue
        times = f" ({one.count} times)" if one.count > 1 else ""
        yield Note("file", f"the file is not quite sound: {one.description}{times}")
    yield from _node_notes(nodes)


def _left_handed(settings: Any) -> bool:
    """By the sign of the permutation that the three axes are."""
    axes = [int(one) for one in settings.axes]
    order = [one // 2 for one in axes]
    turns = sum(order[i] > order[j] for i in range(3) for j in range(i + 1, 3))
    return (turns + sum(one % 2 for one in axes)) % 2 == 1


def _node_notes(nodes: Nodes) -> Iterator[Note]:
    orders = binding().RotationOrder
    spheric = [one.name for one in nodes.objects if one.rotation_order == orders.SPHERIC]
    if spheric:
        text = "rotations in the spheric order are read as XYZ"
        yield Note("rotations", f"{text}: {few(spheric)}")
    idle = [one.name for one in nodes.objects if _turns_inactively(kept(one.props), orders)]
    if idle:
        text = "rotation orders, pre- and post-rotations apply although marked as not active"
        yield Note("rotations", f"{text}: {few(idle)}")
    blended = [
        one.name
        for one in nodes.objects
        if kept(one.props).find_int("QuaternionInterpolate", 0) > 0
    ]
    if blended:
        text = "rotations that the file asks to interpolate as quaternions go by their angles"
        yield Note("rotations", f"{text}: {few(blended)}")


def _turns_inactively(props: Any, orders: Any) -> bool:
    """Readers differ about these: some apply what the file marks so, some do not."""
    said = kept(props.find_prop("RotationActive"))
    if said is None or said.value_int:
        return False
    order = props.find_int("RotationOrder", int(orders.XYZ))
    # The binding's `find_vec3` takes no vector of its own as the default.
    turns = [kept(props.find_prop(name)) for name in ("PreRotation", "PostRotation")]
    turned = any(abs(a) > 1e-6 for turn in turns if turn is not None for a in turn.value_vec4[:3])
    return order != orders.XYZ or turned
