"""Limbs keep their length."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.anatomy.parts import label
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace, Unjudged
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import bump, motion, standing
from kinelint_rules.limbs.links import Link, length_m, links, loose_joints, rest_positions_m

HARRISON = (
    "Harrison J, Rensink RA, van de Panne M (2004), Obscuring Length Changes During Animated "
    "Motion, ACM TOG 23:569-573"
)


class LimbStretchSettings(RuleSettings):
    """Settings of `limb-stretch`."""

    limit_percent: float = setting(
        3.0,
        gt=0,
        why="Viewers who attend to a limb notice 3 percent.",
        source=HARRISON,
    )
    stretchy: tuple[str, ...] = setting(
        (),
        why="Parts or joints that stretch on purpose: they take stretchy_percent instead.",
        source="the team's own rig",
    )
    stretchy_percent: float = setting(
        20.0,
        gt=0,
        why="Changes beyond 20 percent are seen even by viewers who attend to something else.",
        source=HARRISON,
    )
    carried_percent: float = setting(
        20.0,
        gt=0,
        why="A shoulder or hip that a rig moves on the trunk makes no limb longer; shoulder blades "
        "do move. Beyond this the limb has come off.",
        source=HARRISON + " (the bound for viewers who attend to something else)",
    )
    detached_percent: float = setting(
        20.0,
        gt=0,
        why="A foot that hangs from the root is placed, not carried: its shank gives way.",
        source=HARRISON + " (the bound for viewers who attend to something else)",
    )
    min_change_mm: float = setting(
        3.0,
        ge=0,
        why="3 percent of a finger bone is less than a millimetre, which nobody sees.",
        source="common practice, no source",
    )
    bridge_s: float = setting(
        0.1,
        ge=0,
        why="Two stretches of one limb with less than this between them are one.",
        source="common practice, no source",
    )


class LimbStretch(Rule[LimbStretchSettings]):
    """Limbs keep their length.

    Compares the distance from joint to joint with the rest pose, for every recognised part and
    for what a hub carries (a thigh on the pelvis, a finger on the hand). Joints that lie between,
    such as twist joints, count along the way.

    Bones cannot stretch unless the clip moves or scales a joint below the pelvis; where it does
    not, the rule says so and is not applicable.

    A limb that is off its rest length in most of the clip was probably built or retargeted to
    other proportions: the length does not change before the eye, so that is a warning.
    """

    id = "limb-stretch"
    source = HARRISON
    level = Level.ERROR
    quantity = "Joint-to-joint length against the rest pose, percent."
    on_screen = (
        "A shin grows as the foot is pulled; an arm shrinks towards a prop; a hand comes off."
    )
    remedy = "Take the translation keys off the joint, or move the hand or foot within reach."

    @staticmethod
    def check(motion: Motion, settings: LimbStretchSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields one finding for each span in which a link is off its rest length."""
        refuse(motion)
        loose = loose_joints(motion)
        every = list(links(motion))
        if not loose and all(link.attached for link in every):
            raise NotApplicable(
                "the clip moves and scales no joint below the pelvis, so no limb can stretch"
            )
        rest = rest_positions_m(motion)
        for link in every:
            if link.attached and loose.isdisjoint(link.joints[1:]) and not len(motion.clip.scaled):
                continue
            rest_m = float(length_m(rest, link.joints)[0])
            if rest_m > 1e-4:
                change_m = length_m(motion.positions_m, link.joints) - rest_m
                yield from _judge(motion, settings, link, rest_m, change_m)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A still person, a shin pulled longer, an arm pushed shorter, a stretchy rig."""
        pull = 0.05 * 0.2529 * 1.75 * bump(60, 20, 40)
        pulled = motion(shifts_m={"left_foot": np.stack((0 * pull, -pull, 0 * pull))})
        pushed = motion(shifts_m={"right_hand": np.stack((0 * pull, pull, 0 * pull))})
        yield Example("standing", standing(), not_applicable=True)
        yield Example("joints keyed, lengths kept", motion(shifts_m={"left_foot": [0, 0, 0]}))
        yield Example(
            "left shin pulled 5 percent longer",
            pulled,
            finds=1,
            parts=("left_shank",),
            frames=(23, 37),
            measured=5.0,
            within=0.01,
        )
        yield Example(
            "right forearm pushed shorter",
            pushed,
            finds=1,
            parts=("right_forearm",),
            measured=-5.0 * 0.2529 / 0.1545,
            within=0.01,
        )
        yield Example("the same on a stretchy shin", pulled, settings={"stretchy": ("left_shank",)})
        longer = motion(shifts_m={"left_foot": [0, -0.05 * 0.2529 * 1.75, 0]})
        yield Example("other proportions throughout", longer, finds=1, level=Level.WARNING)


def refuse(motion: Motion) -> None:
    """An additive clip has no lengths of its own.

    Raises:
        NotApplicable: for such a clip.
    """
    if motion.cue.additive:
        raise NotApplicable("the clip is additive: its translations are differences")


def _judge(
    motion: Motion, settings: LimbStretchSettings, link: Link, rest_m: float, change_m: Floats
) -> Iterator[Finding]:
    percent = 100.0 * change_m / rest_m
    limit = _limit_percent(motion, settings, link)
    limit = max(limit, settings.min_change_mm / 10.0 / rest_m)
    over = np.abs(percent) > limit
    throughout = bool(np.mean(over) > 0.5) and motion.frames > 1
    bridge = round(settings.bridge_s * motion.sample_rate_hz)
    for span in spans(over, bridge_frames=bridge):
        yield _finding(motion, link, percent, change_m, limit, span, throughout)


def _limit_percent(motion: Motion, settings: LimbStretchSettings, link: Link) -> float:
    names = {motion.clip.skeleton.names[joint] for joint in link.joints} | {link.part}
    if names & set(settings.stretchy):
        return settings.stretchy_percent
    if not link.attached:
        return settings.detached_percent
    return settings.carried_percent if link.hub else settings.limit_percent


def _finding(
    motion: Motion,
    link: Link,
    percent: Floats,
    change_m: Floats,
    limit: float,
    span: FrameSpan,
    throughout: bool,
) -> Finding:
    inside = slice(span.first, span.last + 1)
    worst = span.first + int(np.argmax(np.abs(percent[inside])))
    measured = float(percent[worst])
    change_mm = 1000.0 * float(change_m[worst])
    way = "longer" if measured > 0 else "shorter"
    what = label(link.part)
    if link.hub:
        what = (
            f"{what} sits {'further from' if measured > 0 else 'closer to'} the {label(link.hub)}"
        )
        message = f"{what} by {abs(measured):.1f} % ({abs(change_mm):.0f} mm) than at rest"
    else:
        message = f"{what} is {abs(measured):.1f} % ({abs(change_mm):.0f} mm) {way} than at rest"
    if throughout:
        message += ", in most of the clip"
    end = motion.positions_m[link.joints[-1], :, worst]
    toward = motion.positions_m[link.joints[0], :, worst] - end
    back = np.sign(measured) * toward / max(float(np.linalg.norm(toward)), 1e-9)
    return Finding(
        message,
        span,
        (link.part, link.hub) if link.hub else (link.part,),
        measured=measured,
        limit=limit if measured > 0 else -limit,
        unit="percent",
        worst_frame=worst,
        remedy=_remedy(motion, link, change_mm, throughout),
        level=Level.WARNING if throughout else None,
        at_m=(float(end[0]), float(end[1]), float(end[2])),
        direction=(float(back[0]), float(back[1]), float(back[2])),
        trace=Trace(
            f"{label(link.part)} length change",
            "percent",
            span.first,
            tuple(float(value) for value in percent[inside]),
            limit,
        ),
    )


def _remedy(motion: Motion, link: Link, change_mm: float, throughout: bool) -> str:
    name = motion.clip.skeleton.names[link.joints[-1]]
    if throughout:
        return (
            f"Check that the clip was made for this skeleton; if the {label(link.part)} is meant "
            "to stretch, list it under stretchy."
        )
    side = "back" if change_mm > 0 else "out"
    return (
        f"Bring {name!r} {side} by {abs(change_mm):.0f} mm: take its translation or scale keys off."
    )
