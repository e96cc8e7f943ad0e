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


RANGES: tuple[Range, ...] = (
    Range(
        "knee",
        "flexion",
        -1,
        "hyperextended",
        "positions",
        f"{SOUCIE}: 1.6 women, 1.0 men of 20 to 44 (memory); SD 2.1 (quoted)",
        female_deg=(5.4, 2.4, 1.6, 1.2),
        male_deg=(1.6, 1.8, 1.0, 0.5),
        sd_deg=2.1,
    ),
    Range(
        "knee",
        "flexion",
        1,
        "bent",
        "positions",
        f"{SOUCIE} (quoted), SD {BOONE} (memory); deep squat 157: Hemmerich 2006 (quoted)",
        female_deg=(152.6, 142.3, 141.9, 137.8),
        male_deg=(147.8, 142.2, 137.7, 132.9),
        sd_deg=5.4,
        most_deg=157.0,
    ),
    Range(
        "elbow",
        "flexion",
        -1,
        "hyperextended",
        "positions",
        f"{SOUCIE} (memory), SD 3.1 {BOONE} (memory)",
        female_deg=(6.8, 6.4, 4.7, 3.6),
        male_deg=(2.2, 5.3, 0.8, -0.7),
        sd_deg=3.1,
    ),
    Range(
        "elbow",
        "flexion",
        1,
        "bent",
        "positions",
        f"{SOUCIE} (quoted), SD {BOONE} (memory); 160: {MERCK}",
        female_deg=(152.9, 149.7, 150.0, 148.3),
        male_deg=(151.4, 148.3, 144.6, 143.5),
        sd_deg=5.6,
        most_deg=160.0,
    ),
    Range(
        "hip",
        "flexion",
        1,
        "flexed",
        "zero",
        f"{SOUCIE} (seen, quoted), SD 7.1 from its 95th percentile",
        female_deg=(140.8, 134.9, 133.8, 130.8),
        male_deg=(131.1, 135.2, 130.4, 127.2),
        sd_deg=7.1,
    ),
    Range(
        "hip",
        "flexion",
        -1,
        "extended",
        "zero",
        f"{SOUCIE} (quoted), SD 6.8 {BOONE} (memory); 30: {AAOS} (quoted)",
        female_deg=(26.2, 20.5, 18.1, 16.7),
        male_deg=(28.3, 18.2, 17.4, 13.5),
        sd_deg=6.8,
        most_deg=30.0,
    ),
    Range(
        "hip",
        "adduction",
        -1,
        "abducted",
        "zero",
        f"45: {AAOS} (quoted); 45.9 ± 9.3 {BOONE} (memory)",
        male_deg=(45.9,) * 4,
        female_deg=(45.9,) * 4,
        sd_deg=9.3,
        most_deg=45.0,
    ),
    Range(
        "hip",
        "adduction",
        1,
        "adducted",
        "zero",
        f"30.5: Roaas & Andersson 1982 (quoted), SD 4.1 {BOONE} (memory)",
        male_deg=(30.5,) * 4,
        female_deg=(30.5,) * 4,
        sd_deg=4.1,
    ),
    Range(
        "hip",
        "internal rotation",
        1,
        "turned in",
        "zero",
        f"47.3 ± 6.0 {BOONE} (memory); 45: {AAOS} (quoted)",
        male_deg=(47.3,) * 4,
        female_deg=(47.3,) * 4,
        sd_deg=6.0,
        tolerant=True,
    ),
    Range(
        "hip",
        "internal rotation",
        -1,
        "turned out",
        "zero",
        f"47.2 ± 6.3 {BOONE} (memory); 45: {AAOS} (quoted)",
        male_deg=(47.2,) * 4,
        female_deg=(47.2,) * 4,
        sd_deg=6.3,
        tolerant=True,
    ),
    Range(
        "ankle",
        "dorsiflexion",
        1,
        "bent up",
        "zero",
        "weight-bearing lunge 38.8 to 43.2 (quoted); unloaded 12.7 would fail every squat",
        most_deg=43.2,
    ),
    Range(
        "ankle",
        "dorsiflexion",
        -1,
        "pointed down",
        "zero",
        f"{SOUCIE} (quoted, memory), SD 6.1 {BOONE} (memory)",
        female_deg=(67.1, 57.3, 62.1, 56.5),
        male_deg=(55.8, 52.8, 54.6, 49.4),
        sd_deg=6.1,
    ),
    Range(
        "ankle",
        "inversion",
        1,
        "rolled in",
        "zero",
        f"36.8 ± 4.5 {BOONE} (memory); 35: {AAOS} (quoted)",
        male_deg=(36.8,) * 4,
        female_deg=(36.8,) * 4,
        sd_deg=4.5,
        tolerant=True,
    ),
    Range(
        "ankle",
        "inversion",
        -1,
        "rolled out",
        "zero",
        f"27.6: Roaas & Andersson 1982 (quoted), SD 5.0 {BOONE} (memory)",
        male_deg=(27.6,) * 4,
        female_deg=(27.6,) * 4,
        sd_deg=5.0,
        tolerant=True,
    ),
    Range(
        "ball of the foot",
        "extension",
        1,
        "bent up",
        "zero",
        f"80: {MERCK}; 70: {AAOS} (quoted)",
        most_deg=80.0,
        tolerant=True,
    ),
    Range(
        "ball of the foot",
        "extension",
        -1,
        "curled",
        "zero",
        f"45: {AAOS} (quoted)",
        most_deg=45.0,
        tolerant=True,
    ),
    Range("trunk", "flexion", 1, "bent forward", "zero", f"90: {SPINE}", most_deg=90.0),
    Range("trunk", "flexion", -1, "bent back", "zero", f"30: {SPINE}", most_deg=30.0),
    Range(
        "trunk",
        "side bend",
        1,
        "bent to the right",
        "zero",
        f"35: {AAOS} (quoted)",
        most_deg=35.0,
    ),
    Range(
        "trunk",
        "side bend",
        -1,
        "bent to the left",
        "zero",
        f"35: {AAOS} (quoted)",
        most_deg=35.0,
    ),
    Range(
        "trunk",
        "turn",
        1,
        "turned to the left",
        "zero",
        f"45: {AAOS} (quoted)",
        most_deg=45.0,
    ),
    Range(
        "trunk",
        "turn",
        -1,
        "turned to the right",
        "zero",
        f"45: {AAOS} (quoted)",
        most_deg=45.0,
    ),
    Range("neck", "flexion", 1, "bent forward", "zero", f"65: {YOUDAS}", most_deg=65.0),
    Range("neck", "flexion", -1, "bent back", "zero", f"85: {YOUDAS}", most_deg=85.0),
    Range("neck", "side bend", 1, "bent to the right", "zero", f"45: {SPINE}", most_deg=45.0),
    Range("neck", "side bend", -1, "bent to the left", "zero", f"45: {SPINE}", most_deg=45.0),
    Range("neck", "turn", 1, "turned to the left", "zero", f"80: {SPINE}", most_deg=80.0),
    Range("neck", "turn", -1, "turned to the right", "zero", f"80: {SPINE}", most_deg=80.0),
    Range(
        "shoulder",
        "extension",
        1,
        "drawn back",
        "zero",
        f"62 {BOONE} (seen), SD 9.5 (memory); 70: {MACEDO}",
        male_deg=(62.3,) * 4,
        female_deg=(70.0,) * 4,
        sd_deg=9.5,
    ),
    Range(
        "shoulder",
        "plane of elevation",
        1,
        "drawn across the chest",
        "zero",
        f"135: {AAOS}, horizontal adduction (memory)",
        most_deg=135.0,
        tolerant=True,
    ),
    Range(
        "shoulder",
        "internal rotation",
        1,
        "turned in",
        "zero",
        f"94: {MACEDO}",
        most_deg=94.0,
        tolerant=True,
    ),
    Range(
        "shoulder",
        "internal rotation",
        -1,
        "turned out",
        "zero",
        f"104 {BOONE} (seen), SD 8.5 (memory)",
        male_deg=(103.7,) * 4,
        female_deg=(108.0,) * 4,
        sd_deg=8.5,
        tolerant=True,
    ),
    Range(
        "forearm",
        "pronation",
        1,
        "turned palm down",
        "zero",
        f"{SOUCIE} (quoted), SD 5.1 {BOONE} (memory)",
        female_deg=(84.6, 81.2, 82.0, 80.8),
        male_deg=(79.6, 79.8, 76.9, 77.7),
        sd_deg=5.1,
        tolerant=True,
    ),
    Range(
        "forearm",
        "pronation",
        -1,
        "turned palm up",
        "zero",
        f"{SOUCIE} (quoted), SD 3.8 {BOONE} (memory)",
        female_deg=(93.7, 90.0, 90.6, 87.2),
        male_deg=(86.4, 87.8, 85.0, 82.4),
        sd_deg=3.8,
        tolerant=True,
    ),
    Range("wrist", "flexion", 1, "flexed", "zero", f"93: {MACEDO}", most_deg=93.0),
    Range("wrist", "flexion", -1, "bent back", "zero", f"86: {MACEDO}", most_deg=86.0),
    Range(
        "wrist",
        "ulnar deviation",
        1,
        "bent to the little finger",
        "zero",
        f"36 {BOONE} (seen), SD 3.8 (memory)",
        male_deg=(36.0,) * 4,
        female_deg=(41.0,) * 4,
        sd_deg=3.8,
        tolerant=True,
    ),
    Range(
        "wrist",
        "ulnar deviation",
        -1,
        "bent to the thumb",
        "zero",
        f"22 {BOONE} (seen), SD 4.0 (memory)",
        male_deg=(21.5,) * 4,
        female_deg=(21.5,) * 4,
        sd_deg=4.0,
        tolerant=True,
    ),
    Range("wrist", "bend", 1, "bent", "zero", f"93: {MACEDO}", most_deg=93.0, tolerant=True),
    Range(
        "finger knuckle",
        "flexion",
        1,
        "bent",
        "positions",
        f"90: {AAOS}, {EATON}",
        most_deg=90.0,
        tolerant=True,
    ),
    Range(
        "finger knuckle",
        "flexion",
        -1,
        "hyperextended",
        "positions",
        f"45: {AAOS} (quoted), {EATON}",
        most_deg=45.0,
        tolerant=True,
    ),
    Range(
        "finger middle joint",
        "flexion",
        1,
        "bent",
        "positions",
        f"120: {MERCK}; 100: {AAOS} (quoted)",
        most_deg=120.0,
        tolerant=True,
    ),
    Range(
        "finger middle joint",
        "flexion",
        -1,
        "hyperextended",
        "positions",
        f"0: {AAOS} (quoted), with 10 as for the end joint",
        most_deg=10.0,
        tolerant=True,
    ),
    Range(
        "finger end joint",
        "flexion",
        1,
        "bent",
        "positions",
        f"90: {AAOS} (quoted)",
        most_deg=90.0,
        tolerant=True,
    ),
    Range(
        "finger end joint",
        "flexion",
        -1,
        "hyperextended",
        "positions",
        f"10: {AAOS}, some printings (memory)",
        most_deg=10.0,
        tolerant=True,
    ),
    Range(
        "thumb knuckle",
        "flexion",
        1,
        "bent",
        "positions",
        f"70: {MERCK}; 55: {EATON}",
        most_deg=70.0,
        tolerant=True,
    ),
    Range(
        "thumb knuckle",
        "flexion",
        -1,
        "hyperextended",
        "positions",
        f"10: {EATON}",
        most_deg=10.0,
        tolerant=True,
    ),
    Range(
        "thumb end joint",
        "flexion",
        1,
        "bent",
        "positions",
        f"90: {MERCK}; 80: {EATON}",
        most_deg=90.0,
        tolerant=True,
    ),
    Range(
        "thumb end joint",
        "flexion",
        -1,
        "hyperextended",
        "positions",
        f"20: {AAOS} (quoted); 15: {EATON}",
        most_deg=20.0,
        tolerant=True,
    ),
)
