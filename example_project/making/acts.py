"""What the crew does: one function a clip."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from making.crew import BALL_JOINT, HIP_HEIGHT
from making.curves import ease, keyed, times
from making.pose import Act, Foot
from making.steps import Plant, foot_track
from making.turns import Array, about, turn

STAND = HIP_HEIGHT + 0.045 - 0.006  # knees a little soft
STANCE_X = 0.105
DOWN_BACK = np.array([0.0, -0.35, -1.0])


def _still(t: Array, x: float, z: float, yaw_deg: float = 0.0) -> Foot:
    return foot_track(t, [Plant(-9.0, 99.0, x, z, yaw_deg)])


def _act(
    t: Array, pelvis: Array, feet: dict[str, Foot], wrists: dict[str, Array], **more: object
) -> Act:
    zero = np.zeros(len(t))
    given: dict[str, object] = {
        "pelvis_yaw_deg": zero,
        "pelvis_pitch_deg": zero,
        "back_pitch_deg": zero,
        "back_yaw_deg": zero,
        "head_pitch_deg": zero,
        **more,
    }
    yaw = np.asarray(given["pelvis_yaw_deg"])
    if "elbow_poles" not in given:
        out = {"left": 0.35, "right": -0.35}
        given["elbow_poles"] = {
            side: turn(about("Y", yaw), DOWN_BACK + np.array([x, 0.0, 0.0]))
            for side, x in out.items()
        }
    return Act(pelvis=pelvis, feet=feet, wrists=wrists, **given)  # type: ignore[arg-type]


def hang(pelvis: Array, yaw_deg: Array, swing: Array, side: str, bend: float = 0.0) -> Array:
    """A wrist that hangs beside the hip; `swing` metres forward, `bend` metres up."""
    sign = 1.0 if side == "left" else -1.0
    rows = np.stack(
        (
            np.full(len(swing), sign * 0.285),
            -0.085 + bend + 0.35 * swing**2,
            0.045 + swing,
        ),
        axis=1,
    )
    return np.asarray(pelvis + turn(about("Y", yaw_deg), rows))


def idle(rate_hz: float) -> Act:
    """Stands on deck and breathes; the deck moves a little. Loops after 4 s."""
    t = times(4.0, rate_hz)
    wave = 2.0 * np.pi * t / 4.0
    pelvis = np.stack(
        (0.008 * np.sin(wave), STAND + 0.003 * np.cos(2 * wave), 0.004 * np.sin(wave)), axis=1
    )
    zero = 0.0 * t
    return _act(
        t,
        pelvis,
        {"left": _still(t, STANCE_X, 0.0, 7.0), "right": _still(t, -STANCE_X, 0.0, -7.0)},
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
        return _act(
            t, pelvis, feet, wrists, back_pitch_deg=-3.0 + 0.0 * t, head_pitch_deg=4.0 + 0.0 * t
        )
    zero = 0.0 * t
    return _act(
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
    return _act(
        t,
        pelvis,
        {"left": foot_track(t, left), "right": foot_track(t, right)},
        {s: hang(pelvis, yaw, 0.0 * t, s) for s in ("left", "right")},
        pelvis_yaw_deg=yaw,
    )


# Hauling: one foot ahead, the line comes in at breast height from the front.
_HAUL_FEET = {"left": (0.11, 0.20, 6.0), "right": (-0.12, -0.16, -22.0)}


def _haul(t: Array, hands: dict[str, Array], lean: Array, sway: Array) -> Act:
    pelvis = np.stack((0.0 * t, STAND - 0.050 + 0.0 * t, 0.02 + sway), axis=1)
    feet = {s: _still(t, x, z, yaw) for s, (x, z, yaw) in _HAUL_FEET.items()}
    poles = {
        side: np.tile([out, -0.45, -0.55], (len(t), 1))
        for side, out in (("left", 1), ("right", -1))
    }
    return _act(
        t,
        pelvis,
        feet,
        hands,
        back_pitch_deg=lean,
        head_pitch_deg=-0.5 * lean,
        elbow_poles=poles,
    )


def _hand_over_hand(t: Array, cycle_s: float, lead: float, x: float) -> Array:
    """Pulls the line in for 60 % of a cycle, reaches out again above it."""
    s = np.mod(t / cycle_s + lead, 1.0)
    pulling = s < 0.6
    in_share = ease(np.where(pulling, s / 0.6, 0.0))
    out_share = ease(np.where(pulling, 0.0, (s - 0.6) / 0.4))
    depth = np.where(pulling, 0.52 - 0.20 * in_share, 0.32 + 0.20 * out_share)
    lift = np.where(pulling, 0.0, 0.07 * np.sin(np.pi * np.clip((s - 0.6) / 0.4, 0, 1)) ** 2)
    return np.stack((np.full(len(t), x), 1.18 + lift, depth), axis=1)


HAUL_CYCLE_S = 1.6


def haul_loop(rate_hz: float) -> Act:
    """Hauls a line hand over hand. Loops after one cycle."""
    t = times(HAUL_CYCLE_S, rate_hz)
    wave = 2.0 * np.pi * t / HAUL_CYCLE_S
    hands = {
        "left": _hand_over_hand(t, HAUL_CYCLE_S, 0.0, 0.13),
        "right": _hand_over_hand(t, HAUL_CYCLE_S, 0.5, -0.13),
    }
    return _haul(t, hands, 8.0 + 2.0 * np.cos(2 * wave), 0.012 * np.cos(2 * wave))


def _haul_ends(rate_hz: float, *, begins: bool) -> Act:
    t = times(1.8, rate_hz)
    share = ease((t - 0.2) / 1.3) if begins else 1.0 - ease((t - 0.2) / 1.3)
    loop = haul_loop(rate_hz)
    lean, sway = loop.back_pitch_deg[0] * share, 0.012 * share
    height = STAND - 0.050
    pelvis = np.stack((0.0 * t, height + 0.0 * t, 0.02 + sway), axis=1)
    hands = {}
    for side in ("left", "right"):
        rest = hang(pelvis, 0.0 * t, 0.0 * t, side)
        hands[side] = rest + share[:, None] * (loop.wrists[side][0] - rest)
        hands[side][:, 2] += 0.10 * np.sin(np.pi * share)
        hands[side][:, 0] += (0.06 if side == "left" else -0.06) * np.sin(np.pi * share)
    return _haul(t, hands, lean, sway)


def haul_start(rate_hz: float) -> Act:
    """Takes up the line."""
    return _haul_ends(rate_hz, begins=True)


def haul_end(rate_hz: float) -> Act:
    """Lets the line go."""
    return _haul_ends(rate_hz, begins=False)


def line_throw(rate_hz: float) -> Act:
    """Throws a coiled line underhand with the right hand; the left holds the tail."""
    t = times(2.4, rate_hz)
    small = {"strike_deg": 3.0, "push_deg": 26.0, "clearance": 0.03}
    left = [Plant(-9, 0.75, 0.11, 0.10, 5.0, **small), Plant(1.20, 99, 0.11, 0.42, 5.0, **small)]
    pelvis = np.stack(
        (
            keyed(t, [(0, 0.0), (0.7, -0.045), (1.3, 0.03), (2.4, 0.02)]),
            keyed(
                t,
                [
                    (0, STAND - 0.03),
                    (0.7, STAND - 0.05),
                    (1.35, STAND - 0.075),
                    (2.4, STAND - 0.07),
                ],
            ),
            keyed(t, [(0, 0.02), (0.7, -0.02), (1.35, 0.17), (2.4, 0.16)]),
        ),
        axis=1,
    )
    feet = {"left": foot_track(t, left), "right": _still(t, -0.12, -0.08, -24.0)}
    yaw = keyed(t, [(0, 0.0), (0.7, -14.0), (1.35, 10.0), (2.4, 6.0)])
    right = pelvis + keyed(
        t,
        [
            (0.0, (-0.26, -0.08, 0.05)),
            (0.75, (-0.27, 0.02, -0.30)),
            (1.25, (-0.16, 0.42, 0.44)),
            (1.7, (-0.17, 0.38, 0.40)),
            (2.4, (-0.25, -0.02, 0.14)),
        ],
    )
    left_hand = pelvis + keyed(
        t,
        [
            (0.0, (0.25, -0.07, 0.05)),
            (0.75, (0.22, 0.10, 0.25)),
            (1.3, (0.26, 0.05, 0.16)),
            (2.4, (0.25, -0.05, 0.09)),
        ],
    )
    return _act(
        t,
        pelvis,
        feet,
        {"left": left_hand, "right": right},
        pelvis_yaw_deg=yaw,
        back_yaw_deg=1.2 * yaw,
        back_pitch_deg=keyed(t, [(0, 2.0), (0.7, 8.0), (1.35, 4.0), (2.4, 2.0)]),
    )


def line_catch(rate_hz: float) -> Act:
    """Sees the line come, raises both hands, takes it to the belly."""
    t = times(2.2, rate_hz)
    pelvis = np.stack(
        (
            0.0 * t,
            keyed(t, [(0, STAND), (0.9, STAND - 0.06), (1.4, STAND - 0.04), (2.2, STAND - 0.03)]),
            keyed(t, [(0, 0.0), (0.9, 0.02), (1.4, -0.02), (2.2, 0.0)]),
        ),
        axis=1,
    )
    feet = {"left": _still(t, 0.13, 0.05, 9.0), "right": _still(t, -0.13, -0.09, -14.0)}
    wrists = {}
    for side, sign in (("left", 1.0), ("right", -1.0)):
        wrists[side] = pelvis + keyed(
            t,
            [
                (0.0, (sign * 0.25, -0.08, 0.05)),
                (0.85, (sign * 0.14, 0.50, 0.42)),
                (1.0, (sign * 0.13, 0.48, 0.41)),
                (1.6, (sign * 0.15, 0.16, 0.30)),
                (2.2, (sign * 0.16, 0.15, 0.30)),
            ],
        )
    return _act(
        t,
        pelvis,
        feet,
        wrists,
        head_pitch_deg=keyed(t, [(0, 0.0), (0.6, -10.0), (1.3, 6.0), (2.2, 4.0)]),
    )


# The boathook stands in a rack ahead and to the right; its grip is at breast height.
_RACK = np.array([-0.34, 1.22, 0.40])


def _boathook(rate_hz: float, *, takes: bool) -> Act:
    t = times(2.6, rate_hz)
    s = t if takes else t[-1] - t
    pelvis = np.stack(
        (
            keyed(s, [(0, 0.0), (0.9, -0.035), (1.2, -0.035), (2.2, 0.0), (2.6, 0.0)]),
            STAND - 0.02 + 0.0 * t,
            keyed(s, [(0, 0.0), (0.9, 0.03), (1.2, 0.03), (2.2, 0.0), (2.6, 0.0)]),
        ),
        axis=1,
    )
    feet = {
        "left": _still(t, STANCE_X, -0.03, 8.0),
        "right": _still(t, -STANCE_X - 0.01, 0.06, -14.0),
    }
    carry_r, carry_l = np.array([-0.20, 1.02, 0.30]), np.array([0.17, 1.13, 0.30])
    side_r, side_l = np.array([-0.25, 0.88, 0.05]), np.array([0.25, 0.88, 0.05])
    right = keyed(s, [(0, side_r), (0.95, _RACK), (1.25, _RACK), (2.1, carry_r), (2.6, carry_r)])
    left = keyed(s, [(0, side_l), (1.35, side_l), (2.2, carry_l), (2.6, carry_l)])
    return _act(
        t,
        pelvis,
        feet,
        {"left": left, "right": right},
        back_yaw_deg=keyed(s, [(0, 0.0), (0.9, -14.0), (1.3, -14.0), (2.2, 0.0), (2.6, 0.0)]),
        back_pitch_deg=keyed(s, [(0, 1.0), (0.9, 5.0), (1.3, 5.0), (2.2, 2.0), (2.6, 2.0)]),
    )


def boathook_take(rate_hz: float) -> Act:
    """Takes the boathook out of its rack with the right hand, then grips it with both."""
    return _boathook(rate_hz, takes=True)


def boathook_return(rate_hz: float) -> Act:
    """Puts the boathook back."""
    return _boathook(rate_hz, takes=False)


def push_off(rate_hz: float) -> Act:
    """Sets the boathook against the quay and leans into it, the right foot behind."""
    t = times(2.8, rate_hz)
    small = {"strike_deg": 3.0, "push_deg": 18.0, "clearance": 0.035}
    right = [
        Plant(-9, 0.45, -0.12, 0.0, -12.0, **small),
        Plant(0.95, 99, -0.13, -0.36, -24.0, **small),
    ]
    share = keyed(t, [(0, 0.0), (0.9, 0.15), (1.7, 1.0), (2.2, 1.0), (2.8, 0.55)])
    pelvis = np.stack((0.02 + 0.0 * t, STAND - 0.055 - 0.075 * share, -0.09 + 0.05 * share), axis=1)
    feet = {"left": _still(t, 0.12, 0.06, 6.0), "right": foot_track(t, right)}
    wrists = {
        "left": pelvis
        + np.stack((0.14 + 0.0 * t, 0.14 + 0.05 * share, 0.30 + 0.13 * share), axis=1),
        "right": pelvis
        + np.stack((-0.20 + 0.0 * t, 0.03 + 0.10 * share, 0.25 + 0.13 * share), axis=1),
    }
    return _act(
        t,
        pelvis,
        feet,
        wrists,
        back_pitch_deg=5.0 + 17.0 * share,
        head_pitch_deg=-4.0 - 8.0 * share,
    )


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
    return _act(
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
    return _act(
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


def on_the_spot(act: Act, velocity: Sequence[float], rate_hz: float) -> Act:
    """The same with a steady travel taken out of everything."""
    back = np.arange(len(act.pelvis))[:, None] / rate_hz * np.asarray(velocity)
    act.pelvis = act.pelvis - back
    for foot in act.feet.values():
        foot.ankle = foot.ankle - back
    act.wrists = {side: path - back for side, path in act.wrists.items()}
    return act
