"""Defects of single clips, as solvers, sensors and conversions leave them behind."""

from __future__ import annotations

import numpy as np

from making import boathook, deck, line
from making.acts import on_the_spot
from making.crew import FOREARM, HEEL, NAMES, OFFSETS, STATURE
from making.curves import keyed
from making.defects import Planted, above
from making.pose import Motion, solve
from making.weight import centre

Made = tuple[Motion, Planted]


def popped_arm(rate_hz: float, clip: str) -> Made:
    """The right upper arm is 25 degrees off for two frames."""
    motion = solve(deck.step_across(rate_hz), rate_hz)
    off = np.zeros(motion.frames)
    off[40:42] = -25.0
    story = "The solver swapped two markers of the arm for two frames."
    popped = motion.with_turn("right_upper_arm", "Z", off)
    return popped, Planted(clip, "pop", ("right_upper_arm",), 40, 41, 25.0, "deg", story)


def shivering_forearm(rate_hz: float, clip: str) -> Made:
    """The right forearm shakes by 6 degrees, peak to peak, at 11 Hz for 1.2 s."""
    motion = solve(deck.turn_about(rate_hz), rate_hz)
    t = np.arange(motion.frames) / rate_hz
    shake = 3.0 * np.sin(2.0 * np.pi * 11.0 * t) * ((t > 0.7) & (t < 1.9))
    first, last = above(np.abs(shake), 0.0)
    story = "The sensor sat loose on its strap."
    shaken = motion.with_turn("right_forearm", "Y", shake)
    return shaken, Planted(clip, "jitter", ("right_forearm",), first, last, 6.0, "deg", story)


def repeated_frames(rate_hz: float, clip: str) -> Made:
    """Four frames repeat the one before amid the walk."""
    motion = solve(deck.walk(rate_hz), rate_hz)
    shown = np.r_[0:60, [59] * 4, 60 : motion.frames]
    story = "The recorder lost four frames and filled them with the last one."
    size = round(4000.0 / rate_hz, 1)
    return motion.at(shown), Planted(clip, "stall", ("clip",), 60, 63, size, "ms", story)


def creeping_walk(rate_hz: float, clip: str) -> Made:
    """A walk on the spot that still travels by 90 mm."""
    act = deck.walk(rate_hz)
    seconds = (len(act.pelvis) - 1) / rate_hz
    speed = 2.0 * deck.STEP_M / deck.CYCLE_S - 0.090 / seconds
    motion = solve(on_the_spot(act, (0.0, 0.0, speed), rate_hz), rate_hz)
    last = motion.frames - 1
    story = "The travel was taken out by eye."
    return motion, Planted(clip, "drift", ("pelvis",), 0, last, 90.0, "mm", story)


def slow_fall(rate_hz: float, clip: str) -> Made:
    """A hop that falls with 4 m/s2."""
    gravity = 4.0
    act = deck.hop(rate_hz, gravity)
    # A foot that hardly left the deck may still carry: 20 mm and more are in the air.
    clear = act.feet["left"].ankle[:, 1] - act.feet["left"].ankle[0, 1] > 0.020
    first, last = above(1.0 * clear, 0.5)
    story = "The hop was slowed down to let the landing be seen."
    return solve(act, rate_hz), Planted(
        clip, "flight", ("pelvis",), first, last, gravity, "m/s2", story
    )


def leans_back(rate_hz: float, clip: str) -> Made:
    """Stands with the hips behind the heels, and stays there."""
    act = deck.idle(rate_hz)
    t = np.arange(len(act.pelvis)) / rate_hz
    share = keyed(t, [(0.0, 0.0), (1.0, 1.0), (3.0, 1.0), (4.0, 0.0)])
    moved = np.outer(share, [0.0, -0.080, -0.310])
    act.pelvis = act.pelvis + moved
    act.wrists = {side: path + moved for side, path in act.wrists.items()}
    motion = solve(act, rate_hz)
    # A foot is as broad as 0.055 of the stature; half of that lies behind the heel as well.
    edge = act.feet["left"].ankle[0, 2] + HEEL[2] * np.cos(np.radians(7.0)) - 0.5 * 0.055 * STATURE
    outside = 1000.0 * (edge - centre(motion)[:, 2])
    first, last = above(outside, 20.0)
    story = "The weight was shifted by hand, for a rail that was cut from the scene."
    worst = round(float(outside[share > 0.99].max()), 1)
    return motion, Planted(clip, "balance", ("pelvis",), first, last, worst, "mm", story)


def wound_arm(rate_hz: float, clip: str) -> Made:
    """From one frame on the right upper arm's angle about Y is stored a whole turn higher."""
    motion = solve(line.line_throw(rate_hz), rate_hz)
    winding = np.zeros((motion.frames, 3))
    winding[50:110, 2] = 360.0
    motion.wound_deg["right_upper_arm"] = winding
    story = "Half of the curve was drawn anew, a whole turn away."
    parts = ("right_upper_arm",)
    return motion, Planted(clip, "wrap-flip", parts, 49, 110, 360.0, "deg", story)


def long_forearm(rate_hz: float, clip: str) -> tuple[Motion, list[Planted]]:
    """The left forearm is 24 mm longer than the project's, and than the right one."""
    motion = solve(deck.idle(rate_hz), rate_hz)
    longer = OFFSETS[NAMES.index("left_hand")] + np.array([0.024, 0.0, 0.0])
    motion.offsets["left_hand"] = longer
    last, story = motion.frames - 1, "The left wrist's marker was set too low at calibration."
    percent = round(100.0 * 0.024 / (FOREARM + 0.012), 2)
    parts = ("left_forearm", "right_forearm")
    return motion, [
        Planted(clip, "asymmetry", parts, 0, last, percent, "percent", story),
        Planted(clip, "skeleton-match", ("left_hand",), 0, last, 24.0, "mm", story),
    ]


def low_rate(rate_hz: float, clip: str) -> Made:
    """A walk at 24 frames a second, where 30 and 60 are asked for."""
    motion = solve(deck.walk(rate_hz, loaded=True, step_m=0.50), rate_hz)
    last = motion.frames - 1
    story = "It was exported from the film edit."
    return motion, Planted(clip, "clip-form", ("clip",), 0, last, rate_hz, "Hz", story)


def slow_push(rate_hz: float, clip: str) -> Made:
    """The push takes 1400 ms, where 600 to 1000 are asked for."""
    motion = solve(boathook.push_off(rate_hz, 1.4), rate_hz)
    first, last = (round(s * rate_hz) for s in (boathook.PUSH_S[0], boathook.PUSH_S[0] + 1.4))
    story = "The push was stretched to fit a voice line."
    return motion, Planted(clip, "phase-timing", ("clip",), first, last, 1400.0, "ms", story)
