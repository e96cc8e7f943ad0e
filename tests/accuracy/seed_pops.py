"""Joints and figures that jump: a step that stays, and poses off for some frames."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from accuracy.rig import Rig
from accuracy.seed import Seed
from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip

PARTS = ("upper_arm", "forearm", "hand", "thigh", "shank", "foot")


def popped(
    clip: Clip,
    figure: Figure,
    side: str,
    degrees: float,
    chance: np.random.Generator,
    frames: int | None = None,
) -> Seed | None:
    """A part turned against its parent about a random axis: from a frame on, or for some."""
    rig = Rig.of(clip, figure)
    part = f"{side}_{chance.choice(PARTS)}"
    if not rig.has(part) or clip.frames < 20:
        return None
    lasts = int(chance.integers(1, 4)) if frames is None else frames
    first = int(chance.integers(6, clip.frames - 6 - lasts))
    stays = lasts == 0
    last = clip.frames - 1 if stays else first + lasts - 1
    axis = chance.normal(size=3)
    turn = Rotation.from_rotvec(np.radians(degrees) * axis / np.linalg.norm(axis))
    joint = rig.joint(part)
    quats = rig.local[joint].as_quat()
    quats[first : last + 1] = (rig.local[joint][first : last + 1] * turn).as_quat()
    rig.local[joint] = Rotation.from_quat(quats)
    rig.forward()
    shown = (first, first) if stays else (first, last)
    return Seed(
        "pop that stays" if stays else "pop", "pop", (part,), rig.made(),
        shown[0] / rig.rate, shown[1] / rig.rate, degrees, "deg", (part,),
        detail=f"{part}, frames {first}-{shown[1]}",
    )  # fmt: skip
