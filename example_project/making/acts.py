"""What all acts share: standing feet, hanging hands, a body put together."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from making.crew import HIP_HEIGHT
from making.pose import Act, Foot
from making.steps import Plant, foot_track
from making.turns import Array, about, turn

STAND = HIP_HEIGHT + 0.045 - 0.006  # knees a little soft
STANCE_X = 0.105
DOWN_BACK = np.array([0.0, -0.35, -1.0])


def still(t: Array, x: float, z: float, yaw_deg: float = 0.0) -> Foot:
    """A foot that stays flat over (x, z)."""
    return foot_track(t, [Plant(-9.0, 99.0, x, z, yaw_deg)])


def assemble(
    t: Array, pelvis: Array, feet: dict[str, Foot], wrists: dict[str, Array], **more: object
) -> Act:
    """An act of these, with everything that is not said at rest."""
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


def on_the_spot(act: Act, velocity: Sequence[float], rate_hz: float) -> Act:
    """The same with a steady travel taken out of everything."""
    back = np.arange(len(act.pelvis))[:, None] / rate_hz * np.asarray(velocity)
    act.pelvis = act.pelvis - back
    for foot in act.feet.values():
        foot.ankle = foot.ankle - back
    act.wrists = {side: path - back for side, path in act.wrists.items()}
    return act
