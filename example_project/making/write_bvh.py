"""Writes a motion as BVH: centimetres, rotations in the order Z X Y."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from making.crew import ENDS, JOINTS, NAMES, OFFSETS
from making.pose import Motion
from making.turns import euler_zxy_deg

CM = 100.0


def write_bvh(path: Path, motion: Motion) -> None:
    """One file, one clip."""
    lines = ["HIERARCHY"]
    order: list[str] = []
    _joint(lines, order, "pelvis", 0, motion)
    columns = []
    for name in order:
        if name == "pelvis":
            columns.append(motion.positions[name] * CM)
        columns.append(euler_zxy_deg(motion.local(name)) + motion.wound_deg.get(name, 0.0))
    rows = np.concatenate(columns, axis=1)
    lines += ["MOTION", f"Frames: {motion.frames}", f"Frame Time: {1.0 / motion.rate_hz:.7f}"]
    lines += [" ".join(f"{value:.4f}" for value in row + 0.0) for row in rows]
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines) + "\n", encoding="utf-8", newline="\n")


def _joint(lines: list[str], order: list[str], name: str, depth: int, motion: Motion) -> None:
    pad = "  " * depth
    order.append(name)
    offset = motion.offsets.get(name, OFFSETS[NAMES.index(name)])
    x, y, z = offset * CM * (0.0 if name == "pelvis" else 1.0)
    position = "Xposition Yposition Zposition " if name == "pelvis" else ""
    count = 6 if position else 3
    lines += [
        f"{pad}{'ROOT' if depth == 0 else 'JOINT'} {name}",
        f"{pad}{{",
        f"{pad}  OFFSET {x:.4f} {y:.4f} {z:.4f}",
        f"{pad}  CHANNELS {count} {position}Zrotation Xrotation Yrotation",
    ]
    for child, (parent, _) in JOINTS.items():
        if parent == name:
            _joint(lines, order, child, depth + 1, motion)
    if name in ENDS:
        x, y, z = np.array(ENDS[name]) * CM
        lines += [
            f"{pad}  End Site",
            f"{pad}  {{",
            f"{pad}    OFFSET {x:.4f} {y:.4f} {z:.4f}",
            f"{pad}  }}",
        ]
    lines.append(f"{pad}}}")
