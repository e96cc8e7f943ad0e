"""VRM 1.0, VRM 0.x and VRM animation files, made from one figure whose names say nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from readers.gltf_maker import GltfMaker

# Bone, its parent, and where it stands from it in metres, facing +Z with the left at +X: the
# hierarchy of VRMC_vrm 1.0 (humanoid.md) in the VRM T-pose (tpose.md).
BONES: tuple[tuple[str, str, tuple[float, float, float]], ...] = (
    ("hips", "", (0, 0.95, 0)),
    ("spine", "hips", (0, 0.1, 0)),
    ("chest", "spine", (0, 0.15, 0)),
    ("neck", "chest", (0, 0.25, 0)),
    ("head", "neck", (0, 0.1, 0)),
    ("leftEye", "head", (0.03, 0.07, 0.08)),
    ("rightEye", "head", (-0.03, 0.07, 0.08)),
    *(
        (f"{side}{bone}", parent if parent in ("hips", "chest") else f"{side}{parent}", at)
        for side, sign in (("left", 1), ("right", -1))
        for bone, parent, at in (
            ("UpperLeg", "hips", (0.09 * sign, -0.05, 0)),
            ("LowerLeg", "UpperLeg", (0, -0.42, 0)),
            ("Foot", "LowerLeg", (0, -0.4, 0)),
            ("Toes", "Foot", (0, -0.06, 0.12)),
            ("Shoulder", "chest", (0.03 * sign, 0.2, 0)),
            ("UpperArm", "Shoulder", (0.14 * sign, 0, 0)),
            ("LowerArm", "UpperArm", (0.28 * sign, 0, 0)),
            ("Hand", "LowerArm", (0.26 * sign, 0, 0)),
            ("ThumbMetacarpal", "Hand", (0.03 * sign, 0, 0.03)),
            ("ThumbProximal", "ThumbMetacarpal", (0.03 * sign, 0, 0.02)),
            ("ThumbDistal", "ThumbProximal", (0.03 * sign, 0, 0.02)),
        )
    ),
)
NAMES = tuple(bone for bone, _, _ in BONES)
PARENTS = tuple(NAMES.index(parent) if parent else -1 for _, parent, _ in BONES)
PLACES = np.array([place for _, _, place in BONES])
TIMES = np.arange(31) / 30


def bending(seed: int, frames: int = 31) -> np.ndarray:
    """Poses of a figure without rest rotations, ``(bones, frames, 4)``, scalar last."""
    random = np.random.default_rng(seed)
    swing = np.sin(np.linspace(0, 2 * np.pi, frames))
    angles = random.uniform(-0.6, 0.6, (len(BONES), 3))[:, None] * swing[None, :, None]
    turns = Rotation.from_rotvec(angles.reshape(-1, 3)).as_quat()
    return np.asarray(turns.reshape(len(BONES), frames, 4))


def figure(rest: list[Rotation], facing: float = 1.0) -> GltfMaker:
    """Nodes called "n0", "n1", …; joint i is turned by `rest[i]` in the scene at rest.

    Args:
        rest: rotations of the joints in the scene at rest; identity for each is VRM 0.x.
        facing: 1 for +Z, -1 for -Z (VRM 0.x).
    """
    maker = GltfMaker()
    turned = PLACES * [facing, 1, facing]
    for i, parent in enumerate(PARENTS):
        above = rest[parent] if parent >= 0 else Rotation.identity()
        children = [child for child, up in enumerate(PARENTS) if up == i]
        maker.node(
            f"n{i}",
            translation=above.inv().apply(turned[i]).tolist(),
            rotation=(above.inv() * rest[i]).as_quat().tolist(),
            **({"children": children} if children else {}),
        )
    return maker


def posed(rest: list[Rotation], normalised: np.ndarray) -> list[np.ndarray]:
    """The same pose for a figure with rest rotations, ``(frames, 4)`` a bone.

    Source: VRMC_vrm_animation 1.0, how_to_transform_human_pose.md: with the local rest rotation L
    and the scene's W, B.LocalRotation = L W^-1 NormalizedLocalRotation W.
    """
    found = []
    for i, parent in enumerate(PARENTS):
        above = rest[parent] if parent >= 0 else Rotation.identity()
        local = above.inv() * rest[i]
        found.append(
            (local * rest[i].inv() * Rotation.from_quat(normalised[i]) * rest[i]).as_quat()
        )
    return found


def human_bones(leave: tuple[str, ...] = ()) -> dict[str, Any]:
    """The object `humanoid` of VRM 1.0 and VRM animations."""
    return {"humanBones": {bone: {"node": i} for i, bone in enumerate(NAMES) if bone not in leave}}


def old_bones() -> dict[str, Any]:
    """The object `humanoid` of VRM 0.x, whose thumbs are counted otherwise."""
    old = {"ThumbMetacarpal": "ThumbProximal", "ThumbProximal": "ThumbIntermediate"}

    def renamed(bone: str) -> str:
        side = next((one for one in ("left", "right") if bone.startswith(one)), "")
        return side + old.get(bone[len(side) :], bone[len(side) :])

    return {"humanBones": [{"bone": renamed(bone), "node": i} for i, bone in enumerate(NAMES)]}


def declared(maker: GltfMaker, name: str, content: dict[str, Any]) -> GltfMaker:
    """`maker` with an extension at its root."""
    maker.tree.setdefault("extensions", {})[name] = content
    maker.tree.setdefault("extensionsUsed", []).append(name)
    return maker
