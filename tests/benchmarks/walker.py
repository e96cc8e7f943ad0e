"""A made person with fingers who walks for as long as asked, never twice alike."""

from __future__ import annotations

from functools import cache

import numpy as np

from kinelint import synthetic, synthetic_walk
from kinelint.anatomy.figure import Figure
from kinelint.anatomy.hints import BodyHints
from kinelint.anatomy.parts import DIGITS, SIDES
from kinelint.anatomy.zero import sample_zero
from kinelint.assemble import completed
from kinelint.clip import Clip
from kinelint.cue import Cue
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion

RATE_HZ = 60.0
_KEYED = tuple(f"{side}_{part}" for side in SIDES for part in ("hand", "foot"))
_SWAY_M = np.array([[0.011], [0.002], [0.011]])
_SLOW_HZ = (0.013, 0.031, 0.057, 0.11)


def walking(frames: int, *, phase: float = 0.0, fingers: bool = True, name: str = "walk") -> Clip:
    """The legs walk (feet placed exactly); arms, trunk, head and fingers sway at their own pace.

    Args:
        frames: at 60 Hz.
        phase: radians; another phase is another walk.
        fingers: 66 joints instead of 26.
        name: of the clip.
    """
    stride_s = 1.05 + 0.1 * np.sin(phase)
    legs = synthetic_walk.walk(
        seconds=(frames - 1) / RATE_HZ, speed_m_per_s=1.0 + 0.1 * np.cos(phase), stride_s=stride_s
    ).clip
    turns = {
        part: steps
        for part, steps in _turns(frames, stride_s, phase).items()
        if part in synthetic.person(fingers=fingers).names
    }
    # Hands and feet have translation keys, so that limbs could stretch; they do not.
    upper = synthetic.clip(
        frames=frames, turns=turns, shifts_m=dict.fromkeys(_KEYED, np.zeros(3)), fingers=fingers
    )
    translations = np.array(upper.translations)
    # Captured feet stray by millimetres while they bear, so these do as well.
    times = np.arange(frames) / RATE_HZ
    sway = [np.sin(2.0 * np.pi * hz * times + phase) for hz in (0.71, 1.3, 0.53)]
    translations[0] = legs.translations[0] + _SWAY_M * np.array(sway)
    local = np.array(upper.rotations)
    for joint, joint_name in enumerate(legs.skeleton.names):
        if joint_name.endswith(("thigh", "shank", "foot", "toes")):
            local[upper.skeleton.names.index(joint_name)] = legs.rotations[joint]
    return Clip(
        name,
        upper.skeleton,
        RATE_HZ,
        local,
        translated=upper.translated,
        translations=translations,
        metres_per_unit=1.0,
        up_axis="y",
    )


@cache
def figure(fingers: bool = True) -> Figure:
    """The body of whoever walks, its zero learnt from standing and from walking."""
    still = synthetic.clip(frames=60, fingers=fingers)
    bare = synthetic.person_figure(fingers=fingers)
    samples = [sample_zero(Motion(clip, bare)) for clip in (still, walking(1200, fingers=fingers))]
    zeros = [one for one in samples if one is not None]
    return completed(bare, still.skeleton, zeros, (), BodyHints())


def motion(clip: Clip, body: Figure) -> Motion:
    """A fresh motion, nothing derived yet. It is said to be a loop, so that all rules judge."""
    return Motion(clip, body, Cue(loop=True), 0.0)


def _turns(frames: int, stride_s: float, phase: float) -> dict[str, synthetic.Turns]:
    times = np.arange(frames) / RATE_HZ
    swing = np.sin(2.0 * np.pi * times / stride_s + phase)
    turns: dict[str, synthetic.Turns] = {
        "abdomen": [("Y", 4.0 * swing), ("X", 4.0 * _drift(times, phase))],
        "thorax": [("Y", 4.0 * swing), ("Z", 3.0 * _drift(times, phase + 1.0))],
        "head": [("Y", 25.0 * _drift(times, phase + 2.0)), ("X", 8.0 * _drift(times, phase + 3))],
    }
    for sign, side in ((1.0, "left"), (-1.0, "right")):
        out = 10.0 + 4.0 * _drift(times, phase + sign)
        turns[f"{side}_upper_arm"] = [("X", 22.0 * sign * swing), ("Z", sign * out)]
        turns[f"{side}_forearm"] = [
            ("X", -35.0 - 20.0 * sign * swing),
            ("Y", sign * 20.0 * _drift(times, phase + 4.0 * sign)),
        ]
        turns[f"{side}_hand"] = [("Z", 10.0 * _drift(times, phase + 5.0 * sign))]
        for number, digit in enumerate(DIGITS):
            curl = 20.0 + 15.0 * _drift(times, phase + sign * number)
            turns[f"{side}_{digit}"] = [("Z", -sign * curl)]
    return turns


def _drift(times: Floats, phase: float) -> Floats:
    """Slow, without a period that anybody would notice, in [-1, 1]."""
    waves = [np.sin(2.0 * np.pi * hz * times + phase * (i + 1)) for i, hz in enumerate(_SLOW_HZ)]
    return np.mean(waves, axis=0)
