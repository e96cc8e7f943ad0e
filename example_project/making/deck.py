"""What the crew does on deck: stands, walks, turns, steps over, kneels."""

from __future__ import annotations

import numpy as np

from making.acts import STANCE_X, STAND, assemble, hang, still
from making.crew import BALL_JOINT
from making.curves import ease, keyed, times
from making.pose import Act, Foot
from making.steps import Plant, foot_track
from making.turns import Array, about, turn


def idle(rate_hz: float) -> Act:
    """Stands on deck and breathes; the deck moves a little. Loops after 4 s."""
    t = times(4.0, rate_hz)
    wave = 2.0 * np.pi * t / 4.0
    pelvis = np.stack(
        (0.008 * np.sin(wave), STAND + 0.003 * np.cos(2 * wave), 0.004 * np.sin(wave)), axis=1
    )
    zero = 0.0 * t
    return assemble(
        t,
        pelvis,
        {"left": still(t, STANCE_X, 0.0, 7.0), "right": still(t, -STANCE_X, 0.0, -7.0)},
        {
            s: hang(pelvis, zero, 0.012 * np.sin(wave + k), s)
            for s, k in (("left", 0.0), ("right", 0.6))
        },
        back_pitch_deg=1.5 + 0.8 * np.sin(2 * wave),
        head_pitch_deg=4.0 * np.sin(wave),
    )


CYCLE_S, STEP_M, STANCE_SHARE = 1.10, 0.58, 0.62


def walk(rate_hz: float, *, cycles: int = 2, loaded: bool = False, step_m: float = STEP_M) -> Act:
    """Walks across the deck along +Z. One cycle is two steps; whole cycles loop."""
    t = times(cycles * CYCLE_S, rate_hz)
    speed = 2.0 * step_m / CYCLE_S
    feet = {}
    for side, sign, lag in (("left", 1.0, 0.0), ("right", -1.0, 0.5)):
        plants = []
        for k in range(-3, cycles + 4):
            land = (k + lag) * CYCLE_S
            z = speed * (land + 0.5 * STANCE_SHARE * CYCLE_S) - 0.015
            plants.append(Plant(land, land + STANCE_SHARE * CYCLE_S, sign * 0.085, z, sign * 5.0))
        feet[side] = foot_track(t, plants)
    phase = 2.0 * np.pi * t / CYCLE_S
    mid = 2.0 * np.pi * 0.5 * STANCE_SHARE
    pelvis = np.stack(
        (
            0.022 * np.cos(phase - mid),
            STAND - 0.046 + 0.014 * np.cos(2.0 * (phase - mid)),
            speed * t,
        ),
        axis=1,
    )
    yaw = -4.0 * np.cos(phase)
    swing = 0.19 * np.cos(phase)
    if loaded:
        wrists = {s: _crate_grip(pelvis, s) for s in ("left", "right")}
        return assemble(
            t, pelvis, feet, wrists, back_pitch_deg=-3.0 + 0.0 * t, head_pitch_deg=4.0 + 0.0 * t
        )
    zero = 0.0 * t
    return assemble(
        t,
        pelvis,
        feet,
        {
            "left": hang(pelvis, zero, -swing, "left", 0.02),
            "right": hang(pelvis, zero, swing, "right", 0.02),
        },
        pelvis_yaw_deg=yaw,
        back_yaw_deg=-2.2 * yaw,
        back_pitch_deg=3.0 + 0.0 * t,
    )


def _crate_grip(pelvis: Array, side: str) -> Array:
    sign = 1.0 if side == "left" else -1.0
    return np.asarray(pelvis + np.array([sign * 0.20, 0.13, 0.36]))


def turn_about(rate_hz: float) -> Act:
    """Turns 90 degrees to the left with three small steps."""
    t = times(2.4, rate_hz)
    yaw = keyed(t, [(0.0, 0.0), (0.25, 0.0), (2.0, 90.0), (2.4, 90.0)])
    small = {"strike_deg": 4.0, "push_deg": 16.0, "clearance": 0.035, "push_s": 0.2}
    left = [
        Plant(-9, 0.45, STANCE_X, 0.0, 7.0, **small),
        Plant(0.95, 99.0, 0.02, -0.10, 90.0, **small),
    ]
    right = [
        Plant(-9, 1.15, -STANCE_X, 0.0, -7.0, **small),
        Plant(1.75, 99.0, 0.0, 0.11, 84.0, **small),
    ]
    weight = keyed(
        t,
        [
            (0.0, 0.0),
            (0.42, -0.06),
            (0.95, -0.05),
            (1.15, 0.02),
            (1.75, 0.02),
            (2.2, 0.01),
            (2.4, 0.01),
        ],
    )
    pelvis = np.stack(
        (
            weight,
            STAND - 0.025 + 0.0 * t,
            keyed(t, [(0, 0.0), (1.0, -0.03), (1.9, 0.005), (2.4, 0.005)]),
        ),
        axis=1,
    )
    return assemble(
        t,
        pelvis,
        {"left": foot_track(t, left), "right": foot_track(t, right)},
        {s: hang(pelvis, yaw, 0.0 * t, s) for s in ("left", "right")},
        pelvis_yaw_deg=yaw,
    )


PUSH_UP_S, CROUCH_M = 0.24, 0.12


