"""Every kind of defect that is seeded: what makes it, which rule must find it, from which size on.

A kind is one line here or in a neighbour (`kinds_props`, `kinds_groups`, `kinds_whole`); `judge`
and `gate_accuracy` take them from here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from accuracy.clips import Subject
from accuracy.seed import Seed
from accuracy.seed_arms import pushed_arm
from accuracy.seed_feet import slid_foot, slid_root, sunk_foot, sunk_root
from accuracy.seed_jitter import shaken
from accuracy.seed_limbs import hyperextended, stretched
from accuracy.seed_loops import broken_loop
from accuracy.seed_pops import popped
from accuracy.seed_stall import converted, frozen, standstill
from kinelint.finding import Level
from kinelint_rules.contact.penetration import PenetrationSettings
from kinelint_rules.continuity.jitter import JitterSettings
from kinelint_rules.continuity.pop_events import PopSettings
from kinelint_rules.continuity.stall import StallSettings
from kinelint_rules.feet.foot_slide import FootSlideSettings
from kinelint_rules.feet.ground_contact import GroundContactSettings
from kinelint_rules.joints.joint_limit import JointLimitSettings, limit_of
from kinelint_rules.joints.ranges import RANGES
from kinelint_rules.limbs.limb_stretch import LimbStretchSettings
from kinelint_rules.loops.loop_seam import LoopSeamSettings

ERROR, WARNING, NOTE = Level.ERROR, Level.WARNING, Level.NOTE
Maker = Callable[[Subject, str, float, float, np.random.Generator], Seed | None]


@dataclass(frozen=True)
class Kind:
    """One kind of defect.

    Attributes:
        name: slug, unique.
        rule: id of the rule that must find it.
        limits: level to the size above which it must have that level.
        make: of a subject, a side, a size, the limit, and chance; None where there is no room.
        each_rate: it is a matter of single frames: made anew at each rate, not resampled.
        settings: the rule's, beside the defaults.
        ladder: false if the defect has but one size.
    """

    name: str
    rule: str
    limits: Mapping[Level, float]
    make: Maker
    each_rate: bool = False
    settings: Mapping[str, Any] = field(default_factory=dict)
    ladder: bool = True

    @property
    def worst(self) -> Level:
        """The highest level that has a limit."""
        return max(self.limits, key=lambda level: level.rank)


def on(make: Callable[..., Seed | None], **more: object) -> Maker:
    """A maker of one that takes clip, figure, side, size and chance."""
    return lambda s, side, size, limit, chance: make(
        s.motion.clip, s.figure, side, size, chance, **more
    )


def _loop(unit: str, short: bool) -> Maker:
    return lambda s, side, size, limit, chance: broken_loop(
        s.motion.clip, s.figure, size, unit, chance, short
    )


def _arm(s: Subject, side: str, size: float, limit: float, chance: np.random.Generator) -> Any:
    return pushed_arm(s.motion.clip, s.figure, side, size, limit, chance)


def first_six() -> tuple[Kind, ...]:
    """Kinds that the first six rules find, limits from the rules' defaults."""
    slide, ground, deep = FootSlideSettings(), GroundContactSettings(), PenetrationSettings()
    joint, seam = JointLimitSettings(), LoopSeamSettings()
    back = {
        one.joint: limit_of(one, joint)
        for one in RANGES
        if one.angle == "flexion" and one.words == "hyperextended"
    }
    past = joint.hyperextension_error_deg
    knee = {WARNING: back["knee"], ERROR: back["knee"] + past}
    elbow = {WARNING: back["elbow"], ERROR: back["elbow"] + past}
    turned = {WARNING: seam.warning_share * seam.gap_deg, ERROR: seam.gap_deg}
    moved = {WARNING: seam.warning_share * seam.gap_mm, ERROR: seam.gap_mm}
    stretch = {ERROR: LimbStretchSettings().limit_percent}
    slid = {NOTE: slide.note_mm, WARNING: slide.warning_mm, ERROR: slide.error_mm}
    sunk = {NOTE: ground.note_mm, WARNING: ground.warning_mm, ERROR: ground.error_mm}
    pushed = {NOTE: deep.min_depth_mm, WARNING: deep.warning_mm, ERROR: deep.error_mm}
    return (
        Kind("arm", "penetration", pushed, _arm),
        Kind("slid", "foot-slide", slid, on(slid_foot)),
        Kind("slid-root", "foot-slide", slid, on(slid_root)),
        Kind("sunk-root", "ground-contact", sunk, on(sunk_root)),
        Kind("sunk", "ground-contact", sunk, on(sunk_foot)),
        Kind("shin", "limb-stretch", stretch, on(stretched)),
        Kind("forearm", "limb-stretch", stretch, on(stretched, limb="arm")),
        Kind("knee", "joint-limit", knee, on(hyperextended)),
        Kind("knee-stays", "joint-limit", knee, on(hyperextended, keeps_end=True)),
        Kind("elbow", "joint-limit", elbow, on(hyperextended, limb="arm")),
        Kind("loop-deg", "loop-seam", turned, _loop("deg", False)),
        Kind("loop-mm", "loop-seam", moved, _loop("mm", False)),
        Kind("loop-deg-short", "loop-seam", turned, _loop("deg", True)),
        Kind("loop-mm-short", "loop-seam", moved, _loop("mm", True)),
    )


