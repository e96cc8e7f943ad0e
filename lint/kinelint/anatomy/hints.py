"""What a policy says of a body, as plain values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

# Girths are taken round flesh that gives way where limbs touch. Measured on open recordings and
# pushed arms: at 0.85 no clean walk has a finding, but overlaps read 18 mm shallow and half of
# those of 30 mm are missed; at 1 every swing of an arm brushes the trunk.
GIRTH_RATIO = 0.95


@dataclass(frozen=True)
class BodyHints:
    """What people know of a body that its files do not say. All may be left out.

    Attributes:
        metres_per_unit: length of one file unit.
        up_axis: "x", "y" or "z", with "-" before it if the axis points down.
        stature_m: standing height of the figure or performer.
        sex: "male" or "female", for girths and joint ranges; None stands for both.
        age: "child", "youth", "adult", "older", or years.
        parts: part to the name of its joint, where recognition is to be overruled.
        girth_ratio: share of the published girths that the body's volume is given.
        radii_mm: part to the radius of its capsules, where girths and skin are to be overruled.
    """

    metres_per_unit: float | None = None
    up_axis: str | None = None
    stature_m: float | None = None
    sex: str | None = None
    age: str | float | None = None
    parts: Mapping[str, str] = field(default_factory=dict)
    girth_ratio: float = GIRTH_RATIO
    radii_mm: Mapping[str, float] = field(default_factory=dict)
