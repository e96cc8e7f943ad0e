"""A defect of known size at a known place, put into a clip."""

from __future__ import annotations

from dataclasses import dataclass, field

from kinelint.clip import Clip
from kinelint.cue import Cue
from kinelint.group import Group
from kinelint.motion import Motion


@dataclass(frozen=True, eq=False)
class Seed:
    """One defect.

    Attributes:
        kind: "slid foot", ….
        rule: the rule that must find it.
        parts: it is found if a finding names one of these as an offending part.
        clip: with the defect.
        first_s, last_s: where the defect is past its limit (to its greatest, for a slide).
        size: in `unit`, as the rule measures it, with its sign.
        unit: "mm", "deg", "percent".
        limb: the parts that the defect moves; findings about them are no surprise.
        cue: what the clip is meant to be.
        detail: for people.
        drops_last: of a loop: its last frame, which repeats the first, is to be taken off.
        pairs: of a penetration: every pair of parts that is past the limit.
        seeded, clean: motion or group with and without the defect, where the clip on the figure
            of its skeleton is not all: props, groups, other skeletons.
        ease_s: how long it takes to come and to go, smoothly, beside the frames of its full size.
        from_size: what the clip measures there without it.
        says: the end of its finding's `detail`; "" for any.
    """

    kind: str
    rule: str
    parts: tuple[str, ...]
    clip: Clip
    first_s: float
    last_s: float
    size: float
    unit: str
    limb: tuple[str, ...] = ()
    cue: Cue = field(default_factory=Cue)
    detail: str = ""
    drops_last: bool = False
    pairs: tuple[tuple[str, str], ...] = ()
    seeded: Motion | Group | None = None
    clean: Motion | Group | None = None
    says: str = ""
    ease_s: float = 0.0
    from_size: float = 0.0


def leg_parts(side: str) -> tuple[str, ...]:
    return tuple(f"{side}_{part}" for part in ("thigh", "shank", "foot", "toes"))


def arm_parts(side: str) -> tuple[str, ...]:
    return tuple(f"{side}_{part}" for part in ("clavicle", "upper_arm", "forearm", "hand"))
