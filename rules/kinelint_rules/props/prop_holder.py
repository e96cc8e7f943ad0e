"""Props are taken from their holders, and put back, without a jump and past the body."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from kinelint.anatomy.proportions import built_like_a_person
from kinelint.cue import Cue, Held, Kept, Prop, Rod
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, Level, Unjudged
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule
from kinelint.synthetic import motion as made
from kinelint.synthetic_props import carried, with_prop
from kinelint_rules.props.fist import GRIP_SOURCE
from kinelint_rules.props.holder_findings import jumps, misplaced, moves, reaches, through
from kinelint_rules.props.holder_settings import PropHolderSettings
from kinelint_rules.props.keeping import Keeping, changes, keeping
from kinelint_rules.props.prop_grip import GRIP_M, SIDE_M
from kinelint_rules.props.props import prop_motion

HOOK = Prop("boathook", "boathook", Rod((0, 0, -0.9), (0, 0, 1.3), 0.017), (("fore", (0, 0, 0.3)),))


class PropHolder(Rule[PropHolderSettings]):
    """Props change between holder and hand without a jump, and keep out of the body.

    While the cue sheet has a prop `kept`, it must lie in its holder as the sheet says, and stay
    there. Where a hand takes it or puts it back (an entry of `held` beside one of `kept`), the
    hand must be at the grip, and the prop may not jump.

    While it is held or kept, a rod or box may not lie in the body (capsules, as in
    `penetration`). The hand and forearm that hold it may touch it, and so may the body around a
    holder that hangs on it. What is neither held nor kept, as in flight, is nobody's.
    """

    id = "prop-holder"
    source = (
        "Depth of capsules after Ericson 2005, Real-Time Collision Detection, section 5.1.9; "
        f"grip of {GRIP_SOURCE}."
    )
    level = Level.WARNING
    limits = (
        ("note_mm", "warning_mm", "error_mm"),
        ("note_deg", "warning_deg", "error_deg"),
        ("reach_note_mm", "reach_warning_mm", "reach_error_mm"),
        ("jump_note_mm", "jump_warning_mm", "jump_error_mm"),
        ("jump_note_deg", "jump_warning_deg", "jump_error_deg"),
        ("depth_note_mm", "depth_warning_mm", "depth_error_mm"),
    )
    quantity = "How far a prop is from its holder or hand, jumps between them, or is in the body."
    on_screen = "The boathook snaps from its rack into the hand, or sweeps through the chest."
    remedy = "Bring the hand to where the holder has the prop, and pin the prop to either."

    @staticmethod
    def check(motion: Motion, settings: PropHolderSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields one finding for each thing that is wrong with a prop."""
        cue = motion.cue
        if cue.additive:
            raise NotApplicable("the clip is additive: it has no pose of its own")
        if not cue.kept and not cue.held:
            raise NotApplicable("the cue sheet has no prop kept or held in this clip")
        said = [*(one.prop for one in cue.kept), *(one.prop for one in cue.held)]
        names = list(dict.fromkeys(said))
        lacking: dict[str, Unjudged] = {}
        for name in names:
            try:
                motion.derive(prop_motion, name)
            except NotApplicable as reason:
                lacking[name] = Unjudged(str(reason))
        if len(lacking) == len(names):
            raise NotApplicable(next(iter(lacking.values())).reason)
        yield from lacking.values()
        style = not (settings.stylised_as_people or motion.derive(built_like_a_person))
        found = list(_judged(motion, settings, [name for name in names if name not in lacking]))
        yield from (one for one in found if isinstance(one, Unjudged))
        told = [one for one in found if isinstance(one, Finding)]
        for one in sorted(told, key=lambda f: (f.span.first, f.parts, f.detail)):
            styled = style and one.level is Level.ERROR
            yield replace(one, level=Level.WARNING) if styled else one

    @staticmethod
    def examples() -> Iterable[Example]:
        """A boathook taken from its rack: well, with a jump, moved early, through the chest."""
        yield Example("taken from its rack at half time", _taken())
        yield Example(
            "the rack has it 100 mm further to the side: it jumps into the hand",
            _taken(rack_m=(-0.1, 0.0, 0.0)),
            finds=1,
            parts=("right_hand",),
            frames=(29, 30),
            slack_frames=1,
            measured=100.0,
            within=0.5,
            level=Level.WARNING,
        )
        early = np.zeros((3, 61))
        early[1, 10:20] = 0.05
        yield Example(
            "moves in its rack before the hand is there",
            _taken(shift_m=early),
            finds=1,
            parts=("clip",),
            frames=(10, 19),
            slack_frames=0,
            measured=50.0,
            level=Level.WARNING,
        )
        yield Example(
            "the sheet has it 60 mm higher in the rack",
            _taken(declared_m=(0.0, 0.06, 0.0)),
            finds=1,
            parts=("clip",),
            frames=(0, 29),
            slack_frames=1,
            measured=60.0,
            level=Level.WARNING,
        )
        yield Example(
            "held through the chest",
            _through_chest(),
            finds=1,
            parts=("thorax", "abdomen"),
            frames=(0, 60),
            level=Level.ERROR,
        )
        yield Example("nothing is kept or held", made(), not_applicable=True)


