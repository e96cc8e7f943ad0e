"""Two-bone inverse kinematics of legs and arms on a `Rig`: the law of cosines, frame by frame."""

from __future__ import annotations

import numpy as np

from accuracy.rig import Array, Rig, turning, unit

# Near, middle and far joint's part of each limb.
LIMBS = {
    f"{side}_{limb}": tuple(f"{side}_{part}" for part in chain)
    for side in ("left", "right")
    for limb, chain in (
        ("leg", ("thigh", "shank", "foot")),
        ("arm", ("upper_arm", "forearm", "hand")),
    )
}


def has_limb(rig: Rig, limb: str) -> bool:
    if not rig.has(*LIMBS[limb]):
        return False
    try:
        rig.between(LIMBS[limb][0], LIMBS[limb][1])
        rig.between(LIMBS[limb][1], LIMBS[limb][2])
    except ValueError:
        return False
    return True


def lengths(rig: Rig, limb: str) -> tuple[float, float]:
    near, middle, far = (rig.place(part) for part in LIMBS[limb])
    upper = np.linalg.norm(middle - near, axis=1)
    lower = np.linalg.norm(far - middle, axis=1)
    return float(np.median(upper)), float(np.median(lower))


def bend_normal(rig: Rig, limb: str) -> Array | None:
    """``(frames, 3)`` the axis about which the limb bends, at right angles to its near segment.

    The mean normal of the clear bends (over 20 deg), carried by the near segment. Legs that never
    bend so far take the line of the hips.
    """
    near, middle, far = (rig.place(part) for part in LIMBS[limb])
    upper, lower = unit(middle - near), unit(far - middle)
    normal = np.cross(upper, lower)
    clear = np.linalg.norm(normal, axis=1) > np.sin(np.radians(20.0))
    carrier = rig.turns[rig.joint(LIMBS[limb][0])]
    if clear.mean() >= 0.05:
        mean = carrier[clear].inv().apply(unit(normal[clear])).mean(axis=0)
        if np.linalg.norm(mean) < 0.8:
            return None
        axis = carrier.apply(mean)
    elif limb.endswith("leg"):
        axis = rig.place("left_thigh") - rig.place("right_thigh")
    else:
        return None
    return unit(axis - np.sum(axis * upper, axis=1, keepdims=True) * upper)


def flexion_deg(rig: Rig, limb: str, normal: Array) -> Array:
    """``(frames,)`` signed bend of the middle joint about the normal."""
    near, middle, far = (rig.place(part) for part in LIMBS[limb])
    upper, lower = unit(middle - near), unit(far - middle)
    sine = np.sum(np.cross(upper, lower) * normal, axis=1)
    return np.degrees(np.arctan2(sine, np.sum(upper * lower, axis=1)))


def reach_m(rig: Rig, limb: str, target: Array) -> float:
    """By how much the limb is too short for its far joint to be at ``(frames, 3)``."""
    away = np.linalg.norm(target - rig.place(LIMBS[limb][0]), axis=1)
    return float(np.max(away - 0.9995 * sum(lengths(rig, limb))))


def solve(rig: Rig, limb: str, target: Array, active: Array, bend_deg: Array | None = None) -> None:
    """Puts the far joint of a limb at `target`; the foot or hand keeps its orientation.

    Args:
        rig: is changed.
        limb: "left_leg", ….
        target: ``(frames, 3)``.
        active: ``(frames,)`` true where anything is to change.
        bend_deg: ``(frames,)`` signed bend that the middle joint must have instead: then the far
            joint comes as near to the target as that bend allows, along the line from the near
            joint to it.
    """
    near, middle, far = LIMBS[limb]
    a, b = lengths(rig, limb)
    start, knee, end = rig.place(near), rig.place(middle), rig.place(far)
    normal = bend_normal(rig, limb)
    own = np.cross(unit(knee - start), unit(end - knee))
    bent = np.linalg.norm(own, axis=1) > np.sin(np.radians(8.0))
    plane = np.where(bent[:, None], unit(own), own if normal is None else normal)
    if normal is not None:
        # A limb that is bent the wrong way already keeps its plane, not its sign.
        plane = plane * np.where(np.sum(plane * normal, axis=1) < 0, -1.0, 1.0)[:, None]
    line = unit(target - start)
    plane = unit(plane - np.sum(plane * line, axis=1, keepdims=True) * line)
    away = np.clip(np.linalg.norm(target - start, axis=1), abs(a - b) + 1e-6, (a + b) - 1e-9)
    sign = np.ones(len(away))
    if bend_deg is not None:
        bend = np.radians(bend_deg)
        away = np.sqrt(a * a + b * b + 2.0 * a * b * np.cos(bend))
        sign = np.where(bend < 0, -1.0, 1.0)
    cosine = np.clip((a * a + away * away - b * b) / (2.0 * a * away), -1.0, 1.0)
    # The knee goes to the side from which the shank comes back about +normal.
    out = np.cross(line, plane) * sign[:, None]
    new_knee = start + a * (cosine[:, None] * line + np.sqrt(1.0 - cosine**2)[:, None] * out)
    new_end = start + away[:, None] * line
    still = ~active[:, None]
    new_knee, new_end = np.where(still, knee, new_knee), np.where(still, end, new_end)
    first = turning(knee - start, new_knee - start)
    second = turning(end - knee, new_end - new_knee)
    wanted = {joint: first * rig.turns[joint] for joint in rig.between(near, middle)}
    wanted |= {joint: second * rig.turns[joint] for joint in rig.between(middle, far)}
    wanted[rig.joint(far)] = rig.turns[rig.joint(far)]
    rig.turn_to(wanted)
