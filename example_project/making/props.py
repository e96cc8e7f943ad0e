"""Clips in which hands carry things: the boathook that goes into its rack, the crate."""

from __future__ import annotations

import numpy as np

from making import boathook, deck
from making.crew import STATURE
from making.curves import bump
from making.defects import Planted, above
from making.pose import Motion, solve
from making.turns import Array, turn

Made = tuple[Motion, Planted]

# A fist closes around a rod so far beyond the wrist (ANSUR II, men: 62.1 mm of 1756.2).
GRIP_M = 62.1 / 1756.2 * STATURE
# The boathook lies along its own Y, from 0.7 m below its grip to 1.3 m above.
IN_RACK_S = 1.5


def stow(rate_hz: float, *, slip_m: Array | float = 0.0, aside_m: float = 0.0) -> Motion:
    """Puts the boathook into its rack; it leaves the right hand after 1.5 s.

    Args:
        rate_hz: frames a second.
        slip_m: how far the boathook slides up through the fist, (frames,).
        aside_m: how far the figure stands to the left of its mark.
    """
    motion = solve(boathook.boathook_return(rate_hz), rate_hz)
    n, leaves = motion.frames, round(IN_RACK_S * rate_hz)
    hand, wrist = motion.rotations["right_hand"], motion.positions["right_hand"]
    fist = wrist + turn(hand, np.array([-GRIP_M, 0.0, 0.0]))
    # Upright in the rack, and turned with the hand before that.
    turned = hand @ hand[leaves].T
    slid = np.outer(np.broadcast_to(slip_m, (n,)), [0.0, 1.0, 0.0])
    place = fist + np.einsum("fij,fj->fi", turned, slid)
    aside = np.array([aside_m, 0.0, 0.0])
    motion.positions = {name: path + aside for name, path in motion.positions.items()}
    kept = np.arange(n)[:, None] >= leaves
    place = np.where(kept, fist[leaves], place + aside)
    motion.props["boathook"] = np.where(kept[..., None], np.eye(3), turned), place
    return motion


def slipping(rate_hz: float, clip: str) -> Made:
    """The boathook slides up through the closed fist by 60 mm, and back."""
    t = np.arange(round(2.6 * rate_hz) + 1) / rate_hz
    slip = 0.060 * bump(t, 0.4, 0.8, 0.15)
    first, last = above(slip, 0.012)
    story = "The boathook was keyed by itself, and follows the hand by eye."
    motion = stow(rate_hz, slip_m=slip)
    return motion, Planted(clip, "prop-grip", ("right_hand",), first, last, 60.0, "mm", story)


def snapping(rate_hz: float, clip: str) -> Made:
    """The figure stands 100 mm off its mark: the boathook snaps into the rack."""
    leaves = round(IN_RACK_S * rate_hz)
    story = "The figure was moved on its mark after the rack had been set up."
    return stow(rate_hz, aside_m=0.100), Planted(
        clip, "prop-holder", ("right_hand",), leaves - 1, leaves, 100.0, "mm", story
    )


def carry(rate_hz: float) -> Motion:
    """Carries a crate in both hands before the belly."""
    motion = solve(deck.walk(rate_hz, loaded=True, step_m=0.50), rate_hz)
    fists = []
    for side, sign in (("left", 1.0), ("right", -1.0)):
        hand, wrist = motion.rotations[f"{side}_hand"], motion.positions[f"{side}_hand"]
        fists.append(wrist + turn(hand, np.array([sign * GRIP_M, 0.0, 0.0])))
    level = np.broadcast_to(np.eye(3), (motion.frames, 3, 3)).copy()
    motion.props["crate"] = level, 0.5 * (fists[0] + fists[1])
    return motion
