"""Capsules of trunk, neck and head.

Trunk and head are not round: a circle of the chest's girth stands 40 mm proud of the breast bone.
A stadium of two parallel capsules has the breadth and the depth.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from kinelint.anatomy.girths import section_ratio, trunk_ratio
from kinelint.anatomy.parts import SIDES
from kinelint.anatomy.volume_build import Bone, Build, unit
from kinelint.kinematics.arrays import Floats

# Of chest depth: a joint further behind its middle would lie outside the back.
_MOST_BEHIND = 0.45
# The crotch lies this far below the hip joints, by stature (from memory, about 80 mm).
_CROTCH_RATIO = 0.045
_CROWN = 0.086  # head joint to crown by stature, common practice, no source


def _across(build: Build, parts: tuple[str, ...]) -> Floats | None:
    """Unit vector from the right to the left joint of the first of `parts` that lie apart."""
    for part in parts:
        left, right = build.joint(f"left_{part}"), build.joint(f"right_{part}")
        if left is not None and right is not None:
            apart = build.place(left) - build.place(right)
            if np.linalg.norm(apart) > 0.01 * build.stature_m:
                return np.asarray(apart / np.linalg.norm(apart))
    return None


def trunk(build: Build) -> Iterator[Bone]:
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
    if along[-1] == 0.0:
        return
    shifts = [np.zeros(3), *_shifts(build, [part for part, _ in steps[1:]], points[-1], neck)]
    holders = [pelvis, *(build.rest.holder(joint) for _, joint in steps[1:])]
    holders.append(build.rest.holder(neck))
    for i, (part, joint) in enumerate(steps):
        height = float(along[i] + along[i + 1]) / 2.0 / float(along[-1])
        # From the hips upwards the trunk is as broad as the shoulders of this skeleton let it.
        wide = 1.0 + (build.shoulders_ratio - 1.0) * min(height / 0.5, 1.0)
        halves = build.section(part, trunk_ratio(height, build.sex), wide)
        beyond = along[i : i + 2] + min(halves) - along[-1]
        # A skin's or a policy's radius is about the joints: only the survey's depth moves.
        share = 1.0 if build.origin(part) == "girth" else 0.0
        low_point, high_point = (points[j] + share * shifts[j] for j in (i, i + 1))
        ends = _trunk_ends(build, low_point, high_point, min(halves), beyond, first=i == 0)
        # The abdomen's ends follow its neighbours: nothing of its own tells its sides.
        low = holders[i] if i <= 1 else joint
        middle = i == 1 and i + 1 < len(steps)
        high = steps[i + 1][1] if middle else holders[i + 1]
        lines = hip_line if i <= 1 else shoulder_line, shoulder_line if i else hip_line
        yield from _stadium(build, part, ends, (low, high), halves, lines)


def _shifts(build: Build, parts: list[str], top: Floats, neck: int) -> list[Floats]:
    """How far each level above the hips lies in front of its joint."""
    most_m = _MOST_BEHIND * 2.0 * build.halves(section_ratio("chest", build.sex))[1]
    shifts = [build.forward_shift(part, most_m) for part in parts]
    if not np.array_equal(top, build.place(neck)):
        return [*shifts, np.zeros(3)]  # it is the middle of the shoulders
    return [*shifts, build.forward_shift("neck" if build.joint("neck") == neck else "head", most_m)]


def _trunk_ends(
    build: Build, start: Floats, end: Floats, radius: float, beyond: Floats, *, first: bool
) -> tuple[Floats, Floats]:
    """Ends so far inside the section that no ball reaches below the crotch or past the neck.

    Args:
        build: what it is built from.
        start: lower end of the section.
        end: upper end of the section.
        radius: of the capsule.
        beyond: ``(2,)`` how far a ball at either end would reach past the base of the neck.
        first: whether the section ends in the crotch.
    """
    up = unit(end - start)
    length = float(np.linalg.norm(end - start))
    inset = radius - _CROTCH_RATIO * build.stature_m if first else 0.0
    low = min(max(inset, 0.0), 0.9 * length) - max(float(beyond[0]), 0.0)
    high = length - max(float(beyond[1]), 0.0)
    return start + up * min(low, high), start + up * high


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


def neck_and_head(build: Build) -> Iterator[Bone]:
    """One round neck, and a head that is longer than broad."""
    head = build.joint("head")
    chain = [*build.anatomy.joints.get("neck", ())]
    if head is None:
        return
    # A lower neck joint may hang in the chest; the last one is always a neck.
    if chain:
        radius = build.limb("neck", "neck", "neck")[0]
        yield Bone("neck", (chain[-1], np.zeros(3)), (head, np.zeros(3)), radius)
    across = _across(build, ("clavicle", "upper_arm", "thigh"))
    up = _crown(build, head, chain)
    if across is None or up is None:
        return
    forward = np.cross(across, up)
    size = float(np.linalg.norm(forward))
    if size == 0.0:
        return
    breadth, length = section_ratio("head", build.sex)
    length, breadth = build.section("head", (length, breadth), 1.0)
    base = build.place(head)
    ends = (base + _inset(up, 0.3 * breadth), base + up - _inset(up, breadth))
    lines = forward / size, forward / size
    yield from _stadium(build, "head", ends, (head, head), (length, breadth), lines)


def _crown(build: Build, head: int, chain: list[int]) -> Floats | None:
    """From the head joint to the crown, at rest."""
    tip = build.anatomy.tips.get("head")
    if tip is not None:
        up = build.place(tip) - build.place(head)
    else:
        below = chain[-1] if chain else build.rest.holder(head)
        up = build.place(head) - build.place(below)
    length = float(np.linalg.norm(up))
    if length == 0.0:
        return None
    # Tips end anywhere: the crown is as far as people's is, or as the tip if that is further.
    return np.asarray(
        up / length * max(length if tip is not None else 0.0, _CROWN * build.stature_m)
    )
