"""Orders of turns, pre- and post-rotation, pivots, inherit types: against the published chain."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from readers.fbx_writer import (
    ORDERS,
    Axes,
    Joint,
    Layer,
    Rrs,
    RrSs,
    RSrs,
    Scene,
    Take,
    Vector,
    curves,
    frame_ticks,
)
from readers.fbx_writer_checks import assert_moves_as_written, asset_of, clip_of, needs_fbx

pytestmark = needs_fbx
FRAMES, RATE_HZ = 13, 30.0
AT = frame_ticks(FRAMES, RATE_HZ)
# Y up, Z up, Y down, X up, and Y up of a left hand.
AXES = [
    Axes(),
    Axes(2, 1, 1, -1, 0, 1),
    Axes(1, -1, 2, -1, 0, 1),
    Axes(0, 1, 2, 1, 1, -1),
    Axes(coord_sign=-1),
]
SPAN = (0.0, (FRAMES - 1) / RATE_HZ)


def some(rng: np.random.Generator, size: float) -> Vector:
    x, y, z = rng.uniform(-size, size, 3).tolist()
    return x, y, z


def turning(joints: list[Joint], rng: np.random.Generator, *, scales: str = "none") -> Scene:
    """All joints turn at random; `scales` is "none", "uniform" or "free", over time."""
    keyed = []
    for i in range(len(joints)):
        # Steps that no interpolation of quaternions turns the other way round.
        steps = rng.uniform(-50.0, 50.0, (3, FRAMES)).cumsum(axis=1)
        keyed += curves(i, "R", steps, AT)
        if scales != "none":
            grown = rng.uniform(0.6, 1.8, (3, FRAMES))
            if scales == "uniform":
                grown[:] = grown[0]
            keyed += curves(i, "S", grown, AT)
    keyed += curves(0, "T", rng.uniform(-50, 50, (3, FRAMES)), AT)
    return Scene(joints, [Take("haul", [Layer(keyed)], *SPAN)])


def check(scene: Scene, folder: Path) -> None:
    clip = clip_of(scene, folder)
    assert clip.frames == FRAMES
    assert_moves_as_written(scene, scene.takes[0], clip)


def chain(rng: np.random.Generator, count: int = 6, **more: object) -> list[Joint]:
    return [
        Joint(f"j{i}", i - 1, some(rng, 20.0), some(rng, 180.0), **more)  # type: ignore[arg-type]
        for i in range(count)
    ]


@pytest.mark.parametrize("order", ORDERS)
def test_every_order_of_turns(order: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(ORDERS.index(order))
    check(turning(chain(rng, order=order), rng), tmp_path)


def test_orders_mixed_in_one_skeleton(tmp_path: Path) -> None:
    rng = np.random.default_rng(11)
    joints = chain(rng)
    for joint, order in zip(joints, ORDERS, strict=True):
        joint.order = order
    check(turning(joints, rng), tmp_path)


@pytest.mark.parametrize("which", ["pre", "post", "both"])
def test_turns_before_and_after_the_channels(which: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(7)
    joints = chain(rng)
    for number, joint in enumerate(joints):
        joint.order = ORDERS[number]
        if which != "post":
            joint.pre_deg = some(rng, 180.0)
        if which != "pre":
            joint.post_deg = some(rng, 180.0)
    check(turning(joints, rng), tmp_path)


def test_turns_that_a_model_calls_inactive_are_applied_as_the_binding_does(tmp_path: Path) -> None:
    """Readers differ here: the format's reference has them ignored."""
    rng = np.random.default_rng(8)
    joints = chain(rng, order="ZYX", pre_deg=(20.0, 30.0, 40.0), rotation_active=False)
    scene = turning(joints, rng)
    asset = asset_of(scene, tmp_path)
    (clip,) = asset.clips
    assert any("j0" in note.text for note in (*asset.notes, *clip.notes))
    for joint in joints:
        joint.rotation_active = True
    assert_moves_as_written(scene, scene.takes[0], clip)