def _stays(s: Subject, side: str, size: float, limit: float, chance: np.random.Generator) -> Any:
    """A step is between two frames: it is in both."""
    seed = popped(s.motion.clip, s.figure, side, size, chance, frames=0)
    first_s = 0.0 if seed is None else seed.first_s - 1.0 / s.motion.sample_rate_hz
    return None if seed is None else replace(seed, first_s=first_s)


def _still(s: Subject, side: str, size: float, limit: float, chance: np.random.Generator) -> Any:
    frames = round(size / 1000.0 * s.motion.sample_rate_hz)
    return standstill(s.motion.clip, frames, chance) if frames > 0 else None


def _rate(s: Subject, side: str, size: float, limit: float, chance: np.random.Generator) -> Any:
    return converted(s.motion.clip, s.motion.sample_rate_hz * (1.0 - size / 100.0))


def continuity() -> tuple[Kind, ...]:
    """Jumps, shakes and stalls."""
    pop, shake, stall = PopSettings(), JitterSettings(), StallSettings()
    jump = {NOTE: pop.note_deg, WARNING: pop.warning_deg, ERROR: pop.error_deg}
    deg = {NOTE: shake.note_deg, WARNING: shake.warning_deg, ERROR: shake.error_deg}
    mm = {NOTE: shake.note_mm, WARNING: shake.warning_mm, ERROR: shake.error_mm}
    return (
        Kind("pop", "pop", jump, on(popped), each_rate=True),
        Kind("pop-stays", "pop", jump, _stays, each_rate=True),
        Kind("shake-tone", "jitter", deg, on(shaken), each_rate=True),
        Kind("shake-noise", "jitter", deg, on(shaken, kind="noise"), each_rate=True),
        Kind("shake-root", "jitter", mm, on(shaken, kind="root"), each_rate=True),
        Kind("standstill", "stall", {WARNING: stall.standstill_ms}, _still, each_rate=True),
        Kind("frozen", "stall", {WARNING: stall.frozen_ms}, on(frozen), each_rate=True),
        Kind("rate", "stall", {WARNING: stall.repeats_percent}, _rate, each_rate=True),
    )


# Rules that no kind seeds, and why.
UNSEEDED = {
    "balance": "has a size; no seed for it yet (its own tests hold it against SciPy's hull)",
    "clip-form": "no size: a clip has the wanted form or has not",
    "flight": "has a size; no seed for it yet (its own tests hold it against free fall)",
    "stale-export": "no size: an export has its source's content or has not",
}


def every() -> tuple[Kind, ...]:
    """All of them."""
    from accuracy.kinds_groups import groups
    from accuracy.kinds_props import props
    from accuracy.kinds_whole import whole

    return (*first_six(), *continuity(), *props(), *groups(), *whole())
