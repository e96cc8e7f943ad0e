"""When and where two clips that play together meet, in the time and the world of the first."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.parts import PARTS, label
from kinelint.errors import NotApplicable
from kinelint.group import Member
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.rates import at_times, windowed_velocity
from kinelint.motion import Motion

# Speeds and their changes are taken over this long: shorter is noise of the capture.
_SPEED_S, _CHANGE_S = 0.1, 0.1
# The middle of a held rod lies this far beyond the wrist (ANSUR II, men: 62 with a spread of 7 mm).
GRIP_M = 0.062
_STATURE_M = 1.756


@dataclass(frozen=True, eq=False)
class Moment:
    """When a clip meets its partner.

    Attributes:
        at_s: from the clip's first judged frame.
        name: as the cue sheet has it; "" where it was found.
        found_by: what it was found by; "" where the cue sheet names it.
        sure: 0 to 1: how far the peak stands out.
    """

    at_s: float
    name: str = ""
    found_by: str = ""
    sure: float = 1.0


@dataclass(frozen=True, eq=False)
class Point:
    """What touches: ``(3, frames)`` metres in the clip's own world, and what it is."""

    name: str
    path_m: Floats
    part: str


def head_s(motion: Motion) -> float:
    """How much of the file was cut off before the first judged frame."""
    return motion.clip.frame_offset / motion.sample_rate_hz


def named_moment(member: Member, name: str) -> Moment:
    """The moment that the cue sheet names.

    Raises:
        NotApplicable: the sheet has none of that name for the clip, or it lies outside the clip.
    """
    motion = member.motion
    at_s = motion.cue.moment_s(name)
    if at_s is None:
        raise NotApplicable(f"the cue sheet names no moment {name!r} for {member.label}")
    at_s -= head_s(motion)
    # Half a frame of rounding is no time outside.
    slack_s = 0.5 / motion.sample_rate_hz
    if not -slack_s <= at_s <= motion.clip.duration_s + slack_s:
        raise NotApplicable(f"the moment {name!r} lies outside {member.label}")
    return Moment(min(max(at_s, 0.0), motion.clip.duration_s), name)


def touching(member: Member, name: str) -> Point:
    """What the cue sheet names: a prop, a part, or a joint that moves a prop.

    Raises:
        NotApplicable: there is no such thing in the clip.
    """
    motion = member.motion
    prop = motion.cue.prop(name)
    if prop is not None or name not in PARTS:
        joint = _joint(motion, prop.joint if prop is not None else name)
        if joint is None:
            raise NotApplicable(f"{member.label} has no part or prop {name!r}")
        return Point(name, np.asarray(motion.positions_m[joint]), "")
    part = motion.part(name)
    if name.endswith("_hand"):
        return Point(label(name), _grip(motion, name), name)
    return Point(label(name), part.position_m, name)


def quickest(member: Member) -> Point:
    """The prop or hand that moves fastest: what throws, catches or pushes.

    Raises:
        NotApplicable: neither a hand was recognised nor a prop named.
    """
    motion = member.motion
    names = [prop.name for prop in motion.cue.props if _joint(motion, prop.joint) is not None]
    names += [part for part in ("left_hand", "right_hand") if motion.has(part)]
    if not names:
        raise NotApplicable(f"no hand of {member.label} was recognised: its moment must be named")
    points = [touching(member, name) for name in names]
    return max(points, key=lambda one: float(_speed(motion, one).max()))


def found_moment(member: Member, point: Point, acts: bool) -> Moment:
    """The moment by the speed of what touches.

    Who acts (throws, hits, pushes) meets the other where that is fastest, just before it slows
    down; who is acted on, where its velocity changes most abruptly.
    """
    motion = member.motion
    if acts:
        series, by = _speed(motion, point), "speed"
    else:
        velocity = windowed_velocity(point.path_m, motion.sample_rate_hz, _SPEED_S)
        change = windowed_velocity(velocity, motion.sample_rate_hz, _CHANGE_S)
        series, by = np.linalg.norm(change, axis=0), "acceleration"
    peak = int(np.argmax(series))
    height = float(series[peak])
    reach = max(round(0.3 * motion.sample_rate_hz), 1)
    elsewhere = np.concatenate((series[: max(peak - reach, 0)], series[peak + reach + 1 :]))
    rest = float(elsewhere.max(initial=0.0))
    sure = 0.0 if height <= 1e-9 else 1.0 - rest / height
    at_s = _refined(series, peak) / motion.sample_rate_hz
    return Moment(at_s, found_by=f"the peak of the {by} of the {point.name}", sure=sure)


def _refined(series: Floats, peak: int) -> float:
    """The top of the parabola through a peak and its neighbours, in frames."""
    if not 0 < peak < len(series) - 1:
        return float(peak)
    a, b, c = (float(series[peak + k]) for k in (-1, 0, 1))
    bend = a - 2.0 * b + c
    return peak if bend >= -1e-12 else peak + 0.5 * (a - c) / bend


def _speed(motion: Motion, point: Point) -> Floats:
    velocity = windowed_velocity(point.path_m, motion.sample_rate_hz, _SPEED_S)
    return np.asarray(np.linalg.norm(velocity, axis=0))


def _joint(motion: Motion, name: str) -> int | None:
    """A joint by its name or the end of its path."""
    skeleton = motion.clip.skeleton
    for joint in range(len(skeleton)):
        path = skeleton.path(joint)
        if path == name or path.endswith(f"/{name}"):
            return joint
    return None


def _grip(motion: Motion, hand: str) -> Floats:
    """``(3, frames)`` where a hand holds: beyond the wrist, towards its end where there is one."""
    wrist = motion.part(hand).position_m
    tip = motion.figure.anatomy.tips.get(hand)
    finger = motion.figure.anatomy.joints.get(hand.replace("hand", "middle_1"))
    if tip is not None or finger:
        end = motion.positions_m[tip if tip is not None else finger[0]]  # type: ignore[index]
        way = end - wrist
    else:
        forearm = hand.replace("hand", "forearm")
        if not motion.has(forearm):
            return wrist
        way = wrist - motion.part(forearm).position_m
    stature_m = motion.figure.stature_m
    size = stature_m / _STATURE_M if np.isfinite(stature_m) else 1.0
    length = np.maximum(np.linalg.norm(way, axis=0), 1e-9)
    return np.asarray(wrist + way * (GRIP_M * size / length))


def placed(path_m: Floats, place_m: tuple[float, float, float], turn_deg: float) -> Floats:
    """``(3, times)`` of the second's world told in the first's."""
    turn = rotations.about("Y", np.radians(np.array([turn_deg])))
    return np.asarray(rotations.rotate(turn, path_m) + np.array(place_m)[:, None])


def read_m(motion: Motion, path_m: Floats, times_s: Floats) -> Floats:
    """``(3, times)`` of a path at times from the clip's first judged frame."""
    return at_times(path_m, motion.sample_rate_hz, times_s)
