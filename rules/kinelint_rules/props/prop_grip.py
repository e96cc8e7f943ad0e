"""Hands hold what the cue sheet has them hold."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from kinelint.anatomy.proportions import built_like_a_person
from kinelint.cue import Cue, Held, Prop, Rod
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level, Unjudged
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule
from kinelint.synthetic import bump
from kinelint.synthetic import motion as made
from kinelint.synthetic_props import carried, with_prop
from kinelint_rules.props.fist import GRIP_SOURCE
from kinelint_rules.props.grip_findings import (
    across,
    drifts,
    off_grip,
    open_hand,
    two_hands,
)
from kinelint_rules.props.grip_settings import PropGripSettings
from kinelint_rules.props.holds import Hold, hold

STATURE_M = 1.75
# Of a person whose sex nobody tells: the mean of both ratios of ANSUR II.
GRIP_M = 0.5 * (62.1 / 1756.2 + 58.9 / 1628.5) * STATURE_M
# The axis of a rod 34 mm thick that lies upon the hand: the palm is thicker by half.
SIDE_M = 0.017
HOOK = Prop("boathook", "boathook", Rod((0, 0, -0.9), (0, 0, 1.3), 0.017), (("fore", (0, 0, 0.3)),))
_CUE = Cue(props=(HOOK,), held=(Held("boathook", "right_hand", "fore"),))


class PropGrip(Rule[PropGripSettings]):
    """Hands hold what the cue sheet has them hold.

    For every entry of `held` in the cue sheet: how far the prop's grip usually lies from where a
    fist holds a rod, and where it then leaves that place or turns in the hand. Without a grip in
    the sheet it is the point of the rod that is usually nearest to the fist; of a box the palm is
    to lie on a face, and two palms on two faces.

    A fist holds a rod 62 mm beyond the wrist (men of 1.76 m; women of 1.63 m: 59 mm), on the
    palm. Without finger joints nothing tells the palm's side: there the rod may lie on any side
    of the hand. Of a rod only the direction counts, not how it turns about itself.

    With finger joints it is also told where a rod lies across the fingers' way instead of along
    the knuckles, and where the fingers are open around it. Two hands on one prop keep their
    distance, unless `slides` names the prop.
    """

    id = "prop-grip"
    source = GRIP_SOURCE + "."
    level = Level.WARNING
    limits = (
        ("note_mm", "warning_mm", "error_mm"),
        ("slip_note_mm", "slip_warning_mm", "slip_error_mm"),
        ("turn_note_deg", "turn_warning_deg", "turn_error_deg"),
        ("across_deg",),
    )
    quantity = "How far a prop lies from the fist that holds it, and moves or turns in it, mm, deg."
    on_screen = "The boathook floats beside the hand, or slides through a closed fist."
    remedy = "Pin the prop to the hand at its grip over the frames named."

    @staticmethod
    def check(motion: Motion, settings: PropGripSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields one finding for each thing that is wrong with a hold."""
        if motion.cue.additive:
            raise NotApplicable("the clip is additive: it has no pose of its own")
        if not motion.cue.held:
            raise NotApplicable("the cue sheet has no hand hold a prop in this clip")
        holds, lacking = holds_of(motion)
        if not holds:
            raise NotApplicable(lacking[0].reason if lacking else "no hold lies inside the clip")
        yield from lacking
        style = not (settings.stylised_as_people or motion.derive(built_like_a_person))
        found: list[Finding] = []
        for one in holds:
            found += off_grip(motion, one, settings)
            found += drifts(motion, one, settings)
            found += across(motion, one, settings)
            found += open_hand(motion, one, settings)
        found += two_hands(motion, holds, settings, found)
        for told in sorted(found, key=lambda f: (f.span.first, f.parts, f.detail)):
            styled = style and told.level is Level.ERROR
            yield replace(told, level=Level.WARNING) if styled else told

    @staticmethod
    def examples() -> Iterable[Example]:
        """A boathook in the right fist: held well, beside it, slipping, turning; two hands."""
        yield Example("a boathook that stays in the fist", _hook())
        yield Example(
            "80 mm too far down the hand",
            _hook(place_m=(0.0, -GRIP_M - 0.08, -SIDE_M)),
            finds=1,
            parts=("right_hand",),
            frames=(0, 60),
            slack_frames=0,
            measured=80.0,
            within=0.5,
            level=Level.WARNING,
        )
        slip = np.zeros((3, 61))
        slip[2] = 0.06 * bump(61, 20, 50)
        yield Example(
            "slips through the fist by 60 mm and comes back",
            _hook(slip_m=slip),
            finds=1,
            parts=("right_hand",),
            frames=(24, 46),
            measured=60.0,
            within=0.5,
            level=Level.WARNING,
        )
        yield Example(
            "turns in the fist by 30 degrees",
            _hook(tilt_deg=30.0 * bump(61, 20, 50)),
            finds=1,
            parts=("right_hand",),
            measured=30.0,
            within=0.5,
            level=Level.WARNING,
        )
        yield Example("the same slip where the sheet's prop may slide", _hook(slip_m=slip),
                      settings={"slides": ("boathook",)})  # fmt: skip
        yield Example("fingers that are open around it", _hook(fingers=True), finds=1,
                      parts=("right_hand",), level=Level.NOTE)  # fmt: skip
        yield Example("nobody holds anything", made(), not_applicable=True)
        yield Example("held, but no joint moves it", made(cue=_CUE), not_applicable=True)


def holds_of(motion: Motion) -> tuple[list[Hold], list[Unjudged]]:
    """The holds of the cue sheet that lie in the clip, and what could not be judged."""
    holds, lacking = [], []
    for held in motion.cue.held:
        try:
            one = motion.derive(hold, held)
        except NotApplicable as reason:
            lacking.append(Unjudged(str(reason), (held.hand,)))
            continue
        if one is not None:
            holds.append(one)
    return holds, lacking


def _hook(
    *,
    place_m: tuple[float, float, float] = (0.0, -GRIP_M, -SIDE_M),
    slip_m: Floats | float = 0.0,
    tilt_deg: Floats | float = 0.0,
    fingers: bool = False,
) -> Motion:
    """A boathook in the right hand of a swinging arm; its fore grip lies so in the hand's axes."""
    swing = 25.0 * np.sin(2.0 * np.pi * np.arange(61) / 60.0)
    turns = {"right_upper_arm": [("X", swing)], "right_forearm": [("X", -40.0)]}
    figure = made(frames=61, turns=turns, fingers=fingers)
    tilt = rotations.about("X", np.radians(np.broadcast_to(tilt_deg, (61,))))
    grip = np.array(HOOK.grips[0][1])[:, None]
    place = np.array(place_m)[:, None] + slip_m - rotations.rotate(tilt, grip)
    return with_prop(figure, "boathook", *carried(figure, "right_hand", place, tilt), cue=_CUE)
