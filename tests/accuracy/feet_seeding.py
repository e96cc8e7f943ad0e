"""Feet that slide or sink by a known distance, put into any clip by two-bone inverse kinematics.

Bones keep their length and the foot keeps its turn in the world; nothing but the leg (and, to
sink a foot, the root) moves. So the size, the place and the frames of the defect are known.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip
from kinelint.frame_spans import spans
from kinelint.kinematics import rates, rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion, world
from kinelint.synthetic_walk import ramp

SIDES = ("left", "right")


@dataclass(frozen=True)
class Stand:
    """A foot that stands still in frames `first` to `last`, by criteria of its own."""

    side: str
    first: int
    last: int


def stands(motion: Motion, least_s: float = 0.4) -> list[Stand]:
    """Where ankle and toes hardly move (0.1 m/s over 0.1 s) for a while, low and under a knee.

    Deliberately simpler than the product's own contacts, so as not to seed only where it looks.
    """
    found = []
    joints = motion.figure.anatomy.joints
    rate = motion.sample_rate_hz
    for side in SIDES:
        ankle, knee = (motion.positions_m[joints[f"{side}_{p}"][0]] for p in ("foot", "shank"))
        toes = motion.positions_m[joints.get(f"{side}_toes", joints[f"{side}_foot"])[0]]
        speeds = [
            np.linalg.norm(rates.windowed_velocity(path, rate, 0.1), axis=0)
            for path in (ankle, toes)
        ]
        still = np.maximum(*speeds) < 0.1
        low = ankle[1] < np.quantile(ankle[1], 0.1) + 0.05
        upright = knee[1] - ankle[1] > 0.25 * motion.figure.leg_m
        least = round(least_s * rate) + 1
        found += [
            Stand(side, s.first, s.last) for s in spans(still & low & upright, min_frames=least)
        ]
    return found


def slid(clip: Clip, figure: Figure, stand: Stand, shift_m: Floats, first: int, last: int) -> Clip:
    """The foot glides by `shift_m` ``(3,)`` (metres, Y up) from `first` to `last`.

    It stays off until it lifts and comes back within 0.3 s after its stand; where it stands to
    the clip's end it stays.
    """
    out = ramp(clip.frames, first, last)
    back = round(0.3 * clip.sample_rate_hz)
    if stand.last < clip.frames - 1:
        out = out * (1.0 - ramp(clip.frames, stand.last, stand.last + back))
    return _reached(clip, figure, {stand.side: np.outer(shift_m, out)})


def sunk(clip: Clip, figure: Figure, stand: Stand, depth_m: float, first: int, last: int) -> Clip:
    """The root sinks by `depth_m` and comes up again; the other foot stays where it was."""
    edge = max((last - first) // 4, 1)
    down = ramp(clip.frames, first, first + edge) * (1.0 - ramp(clip.frames, last - edge, last))
    drop = np.outer([0.0, -depth_m, 0.0], down)
    moved = np.array(clip.translations)
    root = int(np.flatnonzero(clip.skeleton.parents[clip.translated] < 0)[0])
    moved[root] += _to_file(figure, drop)
    other = SIDES[stand.side == "left"]
    return _reached(replace(clip, translations=moved), figure, {other: -drop})


def _to_file(figure: Figure, metres: Floats) -> Floats:
    return rotations.unrotate(figure.to_y_up, metres) / figure.metres_per_unit


def _reached(clip: Clip, figure: Figure, shifts_m: dict[str, Floats]) -> Clip:
    """The clip with its ankles moved by ``(3, frames)`` metres.

    Raises:
        ValueError: a leg is too short to reach by more than 1 mm.
    """
    local = np.array(clip.rotations)
    at, turned = world(clip)
    parents = clip.skeleton.parents
    for side, shift_m in shifts_m.items():
        hip, knee, ankle = (
            figure.anatomy.joints[f"{side}_{p}"][0] for p in ("thigh", "shank", "foot")
        )
        shift = _to_file(figure, shift_m)
        bend, swing = _bent(at[hip], at[knee], at[ankle], shift, 0.001 / figure.metres_per_unit)
        lower = rotations.multiply(swing, bend)
        for joint, above, own in (
            (hip, None, bend),
            (knee, bend, lower),
            (ankle, lower, np.array(rotations.IDENTITY)),
        ):
            parent = turned[parents[joint]]
            if above is not None:
                parent = rotations.multiply(above, parent)
            goal = rotations.multiply(own, turned[joint])
            local[joint] = rotations.normalise(
                rotations.multiply(rotations.conjugate(parent), goal)
            )
    return replace(clip, rotations=local)


def _bent(
    hip: Floats, knee: Floats, ankle: Floats, shift: Floats, slack: float
) -> tuple[Floats, Floats]:
    """World turns ``(4, frames)``: of the whole leg, then of the shank on top of it."""
    upper, lower = np.linalg.norm(knee - hip, axis=0), np.linalg.norm(ankle - knee, axis=0)
    goal = ankle + shift - hip
    length = np.linalg.norm(goal, axis=0)
    longest = (upper + lower) * 0.9999
    if np.any(length - np.maximum(longest, np.linalg.norm(ankle - hip, axis=0)) > slack):
        raise ValueError("the leg does not reach")
    length = np.minimum(length, upper + lower - 1e-9)
    axis = goal / np.linalg.norm(goal, axis=0)
    along = (upper**2 + length**2 - lower**2) / (2.0 * length)
    out = np.sqrt(np.maximum(upper**2 - along**2, 0.0))
    pole = knee - hip
    pole = pole - np.sum(pole * axis, axis=0) * axis
    new_knee = along * axis + out * pole / np.maximum(np.linalg.norm(pole, axis=0), 1e-9)
    bend = rotations.between(knee - hip, new_knee)
    shank = rotations.rotate(bend, ankle - knee)
    return bend, rotations.between(shank, length * axis - new_knee)


def resampled(clip: Clip, rate_hz: float) -> Clip:
    """The clip at another rate: rotations by slerp, translations linearly."""
    frames = int(np.floor(clip.duration_s * rate_hz + 1e-9)) + 1
    place = np.arange(frames) / rate_hz * clip.sample_rate_hz
    low = np.minimum(place.astype(np.intp), max(clip.frames - 2, 0))
    share = place - low
    high = np.minimum(low + 1, clip.frames - 1)
    moved = clip.translations[..., low] * (1.0 - share) + clip.translations[..., high] * share
    turned = rotations.slerp(clip.rotations[..., low], clip.rotations[..., high], share)
    source = replace(clip.source, frame_lines=None)
    return replace(
        clip, sample_rate_hz=rate_hz, rotations=turned, translations=moved, source=source
    )
