"""Left and right limbs are as long as each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.anatomy.parts import label, mirrored, side_of
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion, standing
from kinelint_rules.limbs.limb_stretch import refuse
from kinelint_rules.limbs.links import Link, length_m, links, rest_positions_m

PRACTICE = "common practice, no source"
LIMBS = ("upper_arm", "forearm", "thigh", "shank", "foot")


class AsymmetrySettings(RuleSettings):
    """Settings of `asymmetry`."""

    limit_percent: float = setting(
        5.0,
        gt=0,
        why="By how much the longer limb may exceed the shorter. People's own legs differ by half "
        "a percent; joint centres that are fitted to markers, by a few.",
        source=PRACTICE + "; Knutson GA (2005), Anatomic and functional leg-length inequality, "
        "Chiropractic & Osteopathy 13:11 (mean of 5.2 mm; from memory)",
    )
    min_mm: float = setting(
        8.0,
        ge=0,
        why="Smaller differences are within what people's own limbs differ by.",
        source=PRACTICE + "; Knutson GA (2005), as above (from memory)",
    )
    error_percent: float = setting(
        25.0,
        gt=0,
        why="No calibration is off by this much: one side is mapped or scaled wrongly.",
        source=PRACTICE,
    )


class Asymmetry(Rule[AsymmetrySettings]):
    """Left and right limbs are as long as each other.

    Compares upper arms, forearms, thighs, shanks and feet of both sides, joint to joint: as the
    skeleton rests, and as the motion keeps them (the median over the clip), where the clip moves
    or scales joints. The larger difference counts. It is the difference over the mean of both.

    One clip is looked at here. Whether two clips are mirror images of each other is asked by
    `mirror-match`: that looks at pairs, and a rule looks either at one clip or at clips that are
    bound together.
    """

    id = "asymmetry"
    source = PRACTICE + "; Knutson GA (2005), Chiropractic & Osteopathy 13:11 (from memory)"
    level = Level.WARNING
    limits = (("limit_percent", "error_percent"), ("min_mm",))
    quantity = "Difference of left and right limb length over their mean, percent."
    on_screen = "One knee sits lower than the other; the figure limps or leans, a foot is short."
    remedy = "Calibrate or map the skeleton anew, with both sides set to the same length."

    @staticmethod
    def check(motion: Motion, settings: AsymmetrySettings, /) -> Iterator[Finding]:
        """Yields one finding for each kind of limb that differs, the longer side first."""
        refuse(motion)
        every = {link.part: link for link in links(motion) if not link.hub}
        pairs = [
            (every[f"left_{limb}"], every[f"right_{limb}"])
            for limb in LIMBS
            if f"left_{limb}" in every and f"right_{limb}" in every
        ]
        if not pairs:
            raise NotApplicable("no limb was recognised on both sides")
        for left, right in pairs:
            yield from _judge(motion, settings, left, right)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A person; one whose left shank is longer; a difference too small to see."""
        shank_m = 0.2529 * 1.75
        yield Example("standing", standing())
        yield Example(
            "left shank 40 mm longer",
            motion(shifts_m={"left_foot": [0, -0.04, 0]}),
            finds=1,
            parts=("left_shank", "right_shank"),
            frames=(0, 59),
            slack_frames=0,
            measured=100.0 * 0.04 / (shank_m + 0.02),
            within=0.01,
            level=Level.WARNING,
        )
        yield Example(
            "right forearm a third shorter",
            motion(shifts_m={"right_hand": [0, 0.1545 * 1.75 / 3.0, 0]}),
            finds=1,
            parts=("left_forearm", "right_forearm"),
            measured=40.0,
            within=0.01,
            level=Level.ERROR,
        )
        yield Example("left shank 10 mm longer", motion(shifts_m={"left_foot": [0, -0.01, 0]}))


def _judge(
    motion: Motion, settings: AsymmetrySettings, left: Link, right: Link
) -> Iterator[Finding]:
    rest = rest_positions_m(motion)
    at_rest = tuple(float(length_m(rest, one.joints)[0]) for one in (left, right))
    moving = tuple(
        float(np.median(length_m(motion.positions_m, one.joints))) for one in (left, right)
    )
    # Rounding is no difference of its own.
    moves = _percent(*moving) > _percent(*at_rest) + 0.01
    when, lengths = ("in the motion", moving) if moves else ("at rest", at_rest)
    percent, off_mm = _percent(*lengths), 1000.0 * abs(lengths[0] - lengths[1])
    if percent <= settings.limit_percent or off_mm < settings.min_mm:
        return
    longer = left.part if lengths[0] > lengths[1] else right.part
    limb = label(longer).partition(" ")[2]
    yield Finding(
        f"the {label(longer)} is {percent:.1f} % ({off_mm:.0f} mm) longer than the "
        f"{side_of(mirrored(longer))} one {when}",
        FrameSpan(0, motion.frames - 1),
        (longer, mirrored(longer)),
        measured=percent,
        limit=settings.limit_percent,
        unit="percent",
        remedy=f"Set both {limb}s to {500.0 * sum(lengths):.0f} mm, or to what was measured on "
        "the performer, and solve anew.",
        level=Level.ERROR if percent > settings.error_percent else Level.WARNING,
        setting="limit_percent",
        confidence=0.8 if percent > 2.0 * settings.limit_percent else 0.6,
    )


def _percent(left_m: float, right_m: float) -> float:
    return 200.0 * abs(left_m - right_m) / max(left_m + right_m, 1e-9)
