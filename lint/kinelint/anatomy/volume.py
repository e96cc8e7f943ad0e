"""Where the capsules of a body lie: those of the limbs, and all together."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kinelint.anatomy.girths import hand_ratio
from kinelint.anatomy.parts import SIDES
from kinelint.anatomy.volume_build import Bone, Build
from kinelint.anatomy.volume_trunk import neck_and_head, trunk

# Part of a limb: where it ends, its two girths, and how far down the first reaches. The calf's
# belly ends about halfway, the forearm's earlier (common practice, no source).
_LIMBS: dict[str, tuple[str, str, str, float]] = {
    "upper_arm": ("forearm", "upper arm", "upper arm", 1.0),
    "forearm": ("hand", "forearm", "wrist", 0.5),
    "thigh": ("shank", "thigh", "lower thigh", 0.5),
    "shank": ("foot", "calf", "ankle", 0.55),
    "foot": ("toes", "ball of foot", "ball of foot", 1.0),
}
# A skin whose far half is thinner than this share of its near half is given two capsules.
_TAPERS = 0.9
_HAND_RATIO = 0.108  # wrist to fingertip, de Leva 1996


def bones(build: Build) -> list[Bone]:
    """All capsules of the body, trunk first."""
    found = [*trunk(build), *neck_and_head(build)]
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
    first, second = build.limb(part, near, far)
    if share == 1.0 and second < _TAPERS * first:
        share = 0.5
    middle = (1.0 - share) * build.place(start) + share * build.place(end)
    whole = (start, np.zeros(3)), (end, np.zeros(3))
    if share == 1.0:
        yield Bone(part, *whole, first)
        return
    cut = build.rest.fixed(middle, start)
    yield Bone(part, whole[0], cut, first)
    yield Bone(part, cut, whole[1], second)


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
        skin = build.skin.get(part)
        length = 0.5 * _HAND_RATIO * build.stature_m
        if skin is not None and np.isfinite(skin.length_m):
            length = skin.length_m
        end = build.place(wrist) + along / np.linalg.norm(along) * length
    else:
        return
    thickness = build.halves(hand_ratio(build.sex))[1]
    if build.origin(part) != "girth":
        thickness = build.limb(part, "hand", "hand")[0]
    yield Bone(part, (wrist, np.zeros(3)), build.rest.fixed(end, wrist), thickness)


def _toes(build: Build, side: str) -> Iterator[Bone]:
    part = f"{side}_toes"
    start, tip = build.joint(part), build.anatomy.tips.get(part)
    if start is not None and tip is not None:
        # Toes are about half as thick as the ball (common practice, no source).
        yield Bone(
            part, (start, np.zeros(3)), (tip, np.zeros(3)), 0.5 * build.radius("ball of foot")
        )
