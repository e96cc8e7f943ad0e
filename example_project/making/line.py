"""What the crew does with lines: hauls, throws, catches."""

from __future__ import annotations

import numpy as np

from making.acts import STAND, assemble, hang, still
from making.curves import ease, keyed, times
from making.pose import Act
from making.steps import Plant, foot_track
from making.turns import Array

# Hauling: one foot ahead, the line comes in at breast height from the front.
_HAUL_FEET = {"left": (0.11, 0.20, 6.0), "right": (-0.12, -0.16, -22.0)}


def _haul(t: Array, hands: dict[str, Array], lean: Array, sway: Array) -> Act:
    pelvis = np.stack((0.0 * t, STAND - 0.050 + 0.0 * t, 0.02 + sway), axis=1)
    feet = {s: still(t, x, z, yaw) for s, (x, z, yaw) in _HAUL_FEET.items()}
    poles = {
        side: np.tile([out, -0.45, -0.55], (len(t), 1))
        for side, out in (("left", 1), ("right", -1))
    }
    return assemble(
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
    feet = {"left": foot_track(t, left), "right": still(t, -0.12, -0.08, -24.0)}
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
    return assemble(
        t,
        pelvis,
        feet,
        {"left": left_hand, "right": right},
        pelvis_yaw_deg=yaw,
        back_yaw_deg=1.2 * yaw,
        back_pitch_deg=keyed(t, [(0, 2.0), (0.7, 8.0), (1.35, 4.0), (2.4, 2.0)]),
    )


# When the line leaves the thrower's hand, flies, and is caught; each in its own clip.
RELEASE_S, FLIGHT_S, CATCH_S = 1.25, 0.6, 0.9


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
    feet = {"left": still(t, 0.13, 0.05, 9.0), "right": still(t, -0.13, -0.09, -14.0)}
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
    return assemble(
        t,
        pelvis,
        feet,
        wrists,
        head_pitch_deg=keyed(t, [(0, 0.0), (0.6, -10.0), (1.3, 6.0), (2.2, 4.0)]),
    )
