"""The centre of mass, from the published masses of the body's segments.

de Leva P (1996), Adjustments to Zatsiorsky-Seluyanov's segment inertia parameters, J Biomech
29(9):1223-1230, men. Women's differ by up to 2 percent of the body's mass in one segment; what
lies between is small against the error of a joint's place.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.errors import NotApplicable
from kinelint.kinematics.arrays import Floats, frozen
from kinelint.motion import Motion

# Segment: (share of mass, where its centre lies on the way from its first joint to its last).
# Trunk from the middle of the shoulders to the middle of the hips, its centre moved there from
# suprasternale (531.9 mm to mid hip, centre at 0.4486) by the 16.4 mm between the two.
TRUNK = (0.4346, (0.4486 * 531.9 - 16.4) / 515.5)
HEAD = 0.0694
LIMBS = {
    "upper_arm": (0.0271, 0.5772, "forearm"),
    "forearm": (0.0162, 0.4574, "hand"),
    "thigh": (0.1416, 0.4095, "shank"),
    "shank": (0.0433, 0.4395, "foot"),
}
HAND, HAND_REACH = 0.0061, 0.79 * 86.2 / 268.9
FOOT, FOOT_REACH = 0.0137, 0.5
# The head's centre over the neck's joint, of the trunk's length: vertex to centre 0.5976 of
# 203.3 mm, C7 242.9 mm under the vertex.
HEAD_OVER_TRUNK = (242.9 - 0.5976 * 203.3) / 515.5


@dataclass(frozen=True, eq=False)
class Mass:
    """Where the body's mass is.

    Attributes:
        centre_m: ``(3, frames)`` in the world.
        judged: share of the body's mass whose segments were found; what is missing was left out.
    """

    centre_m: Floats
    judged: float


def mass(motion: Motion) -> Mass:
    """The centre of mass of the segments that the skeleton shows.

    Raises:
        NotApplicable: trunk or legs cannot be told, so that more than a quarter is missing.
    """
    rows = [*_trunk_and_head(motion), *_limbs(motion)]
    total = sum(share for share, _ in rows)
    if total < 0.75:
        raise NotApplicable("too little of the body was recognised to tell its centre of mass")
    centre = sum(share * at for share, at in rows) / total
    return Mass(frozen(np.asarray(centre)), float(min(total, 1.0)))


def _at(motion: Motion, part: str) -> Floats | None:
    joints = motion.figure.anatomy.joints.get(part)
    return motion.positions_m[joints[0]] if joints else None


def _middle(motion: Motion, part: str) -> Floats | None:
    left, right = _at(motion, f"left_{part}"), _at(motion, f"right_{part}")
    return None if left is None or right is None else (left + right) / 2.0


def _trunk_and_head(motion: Motion) -> list[tuple[float, Floats]]:
    shoulders, hips = _middle(motion, "upper_arm"), _middle(motion, "thigh")
    if shoulders is None or hips is None:
        return []
    share, way = TRUNK
    rows = [(share, shoulders + way * (hips - shoulders))]
    neck, head = _at(motion, "neck"), _at(motion, "head")
    base = shoulders if neck is None else neck
    along = base - hips if head is None or head is base else head - base
    length = np.linalg.norm(along, axis=0, keepdims=True)
    # A head joint on top of the neck's gives no direction: the trunk's is taken.
    trunk = shoulders - hips
    flat = length < 1e-3 * np.linalg.norm(trunk, axis=0, keepdims=True)
    along = np.where(flat, trunk, along)
    along = along / np.maximum(np.linalg.norm(along, axis=0, keepdims=True), 1e-9)
    reach = HEAD_OVER_TRUNK * float(np.median(np.linalg.norm(trunk, axis=0)))
    rows.append((HEAD, base + reach * along))
    return rows


def _limbs(motion: Motion) -> list[tuple[float, Floats]]:
    rows = []
    for side in ("left", "right"):
        for part, (share, way, end) in LIMBS.items():
            first, last = _at(motion, f"{side}_{part}"), _at(motion, f"{side}_{end}")
            if first is not None and last is not None:
                rows.append((share, first + way * (last - first)))
        elbow, wrist = _at(motion, f"{side}_forearm"), _at(motion, f"{side}_hand")
        if elbow is not None and wrist is not None:
            rows.append((HAND, wrist + HAND_REACH * (wrist - elbow)))
        ankle, toes = _at(motion, f"{side}_foot"), _at(motion, f"{side}_toes")
        if ankle is not None:
            rows.append((FOOT, ankle if toes is None else ankle + FOOT_REACH * (toes - ankle)))
    return rows
