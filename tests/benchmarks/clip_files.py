"""Writes made walks as BVH: files that the gate reads from the disk, as it does a team's."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from walker import walking

from kinelint.clip import Clip
from kinelint.kinematics.joint_angles import zxy

CM = 100.0


def write_walks(folder: Path, count: int, frames: tuple[int, int], *, fingers: bool) -> list[Path]:
    """Walks of lengths spread over a range, each at a phase of its own."""
    lengths = np.linspace(*frames, count).round().astype(int)
    paths = []
    for number, length in enumerate(lengths.tolist()):
        paths.append(folder / f"walk_{number:03}.bvh")
        write(paths[-1], walking(length, phase=0.37 * number, fingers=fingers))
    return paths


def write(path: Path, clip: Clip) -> None:
    """One clip, in centimetres; the root has six channels, every other joint three."""
    order: list[int] = []
    lines = ["HIERARCHY"]
    _joint(lines, order, clip, 0)
    root = np.asarray(clip.translations[0].T * CM)
    turns = [np.degrees(zxy(clip.rotations[joint])).T for joint in order]
    rows = np.concatenate([root, *turns], axis=1)
    text = "\n".join(" ".join(["%.4f"] * rows.shape[1]) % tuple(row) for row in rows.tolist())
    lines += ["MOTION", f"Frames: {clip.frames}", f"Frame Time: {1.0 / clip.sample_rate_hz:.7f}"]
    path.write_text("\n".join([*lines, text]) + "\n", encoding="utf-8", newline="\n")


def _joint(lines: list[str], order: list[int], clip: Clip, joint: int) -> None:
    skeleton = clip.skeleton
    x, y, z = skeleton.rest_translations[joint] * CM * (joint > 0)
    order.append(joint)
    channels = "3 " if joint else "6 Xposition Yposition Zposition "
    lines += [
        f"{'JOINT' if joint else 'ROOT'} {skeleton.names[joint]}",
        "{",
        f"OFFSET {x:.4f} {y:.4f} {z:.4f}",
        f"CHANNELS {channels}Zrotation Xrotation Yrotation",
    ]
    for child in skeleton.children[joint]:
        if skeleton.tips[child]:
            x, y, z = skeleton.rest_translations[child] * CM
            lines += ["End Site", "{", f"OFFSET {x:.4f} {y:.4f} {z:.4f}", "}"]
        else:
            _joint(lines, order, clip, child)
    lines.append("}")
