"""Joints that stop dead while what they hang from goes on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.contacts import stance
from kinelint.anatomy.parts import side_of
from kinelint.errors import NotApplicable
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.motion import Motion
from kinelint_rules.continuity.stall_steps import (
    around_deg_per_s,
    local_steps_deg,
    long_runs,
    never_turns,
    standing,
    turned_deg,
)

_REACH_S = 0.1


@dataclass(frozen=True)
class Held:
    """A part that stands in frames `first` to `last`.

    Attributes:
        part: of the body.
        joint: its first.
        first: the frame whose pose is kept.
        last: the last that keeps it.
        turns_deg_per_s: of the part it hangs from, meanwhile.
        breaks_deg_per_s: its own, right before and after: the slower of both.
        where: "joint" if it stands against its parent, "space" if in the world.
    """

    part: str
    joint: int
    first: int
    last: int
    turns_deg_per_s: float
    breaks_deg_per_s: float
    where: str


def unused(motion: Motion) -> tuple[str, ...]:
    """Parts that never turn against their parents in the whole clip."""
    steps = motion.derive(local_steps_deg)
    return tuple(
        part
        for part, joints in motion.figure.anatomy.joints.items()
        if motion.has(part) and bool(never_turns(steps[joints[0]]))
    )


def held(
    motion: Motion, least_s: float, parent_deg_per_s: float, breaks_deg_per_s: float
) -> list[Held]:
    """Parts that stand for at least `least_s`, stop and start at once, and whose parent turns."""
    steps = motion.derive(local_steps_deg)
    rate = motion.sample_rate_hz
    least = max(round(least_s * rate), 2)
    found: list[Held] = []
    limits = (parent_deg_per_s, breaks_deg_per_s)
    for part, joints in motion.figure.anatomy.joints.items():
        joint = joints[0]
        parent = int(motion.clip.skeleton.parents[joint])
        if parent < 0 or part == "pelvis" or not motion.has(part) or _small(part):
            continue
        if never_turns(steps[joint]):
            continue
        above = motion.orientations[parent]
        for first, last in long_runs(standing(steps[joint]), least):
            one = (part, joint, first, last, "joint")
            found += _judged(steps[joint], above, one, rate, limits)
        found += _in_space(motion, part, joint, least, rate, limits)
    return found


def _small(part: str) -> bool:
    """Fingers hold what they hold, and toes hang at their stop."""
    return part[-1].isdigit() or part.endswith("toes")


def _judged(
    steps: Floats,
    above: Floats,
    one: tuple[str, int, int, int, str],
    rate: float,
    limits: tuple[float, float],
) -> list[Held]:
    part, joint, first, last, where = one
    parent = rate * float(np.mean(turned_deg(above[:, first : last + 2])))
    beside = around_deg_per_s(steps, first, last, rate, _REACH_S)
    breaks = min(beside, default=0.0)
    if parent < limits[0] or breaks < limits[1]:
        return []
    # A clip may begin with a part at rest; one that ends so may have lost its sensor for good.
    if first == 0:
        return []
    return [Held(part, joint, first, last + 1, parent, breaks, where)]


def _in_space(
    motion: Motion,
    part: str,
    joint: int,
    least: int,
    rate: float,
    limits: tuple[float, float],
) -> list[Held]:
    """Parts whose sensor is lost keep their heading in the world; planted feet do so as well."""
    steps = turned_deg(motion.orientations[joint])
    still = standing(steps)
    if np.count_nonzero(still) < least:
        return []
    if part.endswith("foot"):
        still = still & ~_planted(motion, side_of(part))[1:]
    found = []
    for first, last in long_runs(still, least):
        # What neither turns nor goes is kept in its place on purpose.
        way = motion.positions_m[joint][:, [first, last + 1]]
        gone = float(np.linalg.norm(way[:, 1] - way[:, 0]))
        if gone * rate / (last - first + 1) < 0.05:
            continue
        above = motion.orientations[int(motion.clip.skeleton.parents[joint])]
        found += _judged(steps, above, (part, joint, first, last, "space"), rate, limits)
    return found


def _planted(motion: Motion, side: str) -> Bools:
    try:
        return stance(motion, side)
    except NotApplicable:
        return np.ones(motion.frames, dtype=np.bool_)
