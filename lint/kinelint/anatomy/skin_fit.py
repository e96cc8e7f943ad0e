"""How thick a figure's own skin is, part by part, from its vertices at the bind pose."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from kinelint.anatomy.anatomy import Anatomy
from kinelint.clip import Skeleton, Skin
from kinelint.kinematics.arrays import Bools, Floats, Ints

FEWEST_VERTICES = 6
_FARTHEST = 0.97  # vertices at this share of the greatest distance end a limb
# Limb and the part that ends it; sections of trunk and head with the joints that give their side.
LIMBS: Mapping[str, str] = {
    "upper_arm": "forearm",
    "forearm": "hand",
    "hand": "",
    "thigh": "shank",
    "shank": "foot",
    "foot": "toes",
    "toes": "",
}
SECTIONS: Mapping[str, tuple[str, str]] = {
    "pelvis": ("abdomen", "thigh"),
    "abdomen": ("thorax", "thigh"),
    "thorax": ("neck", "upper_arm"),
    "head": ("", "upper_arm"),
}


@dataclass(frozen=True)
class Thickness:
    """Of one part, in metres: a limb's radius in its near and far half, or a section's halves.

    For the trunk, `first_m` is half the breadth and `second_m` half the depth; for the head half
    the length from face to back, and half the breadth. `length_m` is that of a limb which no
    joint ends, from its joint to its farthest vertices; NaN for other parts.
    """

    first_m: float
    second_m: float
    length_m: float = float("nan")


def measured(
    skins: Sequence[Skin], skeleton: Skeleton, anatomy: Anatomy, rest_positions_m: Floats
) -> dict[str, Thickness]:
    """Thickness of every part that has enough vertices of its own.

    Args:
        skins: bound to the skeleton's joints.
        skeleton: whose joints they are.
        anatomy: its parts.
        rest_positions_m: ``(joints, 3)``, which give the scale of the skin's unit.
    """
    cloud = cloud_of(skins, skeleton, anatomy, rest_positions_m)
    if cloud is None:
        return {}
    found: dict[str, Thickness] = {}
    for side in ("left", "right"):
        for part, end in LIMBS.items():
            name = f"{side}_{part}"
            thickness = _limb(cloud, anatomy, name, f"{side}_{end}" if end else "")
            if thickness is not None:
                found[name] = thickness
        for part, end in LIMBS.items():
            _narrow(cloud, anatomy, found, f"{side}_{part}", f"{side}_{end}")
    for part, (end, across) in SECTIONS.items():
        thickness = _section(cloud, anatomy, part, end, across)
        if thickness is not None:
            found[part] = thickness
    neck = _limb(cloud, anatomy, "neck", "head")
    if neck is not None:
        found["neck"] = neck
    return found


@dataclass(frozen=True)
class Cloud:
    """Vertices and joints at the bind pose in metres, and the part that each vertex is of."""

    vertices_m: Floats
    parts: tuple[str, ...]
    part: Ints
    joints_m: Floats

    def of(self, part: str) -> Floats:
        """``(n, 3)`` the vertices of a part."""
        if part not in self.parts:
            return np.empty((0, 3))
        return np.asarray(self.vertices_m[self.part == self.parts.index(part)])

    def joint(self, anatomy: Anatomy, part: str, place: int = 0) -> Floats | None:
        """``(3,)`` a joint of a part; None if the part has none or no skin binds it."""
        joints = anatomy.joints.get(part)
        if not joints:
            return None
        at = self.joints_m[joints[place]]
        return at if np.all(np.isfinite(at)) else None


def cloud_of(
    skins: Sequence[Skin], skeleton: Skeleton, anatomy: Anatomy, rest_positions_m: Floats
) -> Cloud | None:
    """The vertices of all skins; None if there are none, or their scale cannot be told."""
    usable = [skin for skin in skins if len(skin.vertices)]
    if not usable:
        return None
    joints = np.full((len(skeleton), 3), np.nan)
    for skin in usable:
        bound = np.isfinite(skin.bind_positions).all(axis=1) & np.isnan(joints[:, 0])
        joints[bound] = skin.bind_positions[bound]
    scale = scale_of(joints, skeleton, rest_positions_m)
    if scale is None:
        return None
    owner = owners(skeleton, anatomy)
    names = tuple(sorted(set(owner.values())))
    code = np.full(len(skeleton), -1, dtype=np.intp)
    for joint, part in owner.items():
        code[joint] = names.index(part)
    heaviest = [
        np.take_along_axis(skin.joints, skin.weights.argmax(axis=1)[:, None], axis=1)[:, 0]
        for skin in usable
    ]
    vertices = np.concatenate([skin.vertices for skin in usable]) * scale
    return Cloud(vertices, names, code[np.concatenate(heaviest)], joints * scale)


def scale_of(joints: Floats, skeleton: Skeleton, rest_positions_m: Floats) -> float | None:
    """Metres per unit of the skin, from the bones that both poses have."""
    child = np.flatnonzero(skeleton.parents >= 0)
    parent = skeleton.parents[child]
    bind = np.linalg.norm(joints[child] - joints[parent], axis=1)
    rest = np.linalg.norm(rest_positions_m[child] - rest_positions_m[parent], axis=1)
    both: Bools = np.isfinite(bind) & (bind > 1e-9) & (rest > 1e-9)
    return float(np.median(rest[both] / bind[both])) if both.any() else None


def owners(skeleton: Skeleton, anatomy: Anatomy) -> dict[int, str]:
    """Joint to part; joints between recognised ones count to the part above, props do not."""
    part_of = dict(anatomy.part_of)
    carries = np.zeros(len(skeleton), dtype=bool)
    for joint in range(len(skeleton) - 1, -1, -1):
        carries[joint] |= joint in part_of
        parent = int(skeleton.parents[joint])
        if parent >= 0:
            carries[parent] |= carries[joint]
    for joint in range(len(skeleton)):
        above = part_of.get(int(skeleton.parents[joint]))
        if joint not in part_of and carries[joint] and above is not None:
            part_of[joint] = above
    return part_of


def _limb(cloud: Cloud, anatomy: Anatomy, part: str, end: str) -> Thickness | None:
    vertices = cloud.of(part)
    start, stop = cloud.joint(anatomy, part), cloud.joint(anatomy, end) if end else None
    if start is None or len(vertices) < FEWEST_VERTICES:
        return None
    tip = anatomy.tips.get(part)
    if stop is None and tip is not None and np.all(np.isfinite(cloud.joints_m[tip])):
        stop = cloud.joints_m[tip]
    length = float("nan")
    if stop is None:
        # A limb without an end joint runs to its farthest vertices.
        away = np.linalg.norm(vertices - start, axis=1)
        stop = vertices[away >= _FARTHEST * away.max()].mean(axis=0)
        length = float(np.linalg.norm(stop - start))
    along = stop - start
    square = float(along @ along)
    if square == 0.0:
        return None
    share = np.clip((vertices - start) @ along / square, 0.0, 1.0)
    distance = np.linalg.norm(vertices - start - share[:, None] * along, axis=1)
    near, far_half = distance[share <= 0.5], distance[share >= 0.5]
    whole = float(np.median(distance))
    halves = [
        float(np.median(one)) if len(one) >= FEWEST_VERTICES else whole for one in (near, far_half)
    ]
    return Thickness(halves[0], halves[1], length)


def _narrow(
    cloud: Cloud, anatomy: Anatomy, found: dict[str, Thickness], part: str, end: str
) -> None:
    """A coarse skin may have no vertex on a limb's far half: it goes evenly over into the next."""
    start, stop = cloud.joint(anatomy, part), cloud.joint(anatomy, end)
    if part not in found or end not in found or start is None or stop is None:
        return
    along = stop - start
    if np.any((cloud.of(part) - start) @ along > 0.5 * float(along @ along)):
        return
    near_m = found[part].first_m
    found[part] = replace(found[part], second_m=0.25 * near_m + 0.75 * found[end].first_m)


def _section(cloud: Cloud, anatomy: Anatomy, part: str, end: str, across: str) -> Thickness | None:
    vertices = cloud.of(part)
    left = cloud.joint(anatomy, f"left_{across}")
    right = cloud.joint(anatomy, f"right_{across}")
    start = cloud.joint(anatomy, part)
    if start is None or left is None or right is None or len(vertices) < FEWEST_VERTICES:
        return None
    line = (left - right) / max(float(np.linalg.norm(left - right)), 1e-9)
    stop = cloud.joint(anatomy, end) if end else None
    up = (vertices.mean(axis=0) if stop is None else stop) - start
    forward = np.cross(line, up)
    size = float(np.linalg.norm(forward))
    if size < 1e-9:
        return None
    sideways = float(np.percentile(np.abs((vertices - start) @ line), 95))
    depths = (vertices - start) @ (forward / size)
    # The spine may run behind the middle: half of what lies between front and back.
    low, high = np.percentile(depths, [2, 98])
    deep = float(high - low) / 2.0
    return Thickness(deep, sideways) if part == "head" else Thickness(sideways, deep)
