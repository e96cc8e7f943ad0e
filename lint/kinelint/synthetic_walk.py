"""A made person whose feet are placed exactly: standing on given places, or walking.

The legs reach for the feet by two-bone inverse kinematics, so heel, ball and tip of the sole are
where they are said to be, to rounding. The walk rolls over the heel, stands flat and rolls over
the ball, at known times.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from kinelint.anatomy.feet import HEEL_BEHIND_ANKLE
from kinelint.clip import Clip
from kinelint.cue import Cue
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.synthetic import clip as made_clip
from kinelint.synthetic import person, person_figure

STATURE_M = 1.75
_SIGN = {"left": 1.0, "right": -1.0}
# Shares of a stride: on the heel until, flat until, on the ball until toe-off. Stance is 0.62 of
# it (BE522 gait terminology, clinicalgaitanalysis.com: 62/38).
FLAT_FROM, HEEL_OFF, TOE_OFF = 0.10, 0.34, 0.62
_HEEL_PITCH_DEG, _PUSH_PITCH_DEG = -18.0, 38.0


@dataclass(frozen=True)
class Stance:
    """One time that a foot is down: seconds from the first frame."""

    side: str
    heel_strike_s: float
    flat_s: float
    heel_off_s: float
    toe_off_s: float


@dataclass(frozen=True, eq=False)
class Placed:
    """A clip whose feet are known."""

    clip: Clip
    stances: tuple[Stance, ...] = ()

    def motion(self, cue: Cue | None = None, ground_m: float | None = 0.0) -> Motion:
        """On the person's body, on the floor at height 0 unless said."""
        return Motion(self.clip, person_figure(STATURE_M), cue or Cue(), ground_m)


def at_rest(joint: str) -> Floats:
    """``(3,)`` of a joint of the standing person, metres."""
    skeleton = person(STATURE_M)
    index, at = skeleton.names.index(joint), np.zeros(3)
    while index >= 0:
        at = at + skeleton.rest_translations[index]
        index = int(skeleton.parents[index])
    return np.asarray(at)


def standing_on(
    shifts_m: Mapping[str, ArrayLike],
    *,
    frames: int,
    sample_rate_hz: float = 60.0,
    drop_m: float = 0.06,
) -> Placed:
    """A person with knees bent a little whose feet move by ``(3, frames)`` from their place."""
    pelvis = np.repeat([[0.0], [-drop_m], [0.0]], frames, axis=1)
    feet = {}
    for side in _SIGN:
        shift = np.asarray(shifts_m.get(side, np.zeros((3, 1))), dtype=np.float64)
        ankle = at_rest(f"{side}_foot")[:, None] + np.broadcast_to(shift, (3, frames))
        feet[side] = (ankle, np.zeros(frames), np.zeros(frames))
    return Placed(_posed(pelvis, feet, sample_rate_hz, "standing"))


def turned_about(pivot_m: ArrayLike, degrees: Floats, sample_rate_hz: float = 60.0) -> Placed:
    """A standing person who turns about a vertical line through a place on the floor.

    Args:
        pivot_m: ``(3,)``.
        degrees: ``(frames,)`` to the left.
        sample_rate_hz: frames a second.
    """
    turn = rotations.about("Y", np.radians(degrees))
    pivot = np.asarray(pivot_m, dtype=np.float64).reshape(3, 1)
    pelvis = at_rest("pelvis")[:, None]
    moved = pivot + rotations.rotate(turn, pelvis - pivot) - pelvis
    return Placed(
        made_clip(
            frames=degrees.size,
            sample_rate_hz=sample_rate_hz,
            turns={"pelvis": [("Y", degrees)]},
            shifts_m={"pelvis": moved},
            stature_m=STATURE_M,
            name="turn",
        )
    )


def ramp(frames: int, first: int, last: int) -> Floats:
    """``(frames,)`` 0 until `first`, 1 from `last` on, smooth between (minimum jerk)."""
    t = np.clip((np.arange(frames) - first) / max(last - first, 1), 0.0, 1.0)
    return np.asarray(t**3 * (10.0 - 15.0 * t + 6.0 * t * t))


