"""What the rules about feet share: which clips they can judge, and words for directions."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from kinelint.anatomy.parts import SIDES, label
from kinelint.errors import NotApplicable
from kinelint.finding import Level, Point, Unjudged
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion

CARRIERS = ("foot", "toes", "shank", "thigh")


def refuse(motion: Motion) -> None:
    """Additive clips and clips of the upper body alone have no feet on the ground.

    Raises:
        NotApplicable: with the reason.
    """
    cue = motion.cue
    if cue.additive:
        raise NotApplicable("the clip is additive: its feet stand nowhere by themselves")
    legs = {f"{side}_{part}" for side in SIDES for part in CARRIERS}
    if cue.only_parts and not legs & set(cue.only_parts):
        raise NotApplicable("the cue sheet says that the clip moves no part of the legs")


def unseen(motion: Motion) -> Iterator[Unjudged]:
    """One for each foot that the skeleton lacks or that was not captured."""
    for side in SIDES:
        part = f"{side}_foot"
        if motion.has(part):
            continue
        known = part in motion.figure.anatomy.joints
        why = "was not captured" if known else "was not recognised in this skeleton"
        yield Unjudged(f"the {label(part)} {why}", (part,))


def graded(value: float, note: float, warning: float, error: float) -> tuple[Level, float] | None:
    """The level of a value and the limit that it passes; None if it passes none."""
    for level, limit in ((Level.ERROR, error), (Level.WARNING, warning), (Level.NOTE, note)):
        if value > limit:
            return level, limit
    return None


def point(values: Floats) -> Point:
    """Three numbers of an array as a plain tuple."""
    return float(values[0]), float(values[1]), float(values[2])


def way_of(direction: tuple[float, float], ahead: Floats) -> str:
    """A direction over the floor in words, for one who looks along `ahead` ``(2,)`` (x, z)."""
    length = float(np.hypot(*ahead))
    if length < 1e-9:
        return "aside"
    forward = (direction[0] * ahead[0] + direction[1] * ahead[1]) / length
    # Y is up and the axes are right-handed: left of +z is +x.
    left = (direction[0] * ahead[1] - direction[1] * ahead[0]) / length
    if abs(forward) >= abs(left):
        return "forwards" if forward > 0 else "backwards"
    return "to its left" if left > 0 else "to its right"