@pytest.mark.parametrize("inherit", [RrSs, RSrs, Rrs])
@pytest.mark.parametrize("scales", ["none", "uniform"])
def test_pivots(inherit: int, scales: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(13)
    joints = chain(rng, inherit=inherit)
    for joint in joints:
        joint.rotation_pivot, joint.rotation_offset = some(rng, 8.0), some(rng, 8.0)
        joint.scaling_pivot, joint.scaling_offset = some(rng, 8.0), some(rng, 8.0)
        joint.pre_deg = some(rng, 90.0)
    check(turning(joints, rng, scales=scales), tmp_path)


@pytest.mark.parametrize("inherit", [RrSs, RSrs, Rrs])
@pytest.mark.parametrize("scales", ["constant", "uniform", "free"])
def test_scale_by_inherit_type(inherit: int, scales: str, tmp_path: Path) -> None:
    rng = np.random.default_rng(17)
    joints = chain(rng, inherit=inherit)
    for joint in joints:
        x, y, z = rng.uniform(0.6, 1.8, 3).tolist()
        joint.scale = (x, x, x) if scales == "uniform" else (x, y, z)
    over_time = "none" if scales == "constant" else scales
    check(turning(joints, rng, scales=over_time), tmp_path)


def test_inherit_types_mixed_in_one_skeleton(tmp_path: Path) -> None:
    rng = np.random.default_rng(19)
    joints = chain(rng, 9)
    for number, joint in enumerate(joints):
        joint.inherit = (RSrs, RrSs, Rrs)[number % 3]
        joint.scale = (1.0 + 0.1 * number,) * 3
    check(turning(joints, rng), tmp_path)


def test_a_mirrored_joint(tmp_path: Path) -> None:
    rng = np.random.default_rng(23)
    joints = chain(rng, 4)
    joints[1].scale = (-1.0, 1.0, 1.0)
    check(turning(joints, rng), tmp_path)


def test_a_scaled_group_above_the_skeleton(tmp_path: Path) -> None:
    """Exporters put the unit of the body on an empty node above it."""
    rng = np.random.default_rng(29)
    joints = chain(rng, 5)
    joints[0] = Joint("crew", -1, (3.0, 0.0, 1.0), (-90.0, 0.0, 0.0), (0.01,) * 3, kind="Null")
    for joint in joints[1:]:
        joint.translation = tuple(100.0 * one for one in joint.translation)  # type: ignore[assignment]
    scene = turning(joints, rng)
    scene.takes[0].layers[0].curves = [c for c in scene.takes[0].layers[0].curves if c.target]
    check(scene, tmp_path)


def test_geometric_translation_moves_the_mesh_and_no_joint(tmp_path: Path) -> None:
    rng = np.random.default_rng(31)
    joints = chain(rng, 4)
    for joint in joints:
        joint.geometric_translation = some(rng, 30.0)
    check(turning(joints, rng), tmp_path)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(seed=st.integers(0, 2**32 - 1), inherit=st.sampled_from([RrSs, RSrs, Rrs]), data=st.data())
def test_any_tree(seed: int, inherit: int, data: st.DataObject, tmp_path: Path) -> None:
    rng = np.random.default_rng(seed)
    joints = chain(rng, data.draw(st.integers(1, 8), label="joints"), inherit=inherit)
    for number, joint in enumerate(joints):
        joint.parent = data.draw(st.integers(-1, number - 1)) if number else -1
        joint.order = data.draw(st.sampled_from(ORDERS))
        joint.pre_deg = some(rng, data.draw(st.sampled_from([0.0, 180.0])))
        joint.post_deg = some(rng, data.draw(st.sampled_from([0.0, 180.0])))
        joint.rotation_pivot = some(rng, data.draw(st.sampled_from([0.0, 8.0])))
        joint.scaling_pivot = some(rng, data.draw(st.sampled_from([0.0, 8.0])))
    scene = turning(joints, rng, scales=data.draw(st.sampled_from(["none", "free"])))
    scene.axes = data.draw(st.sampled_from(AXES))
    scene.unit_cm = data.draw(st.sampled_from([1.0, 2.54, 0.1]))
    check(scene, tmp_path)


@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(seed=st.integers(0, 2**32 - 1), data=st.data())
def test_any_kinds_of_nodes_above_and_between_joints(
    seed: int, data: st.DataObject, tmp_path: Path
) -> None:
    rng = np.random.default_rng(seed)
    joints = chain(rng, data.draw(st.integers(2, 8), label="joints"))
    for number, joint in enumerate(joints):
        joint.parent = data.draw(st.integers(-1, number - 1)) if number else -1
        joint.kind = data.draw(st.sampled_from(["LimbNode", "Null", "Root", "Mesh", "Camera"]))
        joint.inherit = data.draw(st.sampled_from([RrSs, RSrs, Rrs]))
        joint.scale = data.draw(st.sampled_from([(1.0, 1.0, 1.0), (2.0, 2.0, 2.0)]))
    joints[-1].kind = "LimbNode"
    scene = turning(joints, rng)
    still = data.draw(st.sets(st.integers(0, len(joints) - 1)))
    layer = scene.takes[0].layers[0]
    layer.curves = [one for one in layer.curves if one.target not in still]
    if not layer.curves:
        return
    clip = clip_of(scene, tmp_path)
    limbs = {joint.name for joint in joints if joint.kind == "LimbNode"}
    assert limbs <= set(clip.skeleton.names)
    assert_moves_as_written(scene, scene.takes[0], clip, all_joints=False)