def walk(
    *,
    seconds: float = 4.0,
    sample_rate_hz: float = 60.0,
    speed_m_per_s: float = 1.0,
    stride_s: float = 1.1,
    shifts_m: Mapping[str, ArrayLike] | None = None,
    in_place: bool = False,
    slips: float = 0.0,
) -> Placed:
    """A person who walks along +Z.

    Args:
        seconds: how long.
        sample_rate_hz: frames a second.
        speed_m_per_s: of the pelvis, and of the strides unless the feet slip.
        stride_s: from heel strike to the next of the same foot.
        shifts_m: side to ``(3, frames)`` metres added to where the foot is.
        in_place: with the travel taken out.
        slips: this share of the travel is missing from the root, so that all feet slide.
    """
    frames = round(seconds * sample_rate_hz) + 1
    times = np.arange(frames) / sample_rate_hz
    feet = {}
    for side in _SIGN:
        ankle, pitch = _foot(side, times, speed_m_per_s, stride_s)
        shift = np.asarray((shifts_m or {}).get(side, np.zeros((3, 1))), dtype=np.float64)
        feet[side] = (ankle + shift, pitch, _toes(side, times, stride_s, pitch))
    travel = speed_m_per_s * times
    low = min(_height_allowed(side, ankle, travel) for side, (ankle, _, _) in feet.items())
    pelvis = np.stack((0 * times, low + 0 * times, travel))
    taken = travel if in_place else slips * travel
    clip = _posed(pelvis, feet, sample_rate_hz, "walk", taken)
    return Placed(clip, _stances(times[-1], stride_s))


def _phase(side: str, times: Floats, stride_s: float) -> tuple[Floats, Floats]:
    """Which stride of the foot, counted from 0, and how far into it from heel strike, [0, 1)."""
    place = times / stride_s + (0.25 if side == "left" else 0.75)
    number = np.floor(place)
    return number, np.asarray(place - number)


def _foot(side: str, times: Floats, speed: float, stride_s: float) -> tuple[Floats, Floats]:
    """Ankle ``(3, frames)`` and pitch ``(frames,)`` (degrees, toes down) of a walking foot."""
    number, share = _phase(side, times, stride_s)
    stride_m = speed * stride_s
    offset = 0.25 if side == "left" else 0.75
    # Where the ankle stands flat: under the hip in the middle of stance.
    flat_z = (number - offset + TOE_OFF / 2.0) * stride_m
    pitch = _pitch(share)
    y, z = _rolled(share, pitch)
    swing = np.clip((share - TOE_OFF) / (1.0 - TOE_OFF), 0.0, 1.0)
    start = _rolled(np.array([TOE_OFF]), np.array([_PUSH_PITCH_DEG]))
    end = _rolled(np.array([0.0]), np.array([_HEEL_PITCH_DEG]))
    ease = swing * swing * (3.0 - 2.0 * swing)
    swing_y = start[0] + (end[0] - start[0]) * ease + 0.02 * np.sin(np.pi * swing)
    swing_z = start[1] + (stride_m + end[1] - start[1]) * ease
    swings = share > TOE_OFF
    ankle = np.stack(
        (
            np.full(times.size, at_rest(f"{side}_foot")[0]),
            np.where(swings, swing_y, y),
            flat_z + np.where(swings, swing_z, z),
        )
    )
    return ankle, pitch


def _pitch(share: Floats) -> Floats:
    knots = [0.0, FLAT_FROM, HEEL_OFF, TOE_OFF, 0.80, 1.0]
    values = [_HEEL_PITCH_DEG, 0.0, 0.0, _PUSH_PITCH_DEG, 0.0, _HEEL_PITCH_DEG]
    at = np.clip(np.searchsorted(knots, share, side="right") - 1, 0, len(knots) - 2)
    low, high = np.take(knots, at), np.take(knots, at + 1)
    part = (share - low) / (high - low)
    # Pushing off speeds up to toe-off, as it does in people; the rest eases in and out.
    ease = np.where(at == 2, part * part, part * part * (3.0 - 2.0 * part))
    return np.asarray(np.take(values, at) + (np.take(values, at + 1) - np.take(values, at)) * ease)


def _rolled(share: Floats, pitch_deg: Floats) -> tuple[Floats, Floats]:
    """Ankle (y, z) from where it stands flat, rolled over the heel or over the toes' joint."""
    height = at_rest("left_foot")[1]
    toes = at_rest("left_toes") - at_rest("left_foot")
    heel = np.array([-height, -HEEL_BEHIND_ANKLE * STATURE_M])
    pivot = np.where(share[None] < FLAT_FROM, heel[:, None], toes[1:, None])
    angle = np.radians(pitch_deg)
    back = -pivot
    y = back[0] * np.cos(angle) - back[1] * np.sin(angle)
    z = back[0] * np.sin(angle) + back[1] * np.cos(angle)
    return height + pivot[0] + y, pivot[1] + z


