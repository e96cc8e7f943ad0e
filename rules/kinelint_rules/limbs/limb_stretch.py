"""Limbs keep their length."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from kinelint.anatomy.parts import TRUNK, label
from kinelint.anatomy.proportions import built_like_a_person
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace, Unjudged
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import bump, motion, standing
from kinelint_rules.limbs.links import Link, length_m, links, loose_joints, rest_positions_m

HARRISON = (
    "Harrison J, Rensink RA, van de Panne M (2004), Obscuring Length Changes During Animated "
    "Motion, ACM TOG 23:569-573"
)

# A limb that strays from its usual length by less than this share of the limit keeps it.
_NEARLY = 0.5


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
        50.0,
        gt=0,
        why="A shoulder or hip that a rig moves on the trunk makes no limb longer, and shoulder "
        "blades do move, by a third of that distance in a shrug. Beyond this the limb comes off.",
        source="common practice, no source; public game characters were measured at 26 to 46",
    )
    trunk_percent: float = setting(
        20.0,
        gt=0,
        why="A spine is no bone: the line from pelvis to chest or from chest to head shortens as "
        "it bends, by 13 percent in a kick whose chest and head were tracked by themselves.",
        source="measured on an open recording; " + HARRISON + " (the bound for viewers who attend "
        "to something else)",
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
    stylised_as_people: bool = setting(
        False,
        why="Rigs of figures that are not built like people stretch by style: at most a warning. "
        "Set it to hold them as people are held.",
        source="common practice, no source; two open packs of cartoon figures",
    )


class LimbStretch(Rule[LimbStretchSettings]):
    """Limbs keep their length.

    Compares the distance from joint to joint with the rest pose, for every recognised part and
    for what a hub carries (a thigh on the pelvis, a finger on the hand). Joints that lie between,
    such as twist joints, count along the way.

    Bones cannot stretch unless the clip moves or scales a joint below the pelvis; where it does
    not, the rule says so and is not applicable.

    A limb that keeps another length than its rest length all through the clip was probably built
    or retargeted to other proportions: nothing changes before the eye, so that is a warning, and
    the changes are judged against the length that the limb keeps. A figure whose arms, legs and
    trunk are not in a person's proportions gets warnings at most.
    """

    id = "limb-stretch"
    source = HARRISON
    level = Level.ERROR
    limits = (
        ("limit_percent",),
        ("stretchy_percent",),
        ("carried_percent",),
        ("trunk_percent",),
        ("detached_percent",),
        ("min_change_mm",),
    )
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
        built = np.stack((0 * pull, -0.05 * 0.2529 * 1.75 - pull, 0 * pull))
        yield Example(
            "other proportions, and pulled", motion(shifts_m={"left_foot": built}), finds=2
        )
        bent = motion(
            shifts_m={"head": [0, -0.005, 0], "thorax": np.stack((0 * pull, -pull, 0 * pull))}
        )
        yield Example("a chest that comes nearer as the spine bends", bent)


def refuse(motion: Motion) -> None:
    """An additive clip has no lengths of its own.

    Raises:
        NotApplicable: for such a clip.
    """
    if motion.cue.additive:
        raise NotApplicable("the clip is additive: its translations are differences")


@dataclass(frozen=True, eq=False)
class Change:
    """How a link's length changes, ``(frames,)`` percent of `length_m`, against `than` what."""

    link: Link
    percent: Floats
    length_m: float
    limit: float
    setting: str
    than: str = "at rest"

    @property
    def over(self) -> Bools:
        """``(frames,)`` true past the limit."""
        return np.asarray(np.abs(self.percent) > self.limit)


