"""What the capsules of a body are built from: parts, a rest pose, and thicknesses."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.girths import radius_ratio
from kinelint.anatomy.mid_depth import levels, mid_depths
from kinelint.anatomy.parts import SIDES
from kinelint.anatomy.skin_fit import Thickness
from kinelint.clip import Skeleton
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.forward import forward, forward_scaled

# Between the shoulder joints: biacromial breadth .2306 of stature (ANSUR II, mean of men and women)
# less about 15 mm a side (from memory).
_SHOULDERS_RATIO = 0.21


@dataclass(frozen=True)
class RestPose:
    """The rest pose of a skeleton in metres, Y up: ``(joints, 3)`` and ``(joints, 4)``."""

    skeleton: Skeleton
    positions_m: Floats
    orientations: Floats

    @classmethod
    def of(cls, skeleton: Skeleton, metres_per_unit: float, to_y_up: Floats) -> RestPose:
        """Laid out from the rest translations and rotations."""
        none, nowhere = np.empty(0, dtype=np.intp), np.empty((0, 3, 1))
        moved = (
            skeleton.parents,
            skeleton.rest_rotations[..., None],
            skeleton.rest_translations,
            none,
            nowhere,
        )
        if np.any(skeleton.rest_scales != 1.0):
            positions, orientations = forward_scaled(*moved, skeleton.rest_scales, none, nowhere)
        else:
            positions, orientations = forward(*moved)
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


def unit(vector: Floats) -> Floats:
    """At length 1; a vector of length 0 stays."""
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
    skin: Mapping[str, Thickness] = field(default_factory=dict)
    radii_m: Mapping[str, float] = field(default_factory=dict)
    mid_depths_m: Mapping[str, Floats] = field(default_factory=dict)

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
        up = unit(arm + other_arm - hip - other_hip)
        hips, shoulders = unit(hip - other_hip), unit(arm - other_arm)
        legs = unit(foot + other_foot - hip - other_hip)
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

    def forward_shift(self, part: str, most_m: float) -> Floats:
        """``(3,)`` at rest, from the spine joint of a part forward to the trunk's mid-depth."""
        rest = self.rest
        parents, ways = rest.skeleton.parents, self.mid_depths_m
        if not ways and self.rest_is_plausible:
            pose = rest.positions_m[..., None], rest.orientations[..., None]
            ways = mid_depths(*pose, self.anatomy, parents)
        way = ways.get(part)
        if way is None:
            return np.zeros(3)
        length = float(np.linalg.norm(way))
        way = way * (min(length, most_m) / length) if length > 0.0 else way
        holder = levels(self.anatomy, parents)[part][1]
        return np.asarray(rotations.rotate(self.turn(holder), way[:, None])[:, 0])

    def joint(self, part: str) -> int | None:
        """The part's proximal joint."""
        joints = self.anatomy.joints.get(part)
        return joints[0] if joints else None

    def place(self, joint: int) -> Floats:
        """The joint's place at rest."""
        return np.asarray(self.rest.positions_m[joint])

    def turn(self, joint: int) -> Floats:
        """``(4, 1)`` the joint's orientation at rest."""
        return np.asarray(self.rest.orientations[joint][:, None])

    def limb(self, part: str, near: str, far: str) -> tuple[float, float]:
        """Radii of a limb's near and far half: the policy's, else its skin's, else by girths."""
        if part in self.radii_m:
            return self.radii_m[part], self.radii_m[part]
        skin = self.skin.get(part)
        if skin is not None:
            return skin.first_m, skin.second_m
        # Girths are taken at the thickest and thinnest place: each half has the mean of its half.
        thick, thin = self.radius(near), self.radius(far)
        return 0.75 * thick + 0.25 * thin, 0.25 * thick + 0.75 * thin

    def section(self, part: str, ratios: tuple[float, float], wide: float) -> tuple[float, float]:
        """Half breadth and half depth of trunk or head; `wide` scales the breadth by girths."""
        skin = self.skin.get(part)
        if skin is not None:
            halves = skin.first_m, skin.second_m
        else:
            breadth, depth = self.halves(ratios)
            halves = breadth * wide, depth
        radius = self.radii_m.get(part)
        if radius is None:
            return halves
        return max(halves[0] - halves[1], 0.0) + radius, radius

    def origin(self, part: str) -> str:
        """Where the part's radius comes from: "policy", "skin" or "girth"."""
        return "policy" if part in self.radii_m else "skin" if part in self.skin else "girth"

    def radius(self, girth: str) -> float:
        """Radius of a round limb in metres, at the build's share of the girth."""
        return radius_ratio(girth, self.sex) * self.stature_m * self.girth_ratio

    def halves(self, ratios: tuple[float, float]) -> tuple[float, float]:
        """Half breadth and half depth in metres, at the build's share."""
        breadth, depth = (ratio * self.stature_m * self.girth_ratio for ratio in ratios)
        return breadth, depth
