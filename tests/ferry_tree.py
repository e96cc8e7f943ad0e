"""Small BVH files of the made person, for tests of the engine and the command line."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kinelint.clip import Skeleton
from kinelint.synthetic import person

RATE_HZ = 30.0
# Of the head joint above the pelvis of the made person, 1.75 m tall.
HEAD_OVER_PELVIS_M = 1.75 * (0.06 + 0.10 + 0.1439 + 0.05)


def bvh(pelvis_m: Sequence[float] | None = None, frames: int = 20) -> str:
    """Someone who stands still while the pelvis is at the given heights."""
    skeleton = person()
    order: list[int] = []
    lines = ["HIERARCHY", *_joint(skeleton, 0, 0, order)]
    heights = [0.98] * frames if pelvis_m is None else list(pelvis_m)
    lines += ["MOTION", f"Frames: {len(heights)}", f"Frame Time: {1 / RATE_HZ:.7f}"]
    rest = " 0" * (3 * len(order))
    lines += [f"0 {height:.4f} 0{rest}" for height in heights]
    return "\n".join(lines) + "\n"


def _joint(skeleton: Skeleton, joint: int, depth: int, order: list[int]) -> list[str]:
    pad = "  " * depth
    name = skeleton.names[joint].replace(" ", "_")
    x, y, z = skeleton.rest_translations[joint] if depth else (0.0, 0.0, 0.0)
    offset = f"{pad}  OFFSET {x:.6f} {y:.6f} {z:.6f}"
    if skeleton.tips[joint]:
        return [f"{pad}End Site", f"{pad}{{", offset, f"{pad}}}"]
    order.append(joint)
    turns = "Zrotation Xrotation Yrotation"
    channels = f"6 Xposition Yposition Zposition {turns}" if not depth else f"3 {turns}"
    inner = [
        line
        for child in skeleton.children[joint]
        for line in _joint(skeleton, child, depth + 1, order)
    ]
    kind = "JOINT" if depth else "ROOT"
    head = [f"{pad}{kind} {name}", f"{pad}{{", offset, f"{pad}  CHANNELS {channels}"]
    return [*head, *inner, f"{pad}}}"]


def write(folder: Path, **texts: str) -> Path:
    """Writes files named by keywords; "__" is a folder, and ".bvh" is added."""
    for name, text in texts.items():
        path = folder / f"{name.replace('__', '/')}.bvh"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return folder
