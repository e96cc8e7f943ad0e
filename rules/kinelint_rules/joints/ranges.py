"""Every range that `joint-limit` holds joints to."""

from __future__ import annotations

from kinelint_rules.joints.arms import ARMS
from kinelint_rules.joints.hands import HANDS
from kinelint_rules.joints.legs import LEGS
from kinelint_rules.joints.range import Range
from kinelint_rules.joints.trunk import TRUNK

RANGES: tuple[Range, ...] = (*LEGS, *TRUNK, *ARMS, *HANDS)
