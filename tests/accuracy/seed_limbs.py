"""Stretched shins and forearms, and knees and elbows that bend the wrong way."""

from __future__ import annotations

import numpy as np

from accuracy.rig import Rig, min_jerk
from accuracy.seed import Seed, arm_parts, leg_parts
from accuracy.two_bones import LIMBS, bend_normal, flexion_deg, has_limb, solve
from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip

EASE_S = 0.12


def _span(
    clip: Clip, chance: np.random.Generator, holds_s: float
) -> tuple[float, float, np.ndarray] | None:
    """Times of full size, and the weight over frames: eased in and out, within the clip."""
    whole = clip.duration_s
    if whole < holds_s + 2.0 * EASE_S + 0.1:
        return None
    start = float(chance.uniform(0.05, whole - holds_s - 2.0 * EASE_S - 0.05))
    first, last = start + EASE_S, start + EASE_S + holds_s
    times = clip.times_s
    weight = min_jerk((times - start) / EASE_S) * (1.0 - min_jerk((times - last) / EASE_S))
    return first, last, weight


def stretched(
    clip: Clip,
    figure: Figure,
    side: str,
    percent: float,
    chance: np.random.Generator,
    limb: str = "leg",
) -> Seed | None:
    """The shin (or forearm) grows or shrinks: its far joint is keyed along it."""
    rig = Rig.of(clip, figure)
    span = _span(clip, chance, float(chance.uniform(0.1, 0.5)))
    if span is None or not has_limb(rig, f"{side}_{limb}"):
        return None
    first, last, weight = span
    _, middle, far = LIMBS[f"{side}_{limb}"]
    sign = 1.0 if chance.random() < 0.7 else -1.0
    along = [*rig.between(middle, far)[1:], rig.joint(far)]
    whole = sum(np.linalg.norm(rig.shift[joint], axis=1) for joint in along)
    share = whole / np.linalg.norm(rig.shift[along[-1]], axis=1)
    rig.shift[along[-1]] *= (1.0 + 0.01 * sign * percent * share * weight)[:, None]
    rig.moved.add(along[-1])
    rig.forward()
    parts = leg_parts(side) if limb == "leg" else arm_parts(side)
    kind = "stretched shin" if limb == "leg" else "stretched forearm"
    return Seed(
        kind, "limb-stretch", (middle,), rig.made(), first, last, sign * percent, "percent", parts,
        detail=f"{side}, {first:.2f}-{last:.2f} s", ease_s=EASE_S,
    )  # fmt: skip


def hyperextended(
    clip: Clip,
    figure: Figure,
    side: str,
    degrees: float,
    chance: np.random.Generator,
    limb: str = "leg",
    keeps_end: bool = False,
) -> Seed | None:
    """The knee (or elbow) bends the wrong way: the shank turns, or the foot stays (nearly)."""
    rig = Rig.of(clip, figure)
    span = _span(clip, chance, float(chance.uniform(0.1, 0.3)))
    if span is None or not has_limb(rig, f"{side}_{limb}"):
        return None
    first, last, weight = span
    name = f"{side}_{limb}"
    normal = bend_normal(rig, name)
    if normal is None:
        return None
    _, middle, far = LIMBS[name]
    now = flexion_deg(rig, name, normal)
    wanted = (1.0 - weight) * now - weight * degrees
    if keeps_end:
        solve(rig, name, rig.place(far).copy(), weight > 0.0, bend_deg=wanted)
    else:
        _turn_lower(rig, name, normal, np.radians(wanted - now))
    parts = leg_parts(side) if limb == "leg" else arm_parts(side)
    kind = ("hyperextended knee" if limb == "leg" else "hyperextended elbow") + (
        ", foot stays" if keeps_end else ""
    )
    return Seed(
        kind, "joint-limit", (middle,), rig.made(), first, last, degrees, "deg", parts,
        detail=f"{side}, {first:.2f}-{last:.2f} s, bend was {now[weight > 0.9].mean():.0f} deg",
        ease_s=EASE_S, from_size=-float(now[weight > 0.9].mean()),
    )  # fmt: skip


def _turn_lower(rig: Rig, limb: str, normal: np.ndarray, angle: np.ndarray) -> None:
    from scipy.spatial.transform import Rotation

    _, middle, far = LIMBS[limb]
    turn = Rotation.from_rotvec(normal * angle[:, None])
    rig.turn_to({joint: turn * rig.turns[joint] for joint in rig.between(middle, far)})