def _toes(side: str, times: Floats, stride_s: float, pitch_deg: Floats) -> Floats:
    """How far the toes bend up, degrees: they stay flat on the floor until toe-off."""
    _, share = _phase(side, times, stride_s)
    planted = (share >= HEEL_OFF) & (share <= TOE_OFF)
    fading = np.clip(1.0 - (share - TOE_OFF) / 0.1, 0.0, 1.0) * (share > TOE_OFF)
    return np.where(planted, pitch_deg, fading * pitch_deg)


def _height_allowed(side: str, ankle: Floats, travel: Floats) -> float:
    """The highest drop of the pelvis at which the leg still reaches, metres (negative)."""
    reach = 0.995 * sum(_bones())
    away = ankle[2] - travel
    return float(np.min(ankle[1] + np.sqrt(reach**2 - away**2)) - at_rest(f"{side}_thigh")[1])


def _bones() -> tuple[float, float]:
    hip, knee, ankle = (at_rest(f"left_{part}")[1] for part in ("thigh", "shank", "foot"))
    return float(hip - knee), float(knee - ankle)


def _posed(
    pelvis: Floats,
    feet: Mapping[str, tuple[Floats, Floats, Floats]],
    sample_rate_hz: float,
    name: str,
    taken_z: Floats | float = 0.0,
) -> Clip:
    frames = pelvis.shape[1]
    clip = made_clip(frames=frames, sample_rate_hz=sample_rate_hz, stature_m=STATURE_M, name=name)
    local = np.array(clip.rotations)
    for side, (ankle, pitch_deg, toes_deg) in feet.items():
        hip = at_rest(f"{side}_thigh")[:, None] + pelvis
        thigh, shank = leg(ankle - hip)
        foot = rotations.about("X", np.radians(pitch_deg))
        joints = [person(STATURE_M).names.index(f"{side}_{p}") for p in _LEG]
        local[joints[0]] = thigh
        local[joints[1]] = rotations.multiply(rotations.conjugate(thigh), shank)
        local[joints[2]] = rotations.multiply(rotations.conjugate(shank), foot)
        local[joints[3]] = rotations.about("X", np.radians(-toes_deg))
    moved = np.array(clip.translations)
    moved[0] += pelvis - np.outer([0.0, 0.0, 1.0], np.broadcast_to(taken_z, (frames,)))
    return Clip(
        clip.name,
        clip.skeleton,
        sample_rate_hz,
        local,
        translated=clip.translated,
        translations=moved,
        metres_per_unit=1.0,
        up_axis="y",
        source=clip.source,
    )


_LEG = ("thigh", "shank", "foot", "toes")


def leg(reach: Floats) -> tuple[Floats, Floats]:
    """World rotations of thigh and shank ``(4, frames)`` that bring the ankle where it should be.

    Args:
        reach: ``(3, frames)`` metres from hip to ankle; the knee points to +Z.
    """
    upper, lower = _bones()
    length = np.clip(np.linalg.norm(reach, axis=0), abs(upper - lower) + 1e-6, upper + lower - 1e-9)
    cosine = (upper**2 + length**2 - lower**2) / (2.0 * upper * length)
    along = upper * cosine
    out = np.sqrt(np.maximum(upper**2 - along**2, 0.0))
    axis = reach / np.linalg.norm(reach, axis=0)
    ahead = np.array([[0.0], [0.0], [1.0]]) - axis[2] * axis
    ahead = ahead / np.linalg.norm(ahead, axis=0)
    knee = along * axis + out * ahead
    down = np.broadcast_to([[0.0], [-1.0], [0.0]], reach.shape)
    return rotations.between(down, knee), rotations.between(down, reach - knee)


def _stances(end_s: float, stride_s: float) -> tuple[Stance, ...]:
    found = []
    for side, offset in (("left", 0.25), ("right", 0.75)):
        strike = -offset * stride_s
        while strike < end_s:
            marks = [strike + share * stride_s for share in (0.0, FLAT_FROM, HEEL_OFF, TOE_OFF)]
            found.append(Stance(side, *marks))
            strike += stride_s
    return tuple(sorted(found, key=lambda one: one.heel_strike_s))
