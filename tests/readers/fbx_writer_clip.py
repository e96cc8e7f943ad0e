"""Carries a clip into FBX: one key a frame on every channel."""

from __future__ import annotations

import warnings

import numpy as np
from scipy.spatial.transform import Rotation

from kinelint.clip import Clip
from readers.fbx_writer import Axes, Curve, Joint, Layer, Scene, Take, curves, frame_ticks


def scene_of(
    clip: Clip,
    *,
    unit_cm: float,
    time_mode: int,
    order: str = "YXZ",
    axes: Axes | None = None,
) -> Scene:
    """A scene that moves as the clip does.

    Args:
        clip: in lengths of `unit_cm`, Y up.
        unit_cm: how many centimetres the clip's unit of length is.
        time_mode: of the clip's rate.
        order: of the turns, the first applied first: "YXZ" carries BVH channels "Zrotation
            Xrotation Yrotation" as they are.
        axes: as the file says them; BVH says none.
    """
    skeleton = clip.skeleton
    at = frame_ticks(clip.frames, clip.sample_rate_hz)
    joints, keyed = [], []
    rows = {int(joint): row for row, joint in enumerate(clip.translated)}
    for i, name in enumerate(skeleton.names):
        turns = Rotation.from_quat(clip.rotations[i].T[:, [1, 2, 3, 0]])
        x, y, z = skeleton.rest_translations[i].tolist()
        joints.append(Joint(name, int(skeleton.parents[i]), (x, y, z), order=order))
        if i in rows:
            keyed += curves(i, "T", clip.translations[rows[i]], at)
        if not skeleton.tips[i]:
            keyed += _turning(i, turns, order, at)
    stop_s = (clip.frames - 1) / clip.sample_rate_hz
    take = Take(clip.name, [Layer(keyed)], 0.0, stop_s)
    return Scene(joints, [take], axes=axes, unit_cm=unit_cm, time_mode=time_mode)


def _turning(joint: int, turns: Rotation, order: str, at: np.ndarray) -> list[Curve]:
    with warnings.catch_warnings():
        # At a gimbal lock one of many equal triples is as good as any.
        warnings.simplefilter("ignore", UserWarning)
        triples = turns.as_euler(order.lower(), degrees=True)
    steady = np.unwrap(triples, axis=0, period=360.0)
    columns = [steady[:, order.index(axis)] for axis in "XYZ"]
    return curves(joint, "R", columns, at)
