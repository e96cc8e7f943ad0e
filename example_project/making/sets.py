"""Defects between clips that belong together, and of whole takes."""

from __future__ import annotations

import numpy as np

from making import deck, line
from making.crew import ARM, FOREARM
from making.curves import bump, ease
from making.defects import Planted, above
from making.pose import Act, Motion, solve
from making.turns import Array

Made = tuple[Motion, Planted]


def off_chain(rate_hz: float, clip: str) -> Made:
    """The end of the haul begins with the left arm 8 degrees away from the loop's end."""
    motion = solve(line.haul_end(rate_hz), rate_hz)
    t = np.arange(motion.frames) / rate_hz
    turned = motion.with_turn("left_upper_arm", "Y", 8.0 * (1.0 - ease(t / 0.8)))
    story = "The loop was mended afterwards, and this was not."
    return turned, Planted(clip, "chain-seam", ("left_upper_arm",), 0, 0, 8.0, "deg", story)


LATE_S = 0.3


def late_catch(rate_hz: float, clip: str) -> Made:
    """The line is caught 300 ms after it has come."""
    motion = solve(line.line_catch(rate_hz), rate_hz)
    late = round(LATE_S * rate_hz)
    waits = np.r_[np.zeros(late, dtype=np.intp), 0 : motion.frames]
    first = round(line.CATCH_S * rate_hz)
    story = "A beat was put in before the catch, and not before the throw."
    return motion.at(waits), Planted(
        clip, "contact-sync", ("clip",), first, first + late, 1000.0 * LATE_S, "ms", story
    )


def edited_mirror(rate_hz: float, clip: str) -> Made:
    """A turn to the right, mirrored from the left one; then its right arm was raised by 12 deg."""
    motion = solve(deck.turn_about(rate_hz), rate_hz).mirrored()
    share = bump(np.arange(motion.frames) / rate_hz, 0.7, 1.7, 0.3)
    raised = motion.with_turn("right_upper_arm", "Z", -12.0 * share)
    first, last = above(share, 0.25)
    story = "The arm was cleared from the rail on this side only."
    parts = ("right_upper_arm",)
    return raised, Planted(clip, "mirror-match", parts, first, last, 12.0, "deg", story)


def uncut_take(rate_hz: float, clip: str) -> Made:
    """Arms out for a second; then the line is taken up."""
    motion = solve(_with_arms_out(line.haul_start(rate_hz), rate_hz), rate_hz)
    held = round(1.0 * rate_hz)
    story = "The recording was imported as it came off the stage."
    return motion, Planted(clip, "untrimmed", ("clip",), 0, held - 1, 1.0, "s", story)


def _with_arms_out(act: Act, rate_hz: float) -> Act:
    """One second with the arms level, half a second to lower them, then the act."""
    before = round(1.5 * rate_hz)

    def longer(path: Array) -> Array:
        return np.concatenate((np.repeat(path[:1], before, axis=0), path))

    for name in ("pelvis", "pelvis_yaw_deg", "pelvis_pitch_deg", "back_pitch_deg", "back_yaw_deg"):
        setattr(act, name, longer(getattr(act, name)))
    act.head_pitch_deg = longer(act.head_pitch_deg)
    act.elbow_poles = {side: longer(path) for side, path in act.elbow_poles.items()}
    for foot in act.feet.values():
        foot.ankle, foot.yaw_deg = longer(foot.ankle), longer(foot.yaw_deg)
        foot.pitch_deg, foot.toes_deg = longer(foot.pitch_deg), longer(foot.toes_deg)
    share = ease((np.arange(len(act.pelvis)) / rate_hz - 1.0) / 0.5)[:, None]
    for side, sign in (("left", 1.0), ("right", -1.0)):
        out = act.pelvis + np.array([sign * (0.190 + 0.99 * (ARM + FOREARM)), 0.445, 0.0])
        act.wrists[side] = out + share * (longer(act.wrists[side]) - out)
    return act
