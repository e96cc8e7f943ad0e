"""Preparation, action and recovery of a clip: as the cue sheet says, else from its speeds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.rates import windowed_velocity
from kinelint.motion import Motion

PREPARATION, ACTION, RECOVERY = "preparation", "action", "recovery"
_ENDS = ("left_hand", "right_hand", "left_foot", "right_foot")
_WINDOW_S = 0.08
# The action is where its quickest part keeps this share of its greatest speed; a figure below
# this speed is at rest. Common practice, no source.
_SHARE = 0.4
_REST_M_PER_S = 0.15


@dataclass(frozen=True)
class Phase:
    """A named stretch of a clip.

    Attributes:
        name: "preparation", "action", "recovery", or any other that the cue sheet names.
        first, last: frames of the clip.
        seconds: how long, as the cue sheet says or as the frames do.
        part: whose speed told it; "" if the cue sheet did.
    """

    name: str
    first: int
    last: int
    seconds: float
    part: str = ""


def phases(motion: Motion) -> tuple[Phase, ...]:
    """Those of the cue sheet, else those found; none if nothing stands out."""
    return declared(motion) or found(motion)


def declared(motion: Motion) -> tuple[Phase, ...]:
    """The cue sheet's, in frames of this clip, cut to what there is of it."""
    rate, frames = motion.sample_rate_hz, motion.frames
    start_s = motion.clip.frame_offset / rate
    made = []
    for name, from_s, to_s in motion.cue.phases:
        begin = max(from_s - start_s, 0.0)
        end = min(to_s - start_s, (frames - 1) / rate)
        if end > begin:
            first, last = round(begin * rate), min(round(end * rate), frames - 1)
            made.append(Phase(name, first, last, end - begin))
    return tuple(made)


def found(motion: Motion) -> tuple[Phase, ...]:
    """From the speed of the hand or foot that is quickest against the pelvis.

    The action is the time around its greatest speed; what moves before it is preparation, what
    moves after it is recovery.
    """
    ends = [part for part in _ENDS if motion.has(part)]
    if not ends or not motion.has("pelvis") or motion.frames < 8:
        return ()
    rate = motion.sample_rate_hz
    pelvis = motion.part("pelvis").position_m
    paths = np.stack([motion.part(part).position_m - pelvis for part in ends])
    speed = np.linalg.norm(windowed_velocity(paths, rate, _WINDOW_S), axis=1)
    row = int(np.argmax(speed.max(axis=1)))
    own = speed[row]
    peak = int(np.argmax(own))
    if own[peak] < 4.0 * _REST_M_PER_S:
        return ()
    quick = next(one for one in spans(own >= _SHARE * own[peak]) if one.first <= peak <= one.last)
    moving = np.flatnonzero(speed.max(axis=0) > _REST_M_PER_S)
    begin, end = int(moving[0]), int(moving[-1])
    made = [_phase(PREPARATION, begin, quick.first, rate, ends[row])]
    made.append(_phase(ACTION, quick.first, quick.last, rate, ends[row]))
    made.append(_phase(RECOVERY, quick.last, end, rate, ends[row]))
    return tuple(made)


def _phase(name: str, first: int, last: int, rate: float, part: str) -> Phase:
    return Phase(name, first, max(last, first), max(last - first, 0) / rate, part)


def speeds_m_per_s(motion: Motion, part: str) -> Floats:
    """``(frames,)`` of a part in the world, over a short window."""
    path = motion.part(part).position_m
    return np.asarray(
        np.linalg.norm(windowed_velocity(path, motion.sample_rate_hz, _WINDOW_S), axis=0)
    )
