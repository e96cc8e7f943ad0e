"""Where the capsules of a body lie: on the bones of the limbs, in pairs along trunk and head.

Trunk and head are not round: a circle of the chest's girth stands 40 mm proud of the breast bone.
A stadium of two parallel capsules has the breadth and the depth.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

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
# Between the shoulder joints: biacromial breadth .2306 of stature (ANSUR II, mean of men and women)
# less about 15 mm a side (from memory).
_SHOULDERS_RATIO = 0.21
# The crotch lies this far below the hip joints, by stature (from memory, about 80 mm).
_CROTCH_RATIO = 0.045
_CROWN = 0.086  # head joint to crown by stature, common practice, no source
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


def _unit(vector: Floats) -> Floats:
    length = float(np.linalg.norm(vector))
    return np.asarray(vector / length if length > 0.0 else vector)


@dataclass(frozen=True)
class Build:
    """What a volume is built from."""

    anatomy: Anatomy
    rest: RestPose
    stature_m: float
    girth_ratio: float
    sex: str | None

    @cached_property
    def rest_is_plausible(self) -> bool:
        """Whether a person could stand in the rest pose: a T, an A or an I."""
        names = [f"{side}_{part}" for part in ("thigh", "upper_arm", "foot") for side in SIDES]
        joints = [self.joint(name) for name in names]
        if None in joints:
            return False
        hip, other_hip, arm, other_arm, foot, other_foot = (
            self.place(joint) for joint in joints if joint is not None
        )
        up = _unit(arm + other_arm - hip - other_hip)
        hips, shoulders = _unit(hip - other_hip), _unit(arm - other_arm)
        legs = _unit(foot + other_foot - hip - other_hip)
        return bool(
            hips @ shoulders > 0.8
            and abs(shoulders @ up) < 0.3
            and abs(hips @ up) < 0.3
            and legs @ up < -0.8
        )

    @cached_property
    def shoulders_ratio(self) -> float:
        """Spacing of the shoulder joints by that of people of this stature, at most 1."""
        left, right = self.joint("left_upper_arm"), self.joint("right_upper_arm")
        if left is None or right is None or not self.rest_is_plausible:
            return 1.0
        spacing = float(np.linalg.norm(self.place(left) - self.place(right)))
        return min(spacing / (_SHOULDERS_RATIO * self.stature_m), 1.0)

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
    # Girths are taken at the thickest and thinnest place: each half has the mean of its half.
    thick, thin = build.radius(near), build.radius(far)
    cut = build.rest.fixed(middle, start)
    yield Bone(part, whole[0], cut, 0.75 * thick + 0.25 * thin)
    yield Bone(part, cut, whole[1], 0.25 * thick + 0.75 * thin)


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
    """Pelvis, abdomen and thorax from the hips to the base of the neck.

    A rest pose need not be anatomical: bones may all point one way. So each end is laid out in
    the axes of a joint whose own children tell the side: hips in the pelvis, clavicles in the
    thorax.
    """
    hips = [build.joint(f"{side}_thigh") for side in SIDES]
    pelvis, neck = build.joint("pelvis"), build.joint("neck")
    if neck is None:
        neck = build.joint("head")
    if pelvis is None or neck is None or None in hips:
        return
    hip_line, shoulder_line = _across(build, ("thigh",)), _across(build, ("clavicle", "upper_arm"))
    bottom = np.mean([build.place(hip) for hip in hips if hip is not None], axis=0)
    steps = [("pelvis", pelvis)]
    steps += [(p, j) for p in ("abdomen", "thorax") if (j := build.joint(p)) is not None]
    points = [bottom, *(build.place(joint) for _, joint in steps[1:]), _top(build, bottom, neck)]
    along = np.cumsum([0.0, *(float(np.linalg.norm(b - a)) for a, b in pairwise(points))])
    for i, (part, joint) in enumerate(steps):
        first, last = i == 0, i + 1 == len(steps)
        start, end = points[i], points[i + 1]
        height = float(along[i] + along[i + 1]) / 2.0 / float(along[-1])
        breadth, depth = build.halves(trunk_ratio(height, build.sex))
        breadth *= 1.0 + (build.shoulders_ratio - 1.0) * min(height / 0.5, 1.0)
        radius = min(breadth, depth)
        if first:
            start = start + _inset(end - start, radius - _CROTCH_RATIO * build.stature_m)
        if last:
            end = end - _inset(end - start, radius)
        low = pelvis if i <= 1 else joint
        high = build.rest.holder(neck if last else steps[i + 1][1])
        if part == "abdomen" and not last:
            high = steps[i + 1][1]
        lines = hip_line if low == pelvis else shoulder_line, shoulder_line if i else hip_line
        yield from _stadium(build, part, (start, end), (low, high), (breadth, depth), lines)


def _top(build: Build, bottom: Floats, neck: int) -> Floats:
    """The base of the neck: where the skeleton has it, but not below the shoulders.

    Some skeletons hang a neck joint from the middle of the chest.
    """
    top = build.place(neck)
    arms = [build.joint(f"{side}_upper_arm") for side in SIDES]
    if not build.rest_is_plausible or None in arms:
        return top
    shoulders = np.mean([build.place(arm) for arm in arms if arm is not None], axis=0)
    up = shoulders - bottom
    return shoulders if np.dot(shoulders - top, up) > 0.0 else top


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
    across: tuple[Floats | None, Floats | None],
) -> Iterator[Bone]:
    """Two parallel capsules, or one where breadth and depth are alike or the side is unknown.

    Args:
        build: what it is built from.
        part: of the body.
        ends: lower and upper end at rest.
        holders: joint that each end follows.
        halves: half breadth, and half depth, which is the radius.
        across: unit vector at rest along the breadth, at each end.
    """
    breadth, depth = halves
    apart = breadth - depth
    sides = [1.0, -1.0]
    if across[0] is None or across[1] is None or apart <= 0.02 * breadth:
        sides, apart, depth = [0.0], 0.0, min(breadth, depth)
    for side in sides:
        start, end = (
            build.rest.fixed(point + (0.0 if line is None else side * apart * line), holder)
            for point, holder, line in zip(ends, holders, across, strict=True)
        )
        yield Bone(part, start, end, depth)


def _neck_and_head(build: Build) -> Iterator[Bone]:
    head = build.joint("head")
    chain = [*build.anatomy.joints.get("neck", ())]
    if head is None:
        return
    # A lower neck joint may hang in the chest; the last one is always a neck.
    if chain:
        yield Bone("neck", (chain[-1], np.zeros(3)), (head, np.zeros(3)), build.radius("neck"))
    across = _across(build, ("clavicle", "upper_arm", "thigh"))
    up = _crown(build, head, chain)
    if across is None or up is None:
        return
    forward = np.cross(across, up)
    size = float(np.linalg.norm(forward))
    if size == 0.0:
        return
    breadth, length = build.halves(section_ratio("head", build.sex))
    base = build.place(head)
    ends = (base + _inset(up, 0.3 * breadth), base + up - _inset(up, breadth))
    lines = forward / size, forward / size
    yield from _stadium(build, "head", ends, (head, head), (length, breadth), lines)


def _crown(build: Build, head: int, chain: list[int]) -> Floats | None:
    """From the head joint to the crown, at rest."""
    tip = build.anatomy.tips.get("head")
    if tip is not None:
        up = build.place(tip) - build.place(head)
    elif chain:
        up = build.place(head) - build.place(chain[-1])
    else:
        return None
    length = float(np.linalg.norm(up))
    if length == 0.0:
        return None
    # Tips end anywhere: the crown is as far as people's is, or as the tip if that is further.
    return np.asarray(
        up / length * max(length if tip is not None else 0.0, _CROWN * build.stature_m)
    )
