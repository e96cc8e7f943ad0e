"""Clips have the project's skeleton, and key only what they may."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level, Unjudged
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion, person
from kinelint_rules.files.against import compared
from kinelint_rules.files.keyed import keyed

PRACTICE = "common practice, no source"


class SkeletonMatchSettings(RuleSettings):
    """Settings of `skeleton-match`."""

    offset_mm: float = setting(
        2.0,
        gt=0,
        why="Exporters round; a joint that stands further off than this was moved.",
        source=PRACTICE,
    )
    offset_percent: float = setting(
        1.0,
        gt=0,
        why="And by more than this of its distance from the parent: long bones round more.",
        source=PRACTICE,
    )
    error_mm: float = setting(
        20.0, gt=0, why="Hands miss their props and feet the floor by so much.", source=PRACTICE
    )
    rest_deg: float = setting(
        2.0,
        gt=0,
        why="A joint whose rest is turned by more plays every clip turned by so much.",
        source=PRACTICE,
    )
    size_percent: float = setting(
        1.0, gt=0, why="Of the whole skeleton; beyond it the unit or the body differs.",
        source=PRACTICE,
    )  # fmt: skip
    may_lack: tuple[str, ...] = setting(
        (), why="Parts or joints of the reference that clips need not have.", source=PRACTICE
    )
    may_add: tuple[str, ...] = setting(
        (), why="Joints that clips may have besides: props, helpers.", source=PRACTICE
    )
    must_rest: tuple[str, ...] = setting(
        (), why="Parts or joints that no clip may move: sockets, twist joints that a game drives.",
        source=PRACTICE,
    )  # fmt: skip
    only_roots_move: bool = setting(
        False,
        why="Set it where a game keeps the lengths of bones: only roots may have keys of position.",
        source=PRACTICE,
    )
    may_move: tuple[str, ...] = setting(
        (), why="Parts or joints that may have keys of position all the same.", source=PRACTICE
    )
    may_scale: tuple[str, ...] = setting(
        (), why="Parts or joints that may have keys of scale.", source=PRACTICE
    )
    scale_percent: float = setting(
        1.0, gt=0, why="Smaller changes of scale are noise of the exporter.", source=PRACTICE
    )


class SkeletonMatch(Rule[SkeletonMatchSettings]):
    """Clips have the project's skeleton, and key only what they may.

    Compares the skeleton that a clip is stored on with the policy's `[[skeleton]] reference`:
    joints that are missing, added, renamed or hung elsewhere, offsets and directions at rest,
    the size of the whole. Joints are paired by name without namespace, then by path; roots may
    rest anywhere. A unit that differs from the reference's is no fault where the format or the
    policy says it.

    Needs no reference: keys of scale, stored rotations that are not of length 1, keys of position
    or any keys on joints that the settings forbid. (A rotation of length 0 is refused before any
    rule runs.)
    """

    id = "skeleton-match"
    source = PRACTICE
    level = Level.WARNING
    limits = (("offset_mm", "error_mm"), ("rest_deg",), ("size_percent",), ("scale_percent",))
    quantity = "How far a joint rests from where the reference has it, mm, degrees or percent."
    on_screen = "On the game's character limbs are bent, stretched, or hang from the wrong place."
    remedy = "Export the clip again from the project's skeleton, or retarget it."

    @staticmethod
    def check(motion: Motion, settings: SkeletonMatchSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields one finding for each way in which the skeleton differs."""
        own = list(keyed(motion, settings))
        if motion.figure.reference is None:
            reason = "the policy names no reference for this skeleton ([[skeleton]] reference)"
            if not own:
                raise NotApplicable(reason)
            yield from own
            yield Unjudged(reason)
            return
        yield from compared(motion, motion.figure.reference, settings)
        yield from own

    @staticmethod
    def examples() -> Iterable[Example]:
        """The reference itself, a head set off, a neck left out, a body too large."""
        yield Example("the project's own skeleton", _held_to(motion(frames=20)))
        yield Example(
            "the head rests 30 mm too high",
            _held_to(motion(frames=20), lift_mm=30.0),
            finds=1,
            parts=("head",),
            measured=30.0,
            level=Level.ERROR,
        )
        yield Example(
            "the reference has a joint that the clip lacks",
            _held_to(motion(frames=20), lacks="head"),
            finds=1,
            parts=("clip",),
            level=Level.ERROR,
        )
        yield Example(
            "the whole body is 4 percent larger",
            _held_to(motion(frames=20, stature_m=1.82)),
            finds=1,
            parts=("clip",),
            measured=4.0,
            within=0.05,
            level=Level.ERROR,
        )
        bob = np.stack([np.zeros(20), 0.01 * np.sin(np.arange(20)), np.zeros(20)])
        yield Example(
            "the thorax has keys of position where only roots may move",
            _held_to(motion(frames=20, shifts_m={"thorax": bob})),
            settings={"only_roots_move": True},
            finds=1,
            parts=("thorax",),
            measured=10.0,
            within=0.5,
        )
        yield Example("no reference is named", motion(frames=20), not_applicable=True)


def _held_to(made: Motion, lift_mm: float = 0.0, lacks: str = "") -> Motion:
    """The motion, its reference a person of 1.75 m; the clip's head lifted, or one joint more."""
    reference, clip = person(), made.clip
    if lacks:
        names = tuple("crown" if name == "head end" else name for name in reference.names)
        reference = replace(reference, names=names, tips=reference.tips & _not(names, "crown"))
    if lift_mm:
        offsets: Floats = clip.skeleton.rest_translations.copy()
        offsets[clip.skeleton.names.index("head"), 1] += lift_mm / 1000.0
        clip = replace(clip, skeleton=replace(clip.skeleton, rest_translations=offsets))
    figure = replace(made.figure, reference=reference, reference_metres_per_unit=1.0)
    return replace(made, clip=clip, figure=figure, _derived={})


def _not(names: tuple[str, ...], name: str) -> Bools:
    return np.array([one != name for one in names])
