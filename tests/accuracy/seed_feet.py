"""Slid feet and feet under the floor, by inverse kinematics of the legs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from accuracy.rig import Array, Rig, min_jerk
from accuracy.seed import Seed, leg_parts
from accuracy.stances import Stance, stances
from accuracy.two_bones import has_limb, lengths, solve
from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip

# The pelvis may be lowered by this much, both feet kept where they are, for a leg to reach.
LOWER_M = 0.10
# A foot goes down, or comes up, within this time.
DIP_S = 0.1


def _other(side: str) -> str:
    return "right" if side == "left" else "left"


def displaced(rig: Rig, side: str, by: Array) -> bool:
    """Moves a foot by ``(frames, 3)``, the pelvis down as far as that needs; false if it cannot."""
    size = np.linalg.norm(by, axis=1)
    active = size > 0.0
    other = _other(side)
    target, kept = rig.place(f"{side}_foot") + by, rig.place(f"{other}_foot").copy()
    longest = 0.9995 * sum(lengths(rig, f"{side}_leg"))
    for lower in np.arange(0.0, LOWER_M, 0.005):
        drop = np.outer(size / size.max(), [0.0, -lower, 0.0])
        away = np.linalg.norm(target - rig.place(f"{side}_thigh") - drop, axis=1)
        if np.max(np.where(active, away, 0.0)) <= longest:
            break
    else:
        return False
    if lower > 0.0:
        rig.move_root(drop)
        solve(rig, f"{other}_leg", kept, active)
    solve(rig, f"{side}_leg", target, active)
    return bool(np.abs(rig.place(f"{side}_foot") - target).max() < 0.002)


def _chosen(rig: Rig, side: str, chance: np.random.Generator) -> Stance | None:
    if not (has_limb(rig, "left_leg") and has_limb(rig, "right_leg")):
        return None
    end = rig.clip.duration_s
    found = [
        one
        for one in stances(rig, side)
        if one.off_s - one.flat_s[0] >= 0.3
        # It swings long enough to come back in the air, or it stays to the end of the clip.
        and (one.back_s - one.off_s >= 0.2 or one.off_s >= end - 0.05)
    ]
    return found[int(chance.integers(len(found)))] if found else None


def slid_foot(
    clip: Clip, figure: Figure, side: str, size_mm: float, chance: np.random.Generator
) -> Seed | None:
    """The foot slides in the middle of a stance, and stays off until it swings."""
    rig = Rig.of(clip, figure)
    stance = _chosen(rig, side, chance)
    if stance is None:
        return None
    flat = stance.flat_s[1] - stance.flat_s[0]
    takes = min(float(chance.uniform(0.12, 0.3)), 0.5 * flat)
    # Off the ends of the flat foot: coming down and rolling off are no slides.
    margin = min(0.1, 0.25 * flat)
    start = float(chance.uniform(stance.flat_s[0] + margin, stance.flat_s[1] - takes - 0.02))
    start = max(start, stance.flat_s[0] + 0.02)
    angle = float(chance.uniform(0.0, 2.0 * np.pi))
    weight = min_jerk((rig.times - start) / takes)
    if stance.back_s > stance.off_s:
        # Back to its place in mid-air.
        swing = stance.back_s - stance.off_s
        back = (rig.times - stance.off_s - 0.25 * swing) / (0.6 * swing)
        weight = weight * (1.0 - min_jerk(back))
    way = np.array([np.cos(angle), 0.0, np.sin(angle)])
    if not displaced(rig, side, 0.001 * size_mm * weight[:, None] * way):
        return None
    return Seed(
        "slid foot",
        "foot-slide",
        (f"{side}_foot",),
        rig.made(),
        start + 0.2 * takes,
        start + 0.8 * takes,
        size_mm,
        "mm",
        leg_parts("left") + leg_parts("right"),
        detail=f"{side}, {takes:.2f} s long, at {np.degrees(angle):.0f} deg, stance "
        f"{stance.flat_s[0]:.2f}-{stance.off_s:.2f}",
    )


@dataclass(frozen=True)
class _Dip:
    """How much of a depth a foot has over the frames, and from when to when it has all of it."""

    weight: Array
    first_s: float
    last_s: float
    detail: str


def _dip(rig: Rig, stance: Stance, chance: np.random.Generator) -> _Dip:
    """Down within 0.1 s, a while, and up again, somewhere in a stance."""
    begin, end = stance.flat_s
    takes, holds = DIP_S, min(float(chance.uniform(0.12, 0.4)), max(end - begin - 0.2, 0.12))
    start = float(chance.uniform(begin, max(end - holds - takes, begin)))
    up = start + takes + holds
    weight = min_jerk((rig.times - start) / takes) * (1.0 - min_jerk((rig.times - up) / takes))
    detail = f"{stance.side}, {holds:.2f} s long, stance {begin:.2f}-{end:.2f}"
    return _Dip(weight, start + takes, up, detail)


def sunk_foot(
    clip: Clip, figure: Figure, side: str, size_mm: float, chance: np.random.Generator
) -> Seed | None:
    """The foot goes under the floor for a while as it stands."""
    rig = Rig.of(clip, figure)
    stance = _chosen(rig, side, chance)
    if stance is None:
        return None
    dip = _dip(rig, stance, chance)
    if not displaced(rig, side, -0.001 * size_mm * np.outer(dip.weight, [0.0, 1.0, 0.0])):
        return None
    return Seed(
        "foot under the floor",
        "ground-contact",
        (f"{side}_foot",),
        rig.made(),
        dip.first_s,
        dip.last_s,
        size_mm,
        "mm",
        leg_parts("left") + leg_parts("right"),
        detail=dip.detail,
        ease_s=DIP_S,
    )


def slid_root(
    clip: Clip, figure: Figure, side: str, size_mm: float, chance: np.random.Generator
) -> Seed | None:
    """The whole figure shifts as a foot stands, and goes on from there: the foot slides along."""
    rig = Rig.of(clip, figure)
    stance = _chosen(rig, side, chance)
    if stance is None:
        return None
    flat = stance.flat_s[1] - stance.flat_s[0]
    takes = min(float(chance.uniform(0.12, 0.3)), 0.5 * flat)
    start = float(chance.uniform(stance.flat_s[0] + 0.02, stance.flat_s[1] - takes - 0.02))
    angle = float(chance.uniform(0.0, 2.0 * np.pi))
    weight = min_jerk((rig.times - start) / takes)
    rig.move_root(0.001 * size_mm * np.outer(weight, [np.cos(angle), 0.0, np.sin(angle)]))
    return Seed(
        "slid foot, by the root",
        "foot-slide",
        (f"{side}_foot",),
        rig.made(),
        start + 0.2 * takes,
        start + 0.8 * takes,
        size_mm,
        "mm",
        leg_parts("left") + leg_parts("right"),
        detail=f"{side}, {takes:.2f} s long, at {np.degrees(angle):.0f} deg",
    )


def sunk_root(
    clip: Clip, figure: Figure, side: str, size_mm: float, chance: np.random.Generator
) -> Seed | None:
    """The whole figure drops as a foot stands, and comes up again."""
    rig = Rig.of(clip, figure)
    stance = _chosen(rig, side, chance)
    if stance is None:
        return None
    dip = _dip(rig, stance, chance)
    rig.move_root(-0.001 * size_mm * np.outer(dip.weight, [0.0, 1.0, 0.0]))
    return Seed(
        "foot under the floor, by the root",
        "ground-contact",
        ("left_foot", "right_foot"),
        rig.made(),
        dip.first_s,
        dip.last_s,
        size_mm,
        "mm",
        leg_parts("left") + leg_parts("right"),
        detail=dip.detail,
        ease_s=DIP_S,
    )
