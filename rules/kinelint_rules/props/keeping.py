"""A prop in its holder: where it should lie and where it does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.cue import Held, Kept
from kinelint.errors import NotApplicable
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint_rules.props.props import (
    Frame,
    PropMotion,
    axes_of,
    column,
    frames_of,
    joint_called,
    prop_motion,
    turned_deg,
    typical_place,
    typical_turn,
)


@dataclass(frozen=True, eq=False)
class Keeping:
    """A prop that is kept for a while.

    Attributes:
        kept: what the cue sheet says.
        prop: what is kept.
        holder: joint of the holder; None if it stands in the world.
        first, last: frames, both included.
        path_m: ``(3, n)`` the prop's middle in the holder's axes.
        wanted_m: ``(3, 1)`` where that should be.
        turns: ``(4, n)`` of the prop in the holder's axes.
        wanted: ``(4, 1)`` what that should be.
    """

    kept: Kept
    prop: PropMotion
    holder: int | None
    first: int
    last: int
    path_m: Floats
    wanted_m: Floats
    turns: Floats
    wanted: Floats

    def holder_frame(self, motion: Motion) -> Frame:
        """The holder's axes over the clip; the world's for one that stands there."""
        if self.holder is not None:
            return axes_of(motion, self.holder)
        still = np.zeros((3, motion.frames)), rotations.IDENTITY + np.zeros((4, motion.frames))
        return Frame(*still)

    def off(self) -> tuple[float, float]:
        """How far the prop usually is from where it should be, mm and deg."""
        place = typical_place(self.path_m) - self.wanted_m
        turn = turned_deg(self.prop, typical_turn(self.turns), self.wanted)
        return 1000.0 * float(np.linalg.norm(place)), float(turn[0])

    def moved(self) -> tuple[Floats, Floats]:
        """``(n,)`` mm and deg from where it usually is in the holder."""
        place = self.path_m - typical_place(self.path_m)
        turn = turned_deg(self.prop, self.turns, typical_turn(self.turns))
        return 1000.0 * np.linalg.norm(place, axis=0), turn


def keeping(motion: Motion, kept: Kept) -> Keeping | None:
    """What an entry of the sheet speaks of; None if it lies outside the clip.

    Raises:
        NotApplicable: the prop or the holder's joint is not there.
    """
    span = frames_of(motion, kept)
    if span is None:
        return None
    prop = motion.derive(prop_motion, kept.prop)
    seen, holder = prop.frame.cut(*span), None
    if kept.joint:
        holder = joint_called(motion, kept.joint)
        seen = axes_of(motion, holder).cut(*span).seen(seen)
    turn = rotations.normalise(np.asarray(kept.turn, dtype=np.float64)[:, None])
    if not np.isfinite(turn).all():
        raise NotApplicable(f"the turn of the prop in the {kept.holder} is no rotation")
    wanted = Frame(column(kept.at_m), turn).out(prop.middle_m)
    return Keeping(kept, prop, holder, *span, seen.out(prop.middle_m), wanted, seen.turn, turn)


@dataclass(frozen=True)
class Change:
    """A prop that goes from a holder to a hand, or back.

    Attributes:
        taken: out of the holder; else put back.
        frame: of the hand: its first with the prop, or its last.
        first, last: frames around the change.
    """

    keeping: Keeping
    held: Held
    taken: bool
    frame: int
    first: int
    last: int


def changes(motion: Motion, keepings: list[Keeping], within_s: float) -> list[Change]:
    """Every time that a prop is taken out of a holder or put back."""
    within = within_s * motion.sample_rate_hz + 1e-6
    found = []
    for one in keepings:
        spans = [
            (held, span)
            for held in motion.cue.held
            if held.prop == one.kept.prop and (span := frames_of(motion, held)) is not None
        ]
        # A second hand that is there already, or comes later, changes nothing.
        after = [row for row in spans if 0 <= row[1][0] - one.last - 1 <= within]
        before = [row for row in spans if 0 <= one.first - row[1][1] - 1 <= within]
        if after:
            held, span = min(after, key=lambda row: row[1][0])
            found.append(Change(one, held, True, span[0], one.last, span[0]))
        if before:
            held, span = max(before, key=lambda row: row[1][1])
            found.append(Change(one, held, False, span[1], span[1], one.first))
    return found