def hop(rate_hz: float, gravity: float = 9.81) -> Act:
    """Bends the knees and hops onto the same spot of the deck; falls with this gravity, m/s2."""
    speed = 2.0 * CROUCH_M / PUSH_UP_S  # as the push leaves it
    air = 2.0 * speed / gravity
    t = times(1.0 + PUSH_UP_S + air + PUSH_UP_S + 0.8, rate_hz)
    leaves = 1.0 + PUSH_UP_S
    lands = leaves + air
    down = -CROUCH_M * (ease((t - 0.4) / 0.6) - ease((t - lands - PUSH_UP_S) / 0.7))
    push = 0.5 * speed / PUSH_UP_S * np.clip(t - 1.0, 0.0, PUSH_UP_S) ** 2
    inside = np.clip(t - leaves, 0.0, air)
    up = speed * inside - 0.5 * gravity * inside**2
    left = lands + PUSH_UP_S - t
    give = CROUCH_M - 0.5 * speed / PUSH_UP_S * np.clip(left, 0.0, PUSH_UP_S) ** 2
    height = down + push + up - np.where(t > lands, give, 0.0)
    pelvis = np.stack((0.0 * t, STAND - 0.03 + height, 0.0 * t), axis=1)
    feet = {"left": still(t, STANCE_X, 0.0, 7.0), "right": still(t, -STANCE_X, 0.0, -7.0)}
    for foot in feet.values():
        foot.ankle[:, 1] += up
    swing = 0.08 * np.sin(np.pi * np.clip((t - 0.4) / (lands + 0.4), 0.0, 1.0)) ** 2
    hands = {s: hang(pelvis, 0.0 * t, swing, s, 0.02) for s in ("left", "right")}
    return assemble(t, pelvis, feet, hands)


GAP_FLOOR = 0.12  # the quay lies higher than the deck


def step_across(rate_hz: float) -> Act:
    """Steps from the deck over the gap onto the quay, which is 0.12 m higher."""
    t = times(2.8, rate_hz)
    left = [
        Plant(-9, 0.60, 0.10, 0.0, 5.0, push_deg=24.0),
        Plant(1.15, 99, 0.10, 0.62, 5.0, floor=GAP_FLOOR, clearance=0.14, strike_deg=8.0),
    ]
    right = [
        Plant(-9, 1.50, -0.10, 0.02, -5.0, push_deg=34.0, push_s=0.34),
        Plant(2.15, 99, -0.10, 0.66, -5.0, floor=GAP_FLOOR, clearance=0.16, strike_deg=5.0),
    ]
    pelvis = np.stack(
        (
            keyed(
                t, [(0, 0.0), (0.55, -0.06), (1.1, -0.03), (1.55, 0.05), (2.2, 0.02), (2.8, 0.0)]
            ),
            keyed(
                t,
                [
                    (0, STAND - 0.01),
                    (0.6, STAND - 0.03),
                    (1.15, STAND - 0.075),
                    (2.1, STAND + GAP_FLOOR - 0.05),
                    (2.8, STAND + GAP_FLOOR - 0.02),
                ],
            ),
            keyed(t, [(0, 0.0), (0.5, 0.03), (1.5, 0.42), (2.2, 0.62), (2.8, 0.63)]),
        ),
        axis=1,
    )
    swing = keyed(t, [(0, 0.0), (1.0, 0.12), (1.8, -0.10), (2.6, 0.0), (2.8, 0.0)])
    zero = 0.0 * t
    return assemble(
        t,
        pelvis,
        {"left": foot_track(t, left), "right": foot_track(t, right)},
        {
            "left": hang(pelvis, zero, -swing, "left", 0.02),
            "right": hang(pelvis, zero, swing, "right", 0.02),
        },
        back_pitch_deg=keyed(t, [(0, 2.0), (1.2, 7.0), (2.3, 3.0), (2.8, 2.0)]),
    )


def kneel(rate_hz: float) -> Act:
    """Goes down on the right knee and ties the line off at a cleat; stays down."""
    t = times(3.4, rate_hz)
    down = ease((t - 0.5) / 1.5)
    left = [
        Plant(-9, 0.35, 0.11, 0.0, 4.0, strike_deg=3.0, push_deg=14.0, push_s=0.2),
        Plant(0.95, 99, 0.12, 0.60, 4.0, strike_deg=5.0, clearance=0.04),
    ]
    right = foot_track(t, [Plant(-9, 99.0, -0.11, -0.05, -4.0)])
    pitch = 62.0 * ease((t - 0.35) / 1.2)
    _roll_over_ball(right, pitch)
    pelvis = np.stack(
        (0.01 + 0.0 * t, STAND - 0.03 - 0.395 * down, 0.28 * ease((t - 0.15) / 0.8) + 0.09 * down),
        axis=1,
    )
    tie = np.where(t > 2.0, 0.03 * np.sin(2 * np.pi * (t - 2.0) / 0.7) * ease((t - 2.0) / 0.4), 0.0)
    wrists = {}
    for side, sign in (("left", 1.0), ("right", -1.0)):
        rest = hang(pelvis, 0.0 * t, 0.0 * t, side)
        work = pelvis + np.stack(
            (sign * (0.13 + tie), 0.12 + 0.0 * t, 0.52 + 0.5 * sign * tie), axis=1
        )
        wrists[side] = rest + down[:, None] * (work - rest)
        wrists[side][:, 0] += sign * 0.06 * np.sin(np.pi * down)
        wrists[side][:, 2] += 0.06 * np.sin(np.pi * down)
    return assemble(
        t,
        pelvis,
        {"left": foot_track(t, left), "right": right},
        wrists,
        back_pitch_deg=2.0 + 24.0 * down,
        head_pitch_deg=14.0 * down,
    )


def _roll_over_ball(foot: Foot, pitch_deg: Array) -> None:
    flat = about("Y", foot.yaw_deg)
    fixed = foot.ankle + turn(flat, BALL_JOINT)
    foot.pitch_deg = pitch_deg
    foot.toes_deg = -pitch_deg
    foot.ankle = fixed - turn(flat @ about("X", pitch_deg), BALL_JOINT)
