"""How far healthy people's joints go, from published measurements.

A limit is where 95 of 100 people stop: the mean plus 1.645 standard deviations, or a published
maximum where loads push a joint further than it goes by itself. A confidence interval of a mean
is never a limit: half of all people lie beyond it.

The ranges screen animation. They are no medical reference, and no safe range for a performer.

Marks behind a source: "seen" in the source or its abstract, "quoted" by another text that was
seen, "memory" recalled and not seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Sex: TypeAlias = Literal["any", "female", "male"]
Age: TypeAlias = Literal["any", "2-8", "9-19", "20-44", "45-69"]
# How a joint was read: a hinge from positions, or against the calibrated zero.
Basis: TypeAlias = Literal["positions", "zero"]

AGES: tuple[Age, ...] = ("2-8", "9-19", "20-44", "45-69")
# One-sided 95 % of a normal distribution.
K_SD = 1.645

SOUCIE = "Soucie et al. 2011, Haemophilia 17:500-507, passive"
BOONE = "Boone & Azen 1979, J Bone Joint Surg Am 61:756-759, active"
AAOS = "American Academy of Orthopaedic Surgeons, Joint Motion"
MERCK = "Merck Manual range-of-motion table (seen)"
EATON = "Eaton, Electronic Textbook of Hand Surgery (seen)"
MACEDO = "Macedo & Magee, women, in Norkin & White table A.1 (seen)"
SPINE = "38 CFR 4.71a, General Rating Formula for the Spine, Note 2 (quoted)"
YOUDAS = "Youdas et al. 1992, Phys Ther 72:770 (quoted)"


@dataclass(frozen=True)
class Range:
    """How far one joint goes one way.

    Attributes:
        joint: its name without a side ("knee"); "finger" stands for the joint of any finger.
        angle: as the angles of a motion are named ("flexion").
        sign: +1 for the way the angle is named after, -1 for the other.
        words: what a joint beyond it is, for a message ("hyperextended").
        basis: what the angle is read from.
        female_deg, male_deg: means for the ages 2-8, 9-19, 20-44, 45-69; empty if not given so.
        sd_deg: standard deviation; 0 if the numbers are maxima already.
        most_deg: a published maximum for everybody, where it is larger.
        source: of the numbers.
        tolerant: the reading is coarse or people differ widely: never worse than a warning.
    """

    joint: str
    angle: str
    sign: int
    words: str
    basis: Basis
    source: str
    female_deg: tuple[float, ...] = ()
    male_deg: tuple[float, ...] = ()
    sd_deg: float = 0.0
    most_deg: float = 0.0
    tolerant: bool = False

    def limit_deg(self, sex: Sex = "any", age: Age = "20-44") -> float:
        """How far 95 of 100 people of the profile go; "any" takes the widest."""
        means = [
            mean
            for name, column in (("female", self.female_deg), ("male", self.male_deg))
            if sex in ("any", name)
            for band, mean in zip(AGES, column, strict=False)
            if age in ("any", band)
        ]
        by_profile = max(means) + K_SD * self.sd_deg if means else 0.0
        return max(by_profile, self.most_deg)