def _judge(
    motion: Motion, settings: LimbStretchSettings, link: Link, rest_m: float, change_m: Floats
) -> Iterator[Finding]:
    name = _limit_name(motion, settings, link)
    limit, least = float(getattr(settings, name)), settings.min_change_mm / 10.0 / rest_m
    if least > limit:
        limit, name = least, "min_change_mm"
    change = Change(link, 100.0 * change_m / rest_m, rest_m, limit, name)
    kept = _kept_percent(change)
    if kept is not None:
        built = replace(change, percent=np.full(motion.frames, kept))
        yield _finding(motion, built, FrameSpan(0, motion.frames - 1), built_so=True)
        own_m = rest_m * (1.0 + kept / 100.0)
        percent = 100.0 * (rest_m + change_m - own_m) / own_m
        change = Change(link, percent, own_m, limit, name, than="in the rest of the clip")
    bridge = round(settings.bridge_s * motion.sample_rate_hz)
    loose = not (settings.stylised_as_people or motion.derive(built_like_a_person))
    for span in spans(change.over, bridge_frames=bridge):
        found = _finding(motion, change, span)
        yield replace(found, level=Level.WARNING, confidence=0.5) if loose else found


def _kept_percent(change: Change) -> float | None:
    """The change that a limb keeps from the first frame to the last; None if it keeps none."""
    if change.percent.size < 2:
        return None
    middle = float(np.median(change.percent))
    keeps = np.mean(np.abs(change.percent - middle) <= _NEARLY * change.limit) >= 0.5
    # Where it has its rest length at times, it is stretched in the others.
    at_rest = np.mean(np.abs(change.percent) <= _NEARLY * change.limit) > 0.05
    return middle if keeps and not at_rest and abs(middle) > change.limit else None


def _limit_name(motion: Motion, settings: LimbStretchSettings, link: Link) -> str:
    """The setting that holds for a link."""
    names = {motion.clip.skeleton.names[joint] for joint in link.joints} | {link.part}
    if names & set(settings.stretchy):
        return "stretchy_percent"
    if not link.attached:
        return "detached_percent"
    if link.part in TRUNK:
        return "trunk_percent"
    return "carried_percent" if link.hub else "limit_percent"


def _finding(motion: Motion, change: Change, span: FrameSpan, built_so: bool = False) -> Finding:
    link, inside = change.link, slice(span.first, span.last + 1)
    worst = span.first + int(np.argmax(np.abs(change.percent[inside])))
    measured = float(change.percent[worst])
    change_mm = 10.0 * measured * change.length_m
    end = motion.positions_m[link.joints[-1], :, worst]
    toward = motion.positions_m[link.joints[0], :, worst] - end
    back = np.sign(measured) * toward / max(float(np.linalg.norm(toward)), 1e-9)
    return Finding(
        _message(change, measured, change_mm, built_so),
        span,
        (link.part, link.hub) if link.hub else (link.part,),
        measured=measured,
        limit=change.limit if measured > 0 else -change.limit,
        unit="percent",
        worst_frame=worst,
        remedy=_remedy(motion, link, change_mm, built_so),
        level=Level.WARNING if built_so else None,
        detail="proportions" if built_so else "",
        at_m=(float(end[0]), float(end[1]), float(end[2])),
        direction=(float(back[0]), float(back[1]), float(back[2])),
        trace=Trace(
            f"{label(link.part)} length change",
            "percent",
            span.first,
            tuple(change.percent[inside].tolist()),
            change.limit,
        ),
        setting=change.setting,
        # Lengths are read without any guess at the body; only proportions may be meant so.
        confidence=0.6 if built_so else 0.95,
    )


def _message(change: Change, measured: float, change_mm: float, built_so: bool) -> str:
    link, size = change.link, f"{abs(measured):.1f} % ({abs(change_mm):.0f} mm)"
    if link.hub:
        way = "further from" if measured > 0 else "closer to"
        said = f"{label(link.part)} sits {way} the {label(link.hub)} by {size} than {change.than}"
    else:
        way = "longer" if measured > 0 else "shorter"
        said = f"{label(link.part)} is {size} {way} than {change.than}"
    return said + ", all through the clip" if built_so else said


def _remedy(motion: Motion, link: Link, change_mm: float, built_so: bool) -> str:
    name = motion.clip.skeleton.names[link.joints[-1]]
    if built_so:
        return (
            f"Check that the clip was made for this skeleton; if the {label(link.part)} is meant "
            "to stretch, list it under stretchy."
        )
    side = "back" if change_mm > 0 else "out"
    return (
        f"Bring {name!r} {side} by {abs(change_mm):.0f} mm: take its translation or scale keys off."
    )
