"""What the crew does with the boathook."""

from __future__ import annotations

import numpy as np

from making.acts import STANCE_X, STAND, assemble, still
from making.curves import keyed, times
from making.pose import Act
from making.steps import Plant, foot_track

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
        "left": still(t, STANCE_X, -0.03, 8.0),
        "right": still(t, -STANCE_X - 0.01, 0.06, -14.0),
    }
    carry_r, carry_l = np.array([-0.20, 1.02, 0.30]), np.array([0.17, 1.13, 0.30])
    side_r, side_l = np.array([-0.25, 0.88, 0.05]), np.array([0.25, 0.88, 0.05])
    right = keyed(s, [(0, side_r), (0.95, _RACK), (1.25, _RACK), (2.1, carry_r), (2.6, carry_r)])
    left = keyed(s, [(0, side_l), (1.35, side_l), (2.2, carry_l), (2.6, carry_l)])
    return assemble(
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


# The push itself: from the boathook on the quay to arms and back stretched.
PUSH_S = (0.9, 1.7)


def push_off(rate_hz: float, push_s: float = PUSH_S[1] - PUSH_S[0]) -> Act:
    """Sets the boathook against the quay and leans into it, the right foot behind."""
    longer = push_s - (PUSH_S[1] - PUSH_S[0])
    t = times(2.8 + longer, rate_hz)
    small = {"strike_deg": 3.0, "push_deg": 18.0, "clearance": 0.035}
    right = [
        Plant(-9, 0.45, -0.12, 0.0, -12.0, **small),
        Plant(0.95, 99, -0.13, -0.36, -24.0, **small),
    ]
    start, end = PUSH_S[0], PUSH_S[1] + longer
    share = keyed(t, [(0, 0.0), (start, 0.15), (end, 1.0), (end + 0.5, 1.0), (end + 1.1, 0.55)])
    pelvis = np.stack((0.02 + 0.0 * t, STAND - 0.055 - 0.075 * share, -0.09 + 0.05 * share), axis=1)
    feet = {"left": still(t, 0.12, 0.06, 6.0), "right": foot_track(t, right)}
    wrists = {
        "left": pelvis
        + np.stack((0.14 + 0.0 * t, 0.14 + 0.05 * share, 0.30 + 0.13 * share), axis=1),
        "right": pelvis
        + np.stack((-0.20 + 0.0 * t, 0.03 + 0.10 * share, 0.25 + 0.13 * share), axis=1),
    }
    return assemble(
        t,
        pelvis,
        feet,
        wrists,
        back_pitch_deg=5.0 + 17.0 * share,
        head_pitch_deg=-4.0 - 8.0 * share,
    )
