"""Arms pushed into trunk or thigh by a known depth of capsules, measured here by themselves."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from accuracy.rig import Array, Rig, min_jerk, resampled
from accuracy.seed import Seed, arm_parts
from accuracy.two_bones import has_limb
from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip

EASE_S = 0.3
MOST_DEG = 75.0
ATTEMPTS = 4
TARGETS = ("pelvis", "abdomen", "thorax")


def ends(rig: Rig, frames: slice = slice(None)) -> Array:
    """``(caps, 2, frames, 3)``: the ends of every capsule."""
    caps = rig.figure.body.capsules
    rows = []
    for joints, points in zip(caps.joints, caps.offsets_m, strict=True):
        rows.append(
            [
                rig.places[int(j), frames] + rig.turns[int(j)][frames].apply(np.array(p))
                for j, p in zip(joints, points, strict=True)
            ]
        )
    return np.array(rows)


def apart(a: Array, b: Array) -> Array:
    """``(frames,)`` the least distance of segments ``(2, frames, 3)``: sampled, then projected."""
    best = np.full(a.shape[1], np.inf)
    for one, other in ((a, b), (b, a)):
        line = other[1] - other[0]
        square = np.maximum(np.sum(line * line, axis=-1), 1e-12)
        for share in np.linspace(0.0, 1.0, 25):
            point = one[0] + share * (one[1] - one[0])
            along = np.clip(np.sum((point - other[0]) * line, axis=-1) / square, 0.0, 1.0)
            nearest = other[0] + along[:, None] * line
            best = np.minimum(best, np.linalg.norm(point - nearest, axis=-1))
    return best


def depths(rig: Rig, side: str, everywhere: bool = False) -> dict[tuple[str, str], Array]:
    """Arm part and other part to ``(frames,)`` depth in mm beyond that of the rest pose.

    Against trunk and near thigh, or against everything but the arm itself.
    """
    body = rig.figure.body
    at = ends(rig)
    found: dict[tuple[str, str], Array] = {}
    for row, (i, j) in enumerate(body.pairs.tolist()):
        for one, other in ((i, j), (j, i)):
            pair = body.parts[one], body.parts[other]
            meant = pair[1] in (*TARGETS, f"{side}_thigh")
            meant |= everywhere and pair[1] not in arm_parts(side)
            if pair[0] in arm_parts(side)[1:] and meant:
                radii = body.capsules.radii_m[one] + body.capsules.radii_m[other]
                depth = radii - apart(at[one], at[other]) - body.allowed_m[row]
                old = found.get(pair, np.full(depth.shape, -np.inf))
                found[pair] = np.maximum(old, 1000.0 * depth)
    return found


def deepest(rig: Rig, side: str) -> Array:
    """``(frames,)`` depth of the deepest pair."""
    return np.max(list(depths(rig, side).values()), axis=0)


def pushed_arm(
    clip: Clip,
    figure: Figure,
    side: str,
    depth_mm: float,
    limit_mm: float,
    chance: np.random.Generator,
) -> Seed | None:
    """The upper arm turns, as seen from the chest, until forearm or hand is this deep and stays."""
    rig = Rig.of(clip, figure)
    if figure.body is None or not has_limb(rig, f"{side}_arm"):
        return None
    for _ in range(ATTEMPTS):
        holds = float(chance.uniform(0.3, 0.5))
        room = clip.duration_s - holds - 2.0 * EASE_S
        seed = None
        if room > 0.0:
            start = float(chance.uniform(0.0, room))
            seed = _pushed_at(rig, side, depth_mm, limit_mm, start, holds, chance)
        if seed is not None:
            return seed
    return None


def _pushed_at(
    rig: Rig,
    side: str,
    depth_mm: float,
    limit_mm: float,
    start: float,
    holds: float,
    chance: np.random.Generator,
) -> Seed | None:
    weight = min_jerk((rig.times - start) / EASE_S)
    weight = weight * (1.0 - min_jerk((rig.times - start - EASE_S - holds) / EASE_S))
    on = np.flatnonzero(weight > 0.0)
    part = Rig.of(rig.clip.cut(int(on[0]), int(on[-1])), rig.figure)
    # The search is made at some 20 Hz.
    coarse = Rig.of(resampled(part.clip, min(part.rate, 20.0)), rig.figure)
    if deepest(coarse, side).max() > 5.0:
        return None
    held = np.interp(coarse.times, part.times, weight[on]) > 0.9
    targets = [one for one in (*TARGETS, f"{side}_thigh") if rig.has(one)]
    for target in chance.permutation(targets):
        found = _angle(coarse, side, str(target), depth_mm, held)
        if found is not None:
            axis, degrees = found[0], np.interp(part.times, coarse.times, found[1])
            _turn(part, side, axis, degrees * weight[on])
            return _seed(rig, part, side, str(target), int(on[0]), limit_mm)
    return None


def _angle(
    rig: Rig, side: str, target: str, depth_mm: float, held: Array
) -> tuple[Array, Array] | None:
    """Axis in the chest's axes, and ``(frames,)`` degrees at which the arm is as deep as asked.

    It must be so in the `held` frames; the others take the angle of the nearest of them.
    """
    shoulder, hand = rig.joint(f"{side}_upper_arm"), rig.joint(f"{side}_hand")
    middle = rig.clip.frames // 2
    start = rig.places[shoulder, middle]
    axis = np.cross(rig.places[hand, middle] - start, _aim(rig, side, target, middle) - start)
    if np.linalg.norm(axis) < 1e-6:
        return None
    parent = rig.turns[int(rig.clip.skeleton.parents[shoulder])][middle]
    axis = parent.inv().apply(axis / np.linalg.norm(axis))
    old = rig.local[shoulder]

    def deep(degrees: Array) -> Array:
        _turn(rig, side, axis, degrees)
        found = deepest(rig, side)
        rig.local[shoulder] = old
        rig.forward()
        return found >= depth_mm

    high = np.full(rig.clip.frames, np.nan)
    for tried in np.arange(8.0, MOST_DEG, 8.0):
        crossed = deep(np.full(rig.clip.frames, tried)) & np.isnan(high)
        high[crossed] = tried
        if not np.isnan(high[held]).any():
            break
    else:
        return None
    frames = np.arange(rig.clip.frames)
    high = np.interp(frames, frames[held], high[held])
    low = high - 8.0
    for _ in range(7):
        between = 0.5 * (low + high)
        reached = deep(between)
        low, high = np.where(reached, low, between), np.where(reached, between, high)
    return axis, np.interp(frames, frames[held], high[held])


def _aim(rig: Rig, side: str, target: str, frame: int) -> Array:
    caps = [i for i, part in enumerate(rig.figure.body.parts) if part == target]
    at = ends(rig, slice(frame, frame + 1))[caps, :, 0]
    if target.endswith("thigh"):
        return at[0, 0] + 0.5 * (at[0, 1] - at[0, 0])
    return at.reshape(-1, 3).mean(axis=0)


def _turn(rig: Rig, side: str, axis: Array, degrees: Array) -> None:
    joint = rig.joint(f"{side}_upper_arm")
    rig.local[joint] = Rotation.from_rotvec(np.radians(degrees)[:, None] * axis) * rig.local[joint]
    rig.forward()


def _seed(rig: Rig, part: Rig, side: str, target: str, first: int, limit_mm: float) -> Seed | None:
    joint = rig.joint(f"{side}_upper_arm")
    quats = rig.local[joint].as_quat()
    quats[first : first + part.clip.frames] = part.local[joint].as_quat()
    rig.local[joint] = Rotation.from_quat(quats)
    found = depths(part, side, everywhere=True)
    worst = max(found, key=lambda pair: float(found[pair].max()))
    past = np.flatnonzero(np.max(list(found.values()), axis=0) > limit_mm) + first
    return Seed(
        "pushed arm",
        "penetration",
        worst,
        rig.made(),
        float(past[0]) / rig.rate,
        float(past[-1]) / rig.rate,
        float(found[worst].max()),
        "mm",
        (*arm_parts(side), *TARGETS, f"{side}_thigh"),
        detail=f"{worst[0]} into {worst[1]}, aimed at {target}",
        pairs=tuple(pair for pair in found if found[pair].max() > limit_mm),
    )
