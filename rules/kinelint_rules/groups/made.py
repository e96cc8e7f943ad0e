"""Made clips that belong together, for the examples of the rules on them."""

from __future__ import annotations

import numpy as np

from kinelint.cue import Chain, Cue, Partners
from kinelint.group import Group, Member
from kinelint.motion import Motion
from kinelint.synthetic import motion


def chained(before: Motion, after: Motion, blend_s: float = 0.0) -> Group:
    """Two clips that follow each other."""
    bond = Chain("haul", "haul_start.bvh", "haul_loop.bvh", blend_s)
    members = (Member("haul_start.bvh", "", before), Member("haul_loop.bvh", "", after))
    return Group(bond, members)


def swing(
    first: int,
    last: int,
    *,
    off_deg: float = 0.0,
    yaw_deg: float = 0.0,
    rate_hz: float = 60.0,
    back: bool = False,
) -> Motion:
    """Frames of a swing told at 60 Hz: arms and legs, while the figure walks off on a curve."""
    frames = round((last - first) * rate_hz / 60.0) + 1
    place = (first / 60.0) + np.arange(frames) / rate_hz
    wave = np.sin(2.0 * np.pi * 0.8 * place)
    if back:
        wave = np.sin(2.0 * np.pi * 0.8 * (2.0 * place[0] - place))
    yaw = 20.0 * place + yaw_deg
    heading = np.radians(yaw)
    path = np.cumsum(np.stack((np.sin(heading), 0.0 * heading, np.cos(heading))), axis=1) / rate_hz
    return motion(
        frames=frames,
        sample_rate_hz=rate_hz,
        cue=Cue(),
        turns={
            "pelvis": [("Y", yaw)],
            "left_upper_arm": [("X", 30.0 * wave + off_deg)],
            "right_upper_arm": [("X", -30.0 * wave)],
            "left_thigh": [("X", -20.0 * wave)],
            "right_thigh": [("X", 20.0 * wave)],
        },
        shifts_m={"pelvis": path},
    )


def hand_over(
    *,
    late_s: float = 0.0,
    offset_s: float = 0.0,
    away_m: float = 0.0,
    cues: bool = True,
    touch: bool = True,
    moments: tuple[str, str] | None = None,
) -> Group:
    """Two people face each other: one holds out a line's end at 0.5 s, the other takes it."""
    named = moments or (("give", "take") if cues else ("", ""))
    give = Cue(moments=(("give", 0.5),) if cues else ())
    take = Cue(moments=(("take", 0.5 + late_s),) if cues else ())
    bond = Partners(
        "hand-over",
        "give.bvh",
        "take.bvh",
        named,
        ("right_hand", "right_hand") if touch else ("", ""),
        offset_s,
        # Right hands, and arms 70 degrees up: each stands a little to the side of the other.
        (-2.0 * 0.125 * 1.75, 0.0, 1.1564 + away_m),
        180.0,
    )
    members = (
        Member("give.bvh", "", _reach(0.5, give, acts=True)),
        Member("take.bvh", "", _reach(0.5 + late_s, take, acts=False)),
    )
    return Group(bond, members)


def _reach(at_s: float, cue: Cue, acts: bool) -> Motion:
    """A right arm that swings forwards; the one who acts is fastest, the other stops, at `at_s`."""
    time = np.arange(91) / 60.0 - at_s
    if acts:
        angle = -70.0 - 45.0 * np.tanh(time / 0.12)
    else:
        angle = np.where(time < 0.0, -70.0 - 250.0 * np.maximum(time, -0.28), -70.0)
    return motion(frames=91, cue=cue, turns={"right_upper_arm": [("X", angle)]})