def _judged(
    motion: Motion, settings: PropHolderSettings, names: list[str]
) -> Iterator[Finding | Unjudged]:
    keepings: list[Keeping] = []
    for kept in motion.cue.kept:
        try:
            one = motion.derive(keeping, kept) if kept.prop in names else None
        except NotApplicable as reason:
            yield Unjudged(str(reason))
            continue
        if one is not None:
            keepings.append(one)
    moved = []
    for one in keepings:
        yield from misplaced(motion, one, settings)
        moved += list(moves(motion, one, settings))
    yield from moved
    for change in changes(motion, keepings, settings.change_s):
        try:
            yield from jumps(motion, change, settings, moved)
            yield from reaches(motion, change, settings)
        except NotApplicable as reason:
            yield Unjudged(str(reason), (change.held.hand,))
    body = motion.figure.body
    for name in names:
        prop = motion.derive(prop_motion, name)
        if prop.prop.bulk is None:
            yield Unjudged(f"the cue sheet gives the {name} no rod and no box: it may lie anywhere")
        elif body is None or not len(body.capsules):
            yield Unjudged("the figure has no volume")
        else:
            yield from through(motion, prop, keepings, settings)


_GRIP = np.array(HOOK.grips[0][1])


def _taken(
    *,
    rack_m: tuple[float, float, float] = (0.0, 0.0, 0.0),
    declared_m: tuple[float, float, float] = (0.0, 0.0, 0.0),
    shift_m: Floats | float = 0.0,
) -> Motion:
    """The right arm reaches out, is still for a moment, and swings back with the boathook.

    Args:
        rack_m: how far the rack is from where the hand takes it, and the sheet says so.
        declared_m: how far the sheet has the rack from where it is.
        shift_m: added to where the boathook is.
    """
    time = np.arange(61)
    out = 25.0 * (1.0 - np.cos(np.pi * np.minimum(np.abs(time - 30), 20) / 20.0)) / 2.0
    turns = {"right_upper_arm": [("Z", -45.0 + out)]}
    figure = made(frames=61, turns=turns)
    in_hand, turn = carried(figure, "right_hand", np.array([0.0, -GRIP_M, -SIDE_M]) - _GRIP)
    rack = in_hand[:, 30] + np.array(rack_m)
    in_rack = time < 30
    place = np.where(in_rack, rack[:, None], in_hand) + shift_m
    turn = np.where(in_rack, turn[:, 30:31], turn)
    x, y, z = (float(value) for value in rack + np.array(declared_m))
    w, i, j, k = (float(value) for value in turn[:, 30])
    cue = Cue(
        props=(HOOK,),
        held=(Held("boathook", "right_hand", "fore", 0.5),),
        kept=(Kept("boathook", "rack", "", (x, y, z), (w, i, j, k), None, 0.5),),
    )
    return with_prop(figure, "boathook", place, turn, cue=cue)


def _through_chest() -> Motion:
    """A boathook that lies across the chest, level, from behind to before."""
    figure = made(frames=61)
    cue = Cue(props=(HOOK,), held=(Held("boathook", "right_hand"),))
    place = figure.part("thorax").position_m + np.array([[0.0], [0.1], [0.0]])
    return with_prop(figure, "boathook", place, cue=cue)
