"""Where the capsules of a body lie: on the bones of the limbs, in pairs along trunk and head.

Trunk and head are not round: a circle of the chest's girth stands 40 mm proud of the breast bone.
A stadium of two parallel capsules has the breadth and the depth.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.girths import hand_ratio, radius_ratio, section_ratio, trunk_ratio
from kinelint.anatomy.parts import SIDES
from kinelint.clip import Skeleton
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.forward import forward

# Part of a limb: where it ends, its two girths, and how far down the first reaches. The calf's
# belly ends about halfway, the forearm's earlier (common practice, no source).
_LIMBS: dict[str, tuple[str, str, str, float]] = {
    "upper_arm": ("forearm", "upper arm", "upper arm", 1.0),
    "forearm": ("hand", "forearm", "wrist", 0.5),
    "thigh": ("shank", "thigh", "lower thigh", 0.5),
    "shank": ("foot", "calf", "ankle", 0.55),
    "foot": ("toes", "ball of foot", "ball of foot", 1.0),
}
# The crotch lies this far below the hip joints, by stature (from memory, about 80 mm).
_CROTCH_RATIO = 0.045
_HAND_RATIO = 0.108  # wrist to fingertip, de Leva 1996


@dataclass(frozen=True)
class RestPose:
    """The rest pose of a skeleton in metres, Y up: ``(joints, 3)`` and ``(joints, 4)``."""

    skeleton: Skeleton
    positions_m: Floats
    orientations: Floats

    @classmethod
    def of(cls, skeleton: Skeleton, metres_per_unit: float, to_y_up: Floats) -> RestPose:
        """Laid out from the rest translations and rotations."""
        sized = skeleton.rest_translations
        none = np.empty(0, dtype=np.intp)
        positions, orientations = forward(
            skeleton.parents, skeleton.rest_rotations[..., None], sized, none, np.empty((0, 3, 1))
        )
        return cls(
            skeleton,
            rotations.rotate(to_y_up, positions)[..., 0] * metres_per_unit,
            rotations.multiply(to_y_up, orientations)[..., 0],
        )

    def fixed(self, point: Floats, joint: int) -> tuple[int, Floats]:
        """The joint, and the point in its axes."""
        turn = self.orientations[joint][:, None]
        return joint, rotations.unrotate(turn, (point - self.positions_m[joint])[:, None])[:, 0]

    def holder(self, joint: int) -> int:
        """The parent, which carries the joint without turning with it."""
        parent = int(self.skeleton.parents[joint])
        return parent if parent >= 0 else joint


@dataclass(frozen=True)
class Bone:
    """One capsule: its part, its ends as (joint, point in the joint's axes), its radius."""

    part: str
    start: tuple[int, Floats]
    end: tuple[int, Floats]
    radius_m: float


@dataclass(frozen=True)
class Build:
    """What a volume is built from."""

    anatomy: Anatomy
    rest: RestPose
    stature_m: float
    girth_ratio: float
    sex: str | None

    def joint(self, part: str) -> int | None:
        """The part's proximal joint."""
        joints = self.anatomy.joints.get(part)
        return joints[0] if joints else None

    def place(self, joint: int) -> Floats:
        """The joint's place at rest."""
        return np.asarray(self.rest.positions_m[joint])

    def radius(self, girth: str) -> float:
        """Radius of a round limb in metres, at the build's share of the girth."""
        return radius_ratio(girth, self.sex) * self.stature_m * self.girth_ratio

    def halves(self, ratios: tuple[float, float]) -> tuple[float, float]:
        """Half breadth and half depth in metres, at the build's share."""
        breadth, depth = (ratio * self.stature_m * self.girth_ratio for ratio in ratios)
        return breadth, depth


def bones(build: Build) -> list[Bone]:
    """All capsules of the body, trunk first."""
    found = [*_trunk(build), *_neck_and_head(build)]
    for side in SIDES:
        for part, (next_part, near, far, share) in _LIMBS.items():
            found += _limb(build, f"{side}_{part}", f"{side}_{next_part}", near, far, share)
        found += _hand(build, side)
        found += _toes(build, side)
    return found


def _limb(
    build: Build, part: str, next_part: str, near: str, far: str, share: float
) -> Iterator[Bone]:
    start = build.joint(part)
    end = build.joint(next_part)
    if end is None:
        end = build.anatomy.tips.get(part)
    if start is None or end is None:
        return
    middle = (1.0 - share) * build.place(start) + share * build.place(end)
    whole = (start, np.zeros(3)), (end, np.zeros(3))
    if share == 1.0:
        yield Bone(part, *whole, build.radius(near))
        return
    cut = build.rest.fixed(middle, start)
    yield Bone(part, whole[0], cut, build.radius(near))
    yield Bone(part, cut, whole[1], build.radius(far))


def _hand(build: Build, side: str) -> Iterator[Bone]:
    """From the wrist to where the fingers are, of the thickness of a flat palm."""
    part = f"{side}_hand"
    wrist, elbow = build.joint(part), build.joint(f"{side}_forearm")
    if wrist is None:
        return
    knuckles = [
        joints[0]
        for finger in ("index", "middle", "ring", "little")
        for number in (1, 0)
        if (joints := build.anatomy.joints.get(f"{side}_{finger}_{number}"))
    ]
    tip = build.anatomy.tips.get(part)
    if knuckles:
        end = np.mean([build.place(joint) for joint in knuckles], axis=0)
    elif tip is not None:
        end = build.place(tip)
    elif elbow is not None:
        along = build.place(wrist) - build.place(elbow)
        end = build.place(wrist) + along / np.linalg.norm(along) * 0.5 * (
            _HAND_RATIO * build.stature_m
        )
    else:
        return
    thickness = build.halves(hand_ratio(build.sex))[1]
    yield Bone(part, (wrist, np.zeros(3)), build.rest.fixed(end, wrist), thickness)


def _toes(build: Build, side: str) -> Iterator[Bone]:
    part = f"{side}_toes"
    start, tip = build.joint(part), build.anatomy.tips.get(part)
    if start is not None and tip is not None:
        # Toes are about half as thick as the ball (common practice, no source).
        yield Bone(
            part, (start, np.zeros(3)), (tip, np.zeros(3)), 0.5 * build.radius("ball of foot")
        )


def _across(build: Build, parts: tuple[str, ...]) -> Floats | None:
    """Unit vector from the right to the left joint of the first of `parts` that lie apart."""
    for part in parts:
        left, right = build.joint(f"left_{part}"), build.joint(f"right_{part}")
        if left is not None and right is not None:
            apart = build.place(left) - build.place(right)
            if np.linalg.norm(apart) > 0.01 * build.stature_m:
                return np.asarray(apart / np.linalg.norm(apart))
    return None


def _trunk(build: Build) -> Iterator[Bone]:
    pelvis, neck = build.joint("pelvis"), build.joint("neck")
    if neck is None:
        neck = build.joint("head")
    hips = [build.joint(f"{side}_thigh") for side in SIDES]
    if pelvis is None or neck is None or None in hips:
        return
    bottom = np.mean([build.place(hip) for hip in hips if hip is not None], axis=0)
    top = build.place(neck)
    steps = [("pelvis", pelvis)]
    steps += [(p, j) for p in ("abdomen", "thorax") if (j := build.joint(p)) is not None]
    over = np.dot(top - bottom, top - bottom)
    for i, (part, joint) in enumerate(steps):
        last = i + 1 == len(steps)
        end_joint = neck if last else steps[i + 1][1]
        start, end = bottom if i == 0 else build.place(joint), build.place(end_joint)
        height = float(np.dot((start + end) / 2.0 - bottom, top - bottom) / over)
        breadth, depth = build.halves(trunk_ratio(height, build.sex))
        across = _across(build, ("clavicle", "upper_arm") if part == "thorax" else ("thigh",))
        radius = min(breadth, depth)
        start = start + _inset(end - start, radius - _CROTCH_RATIO * build.stature_m) * (i == 0)
        end = end - _inset(end - start, radius) * last
        holders = joint, build.rest.holder(end_joint)
        yield from _stadium(build, part, (start, end), holders, (breadth, depth), across)


def _inset(along: Floats, by: float) -> Floats:
    """Along a section by so much, but no further than nine tenths of it."""
    length = float(np.linalg.norm(along))
    if length == 0.0:
        return np.zeros(3)
    return np.asarray(along / length * min(max(by, 0.0), 0.9 * length))


def _stadium(
    build: Build,
    part: str,
    ends: tuple[Floats, Floats],
    holders: tuple[int, int],
    halves: tuple[float, float],
    across: Floats | None,
) -> Iterator[Bone]:
    """Two parallel capsules, or one where breadth and depth are alike or the side is unknown."""
    breadth, depth = halves
    apart = breadth - depth
    if across is None or apart <= 0.02 * breadth:
        shifts = [np.zeros(3)]
    else:
        shifts = [across * apart, -across * apart]
    for shift in shifts:
        start, end = (
            build.rest.fixed(point + shift, holder)
            for point, holder in zip(ends, holders, strict=True)
        )
        yield Bone(part, start, end, depth)


def _neck_and_head(build: Build) -> Iterator[Bone]:
    neck, head = build.joint("neck"), build.joint("head")
    if neck is not None and head is not None:
        yield Bone("neck", (neck, np.zeros(3)), (head, np.zeros(3)), build.radius("neck"))
    across = _across(build, ("clavicle", "upper_arm", "thigh"))
    if head is None or across is None:
        return
    tip = build.anatomy.tips.get("head")
    base = build.place(head)
    if tip is not None:
        crown = build.place(tip)
    elif neck is not None and (up := base - build.place(neck)).any():
        crown = base + up / np.linalg.norm(up) * 0.0861 * build.stature_m
    else:
        return
    breadth, length = build.halves(section_ratio("head", build.sex))
    up = crown - base
    forward = np.cross(across, up)
    size = float(np.linalg.norm(forward))
    if size == 0.0:
        return
    ends = (base + _inset(up, 0.3 * breadth), crown - _inset(up, breadth))
    yield from _stadium(build, "head", ends, (head, head), (length, breadth), forward / size)
