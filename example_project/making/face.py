"""What the crew's faces do."""

from __future__ import annotations

import numpy as np

from making import deck
from making.curves import bump
from making.defects import Planted, above
from making.pose import Motion, solve
from making.turns import Array

_CALL_S = (1.0, 2.4)


def call_out(rate_hz: float, loudest: float = 0.9) -> Motion:
    """Stands on deck and calls over to the quay, with a blink before and one after."""
    motion = solve(deck.idle(rate_hz), rate_hz)
    t = np.arange(motion.frames) / rate_hz
    lids = bump(t, 0.4, 0.7, 0.12) + bump(t, 3.0, 3.3, 0.12)
    motion.face = {"mouth_open": _mouth(t, loudest), "blink_left": lids, "blink_right": lids}
    return motion


def _mouth(t: Array, loudest: float) -> Array:
    return loudest * bump(t, *_CALL_S, 0.35)


def torn_mouth(rate_hz: float, clip: str) -> tuple[Motion, Planted]:
    """The mouth opens to 1.2 where 1 is wide open."""
    motion = call_out(rate_hz, 1.2)
    first, last = above(motion.face["mouth_open"], 1.02)
    story = "The call was made louder by scaling its curve."
    return motion, Planted(clip, "face-range", ("head",), first, last, 1.2, "ratio", story)
