"""The lengths that make up a body: which joints span which part, at rest and over the frames."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.parts import DIGITS, FINGERS, PARTS, SIDES, TRUNK, side_of
from kinelint.clip import Clip
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion, world

# Part and the part at its far end, trunk first; a side is put before names in _LIMBS.
_TRUNK = (("pelvis", "abdomen"), ("abdomen", "thorax"), ("thorax", "neck"), ("neck", "head"))
_LIMBS = (
    ("thorax", "clavicle"),
    ("clavicle", "upper_arm"),
    ("upper_arm", "forearm"),
    ("forearm", "hand"),
    ("pelvis", "thigh"),
    ("thigh", "shank"),
    ("shank", "foot"),
    ("foot", "toes"),
)


@dataclass(frozen=True)
class Link:
    """From one part's joint to the next part's, through the joints between.

    Attributes:
        part: the part whose length this is, or that is carried off its hub.
        hub: the part that carries it ("" where the link is the part's own length).
        joints: from the near end to the far end.
        attached: false if the far end does not hang from the near end (feet under the root).
    """

    part: str
    hub: str
    joints: tuple[int, ...]
    attached: bool


def links(motion: Motion) -> Iterator[Link]:
    """All links of the recognised parts that were captured, once each."""
    for near, far in _pairs(motion):
        start = motion.figure.anatomy.joints[near][0]
        end = motion.figure.anatomy.joints[far][0]
        joints = _way(motion.clip.skeleton.parents.tolist(), start, end)
        branches = near in ("pelvis", "thorax") or near.endswith("_hand")
        hub = near if branches and far not in TRUNK else ""
        yield Link(far if hub else near, hub, joints or (start, end), bool(joints))


def _pairs(motion: Motion) -> Iterator[tuple[str, str]]:
    for near, far in _all_pairs():
        if motion.has(far):
            found = near if motion.has(near) else _carrier(motion, near)
            if found:
                yield found, far


def _all_pairs() -> Iterator[tuple[str, str]]:
    yield from _TRUNK
    for side in SIDES:
        for near, far in _LIMBS:
            yield near if near in ("thorax", "pelvis") else f"{side}_{near}", f"{side}_{far}"
        for finger in FINGERS:
            chain = [f"{side}_{digit}" for digit in DIGITS if digit.startswith(finger)]
            yield from zip([f"{side}_hand", *chain], chain, strict=False)


def _carrier(motion: Motion, part: str) -> str:
    """What carries the far end where `part` is missing in this skeleton."""
    side = side_of(part)
    for missing, instead in (
        ("abdomen", "pelvis"),
        ("neck", "thorax"),
        ("clavicle", "thorax"),
        ("thorax", "abdomen"),
    ):
        if part.endswith(missing) and motion.has(instead):
            return instead
    if part in PARTS and part.rpartition("_")[2].isdigit() and motion.has(f"{side}_hand"):
        return f"{side}_hand"
    return ""


def _way(parents: list[int], start: int, end: int) -> tuple[int, ...]:
    way = [end]
    while way[-1] != start:
        if parents[way[-1]] < 0:
            return ()
        way.append(parents[way[-1]])
    return tuple(reversed(way))


def length_m(positions_m: Floats, joints: tuple[int, ...]) -> Floats:
    """``(frames,)`` length along the joints, of ``(joints, 3, frames)``."""
    steps = np.diff(positions_m[list(joints)], axis=0)
    return np.asarray(np.linalg.norm(steps, axis=1).sum(axis=0))


def rest_positions_m(motion: Motion) -> Floats:
    """``(joints, 3, 1)`` of the rest pose, in metres."""
    skeleton = motion.clip.skeleton
    rest = Clip("rest", skeleton, 1.0, skeleton.rest_rotations[:, :, None])
    return np.asarray(world(rest)[0] * motion.figure.metres_per_unit)


def loose_joints(motion: Motion) -> frozenset[int]:
    """Joints below the pelvis (or beside it, under the root) that are moved or scaled."""
    clip = motion.clip
    parents = clip.skeleton.parents.tolist()
    pelvis = motion.part("pelvis").joint
    carriers = {pelvis}
    while parents[min(carriers)] >= 0:
        carriers.add(parents[min(carriers)])
    moved = {int(j) for j in clip.translated} - carriers
    return frozenset(moved | {int(j) for j in clip.scaled})
