"""Defects of known size in known frames, as edits, exports and retimes leave them behind."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from making import boathook, deck, line
from making.crew import ENDS, FOREARM, LIMB_RADII, SHANK, THIGH
from making.curves import bump, ease, keyed, times
from making.pose import Act, Motion, solve
from making.turns import Array, about

# How far the hand that rests in the thigh is bent, thumb side away from the leg.
WRIST_DEG = -50.0


@dataclass(frozen=True)
class Planted:
    """One line of the truth table. Frames are counted from 0, `measured` has its sign."""

    clip: str
    rule: str
    parts: tuple[str, ...]
    first: int
    last: int
    measured: float
    unit: str
    story: str


UNEXPORTED = Planted(
    "work/cast_off.bvh",
    "stale-export",
    ("clip",),
    0,
    0,
    0.0,
    "",
    "The working file was saved, and its export forgotten.",
)


def slid_foot(rate_hz: float, clip: str) -> tuple[Motion, Planted]:
    """The left foot slides 80 mm forward in its second stance; the next swing hides it."""
    act = deck.walk(rate_hz)
    t = times(2.0 * deck.CYCLE_S, rate_hz)
    moved = 0.080 * (ease((t - 1.26) / 0.20) - ease((t - 1.80) / 0.34))
    act.feet["left"].ankle[:, 2] += moved
    first, last = round(1.26 * rate_hz), round(1.46 * rate_hz)
    story = "The clip was retimed by hand and the left foot no longer keeps its place."
    return solve(act, rate_hz), Planted(
        clip, "foot-slide", ("left_foot",), first, last, 80.0, "mm", story
    )


def open_loop(rate_hz: float, clip: str) -> tuple[Motion, Planted]:
    """The left arm comes back 9 degrees off."""
    motion = solve(line.haul_loop(rate_hz), rate_hz)
    t = times(line.HAUL_CYCLE_S, rate_hz)
    turned = motion.with_turn("left_upper_arm", "Y", -9.0 * ease((t - 0.9) / 0.6))
    last = motion.frames - 1
    story = "The left arm was corrected after the loop had been closed."
    return turned, Planted(clip, "loop-seam", ("left_upper_arm",), last, last, 9.0, "deg", story)


def stretched_forearm(rate_hz: float, clip: str) -> tuple[Motion, Planted]:
    """The right forearm grows by 6 percent while the line flies."""
    motion = solve(line.line_throw(rate_hz), rate_hz)
    t = np.arange(motion.frames) / rate_hz
    share = bump(t, 1.0, 1.7, 0.15)
    pulled = motion.with_shift("right_hand", np.outer(share, [-0.06 * FOREARM, 0.0, 0.0]))
    first, last = above(share, 0.5)
    story = "The hand was keyed to the coil, further out than the arm reaches."
    return pulled, Planted(
        clip, "limb-stretch", ("right_forearm",), first, last, 6.0, "percent", story
    )


def sunk_foot(rate_hz: float, clip: str) -> tuple[Motion, Planted]:
    """The right foot stands 60 mm below the deck."""
    act = boathook.push_off(rate_hz)
    t = np.arange(len(act.pelvis)) / rate_hz
    share = bump(t, 1.25, 2.35, 0.2)
    act.feet["right"].ankle[:, 1] -= 0.060 * share
    first, last = above(share, 0.85)
    story = "The hips were lowered for weight and the back foot went with them."
    return solve(act, rate_hz), Planted(
        clip, "ground-contact", ("right_foot",), first, last, 60.0, "mm", story
    )


def floating_figure(rate_hz: float, clip: str) -> tuple[Motion, Planted]:
    """The whole figure stands 70 mm above the deck."""
    act = boathook.boathook_return(rate_hz)
    up = np.array([0.0, 0.070, 0.0])
    act.pelvis = act.pelvis + up
    act.wrists = {side: path + up for side, path in act.wrists.items()}
    for foot in act.feet.values():
        foot.ankle = foot.ankle + up
    story = "The clip was carried over from a taller figure."
    last = len(act.pelvis) - 1
    parts = ("left_foot", "right_foot")
    return solve(act, rate_hz), Planted(clip, "ground-contact", parts, 0, last, 70.0, "mm", story)


def backward_knee(rate_hz: float, clip: str) -> tuple[Motion, Planted]:
    """The left knee passes through straight and 18 degrees beyond."""
    act = deck.idle(rate_hz)
    t = np.arange(len(act.pelvis)) / rate_hz
    bend = keyed(t, [(0.0, 10.0), (1.0, 2.0), (1.6, -18.0), (2.4, -18.0), (3.0, 2.0), (4.0, 10.0)])
    act.knee_back["left"] = bend < 0
    _set_knee(act, "left", np.abs(bend))
    motion = solve(act, rate_hz)
    first, last = above(-bend, 10.0)
    story = "The leg was locked straight by hand, and went past straight."
    return motion, Planted(clip, "joint-limit", ("left_shank",), first, last, 18.0, "deg", story)


def _set_knee(act: Act, side: str, bend_deg: Array) -> None:
    """Raises or lowers the pelvis until the knee of a planted leg is bent so far."""
    reach = np.sqrt(
        THIGH**2 + SHANK**2 + 2.0 * THIGH * SHANK * np.cos(np.radians(np.maximum(bend_deg, 7.0)))
    )
    hip = act.pelvis + np.array([0.092 if side == "left" else -0.092, -0.045, 0.0])
    away = hip - act.feet[side].ankle
    height = np.sqrt(reach**2 - away[:, 0] ** 2 - away[:, 2] ** 2)
    lift = height - away[:, 1]
    act.pelvis[:, 1] += lift
    act.wrists = {s: path + np.outer(lift, [0, 1, 0]) for s, path in act.wrists.items()}


def hand_in_thigh(rate_hz: float, clip: str) -> tuple[Motion, Planted]:
    """The left hand hangs inside the left thigh."""
    act = line.line_catch(rate_hz)
    t = np.arange(len(act.pelvis)) / rate_hz
    share = ease((t - 1.5) / 0.4)
    beside = act.pelvis + np.array([0.215, -0.075, 0.075])
    act.wrists["left"] += share[:, None] * (beside - act.wrists["left"])
    act.hand_turns["left"] = about("Z", WRIST_DEG * share)
    motion = solve(act, rate_hz)
    depth = np.array([_overlap(motion, "left_hand", "left_thigh", f) for f in range(motion.frames)])
    inside = np.flatnonzero(depth > 0.010)
    worst = 1000.0 * float(depth.max())
    story = "The hand was lowered to rest the arm, without the leg in view."
    parts = ("left_hand", "left_thigh")
    planted = Planted(
        clip, "penetration", parts, int(inside[0]), int(inside[-1]), round(worst, 1), "mm", story
    )
    return motion, planted


def _overlap(motion: Motion, first: str, second: str, frame: int) -> float:
    """How deep two round limbs overlap, by trying 400 x 400 pairs of points on their axes."""
    radii = sum(LIMB_RADII[name.partition("_")[2]] for name in (first, second))
    share = np.linspace(0.0, 1.0, 400)[:, None]
    lines = []
    for name in (first, second):
        start = motion.positions[name][frame]
        reach = {"hand": ENDS.get(name, (0, 0, 0)), "thigh": (0.0, -THIGH, 0.0)}
        end = start + motion.rotations[name][frame] @ np.array(reach[name.partition("_")[2]])
        lines.append(start + share * (end - start))
    apart = np.linalg.norm(lines[0][:, None, :] - lines[1][None, :, :], axis=-1)
    return float(radii - apart.min())


def above(share: Array, bound: float) -> tuple[int, int]:
    """First and last frame in which something is above a bound."""
    inside = np.flatnonzero(share > bound)
    return int(inside[0]), int(inside[-1])
