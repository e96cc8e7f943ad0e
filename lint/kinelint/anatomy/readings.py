"""One joint angle over a motion, and what could not be told."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kinelint.kinematics.arrays import Floats


@dataclass(frozen=True, eq=False)
class Angle:
    """One angle of one joint.

    Attributes:
        joint: for people ("left knee").
        angle: what is measured, positive as named ("flexion", "internal rotation").
        part: the part that moves ("left_shank").
        degrees: ``(frames,)`` from the anatomical zero; NaN where the angle means nothing.
    """

    joint: str
    angle: str
    part: str
    degrees: Floats

    @property
    def name(self) -> str:
        """Joint and angle."""
        return f"{self.joint} {self.angle}"

    @cached_property
    def furthest_deg(self) -> tuple[float, float]:
        """The least and the greatest; NaN if the angle means nothing anywhere."""
        return float(np.fmin.reduce(self.degrees)), float(np.fmax.reduce(self.degrees))


@dataclass(frozen=True)
class Untold:
    """A joint whose angles could not be told, and why."""

    joint: str
    part: str
    reason: str
