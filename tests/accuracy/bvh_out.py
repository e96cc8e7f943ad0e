"""Writes a clip back as a BVH file, so that a seeded one goes through the whole gate."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from kinelint.clip import Clip


def write_bvh(path: Path, clip: Clip) -> None:
    """Rotations in the order Z Y X; position channels, in the place of the OFFSET, where keyed."""
    lines, order = ["HIERARCHY"], []
    for joint in np.flatnonzero(clip.skeleton.parents < 0):
        _joint(clip, int(joint), 0, lines, order)
    columns = []
    rows = {int(joint): row for row, joint in enumerate(clip.translated)}
    for joint in order:
        if joint in rows:
            columns.append(clip.translations[rows[joint]].T)
        turns = Rotation.from_quat(clip.rotations[joint].T[:, [1, 2, 3, 0]])
        with warnings.catch_warnings():
            # At a gimbal lock one of many equal triples is as good as any.
            warnings.simplefilter("ignore", UserWarning)
            columns.append(turns.as_euler("ZYX", degrees=True))
    lines += ["MOTION", f"Frames: {clip.frames}", f"Frame Time: {1.0 / clip.sample_rate_hz:.8f}"]
    lines += [" ".join(f"{value:.6f}" for value in row) for row in np.hstack(columns)]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _joint(clip: Clip, joint: int, depth: int, lines: list[str], order: list[int]) -> None:
    skeleton, pad = clip.skeleton, "\t" * depth
    x, y, z = skeleton.rest_translations[joint]
    if skeleton.tips[joint]:
        lines += [
            f"{pad}End Site",
            f"{pad}{{",
            f"{pad}\tOFFSET {x:.8f} {y:.8f} {z:.8f}",
            f"{pad}}}",
        ]
        return
    order.append(joint)
    keyed = joint in clip.translated
    channels = "Xposition Yposition Zposition " * keyed + "Zrotation Yrotation Xrotation"
    lines += [
        f"{pad}{'JOINT' if depth else 'ROOT'} {skeleton.names[joint]}",
        f"{pad}{{",
        f"{pad}\tOFFSET {x:.8f} {y:.8f} {z:.8f}",
        f"{pad}\tCHANNELS {6 if keyed else 3} {channels}",
    ]
    for child in skeleton.children[joint]:
        _joint(clip, child, depth + 1, lines, order)
    lines.append(f"{pad}}}")
