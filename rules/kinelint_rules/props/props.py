"""Where a prop is over a motion, and in which frames the cue sheet has it held or kept."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import ceil

import numpy as np

from kinelint.cue import Box, Held, Kept, Prop, Rod, Vector
from kinelint.errors import NotApplicable
from kinelint.finding import Level
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion

_NAMESPACE = re.compile(r"^.*[:|]")
_ROUNDING = 1e-6


@dataclass(frozen=True, eq=False)
class Frame:
    """Axes that move: of a joint, a hand or a holder.

    Attributes:
        place_m: ``(3, frames)`` in the world.
        turn: ``(4, frames)`` to the world's axes.
    """

    place_m: Floats
    turn: Floats

    def out(self, point_m: Floats) -> Floats:
        """Points ``(3, frames)`` or ``(3, 1)`` of these axes in the world."""
        return self.place_m + rotations.rotate(self.turn, point_m)

    def seen(self, other: Frame) -> Frame:
        """Other axes, as seen from these."""
        back = rotations.conjugate(self.turn)
        place = rotations.rotate(back, other.place_m - self.place_m)
        return Frame(place, rotations.multiply(back, other.turn))

    def cut(self, first: int, last: int) -> Frame:
        """The frames `first` to `last`, both included."""
        return Frame(self.place_m[:, first : last + 1], self.turn[:, first : last + 1])


@dataclass(frozen=True, eq=False)
class PropMotion:
    """A prop, the joint that moves it, and its axes over the frames."""

    prop: Prop
    joint: int
    frame: Frame

    @property
    def middle_m(self) -> Floats:
        """``(3, 1)`` the middle of its bulk in its own axes."""
        bulk = self.prop.bulk
        if isinstance(bulk, Rod):
            return 0.5 * (column(bulk.from_m) + column(bulk.to_m))
        return column(bulk.middle_m) if isinstance(bulk, Box) else np.zeros((3, 1))

    @property
    def axis(self) -> Floats | None:
        """``(3, 1)`` the direction of a rod in its own axes; None if it is no rod."""
        bulk = self.prop.bulk
        if not isinstance(bulk, Rod):
            return None
        way = column(bulk.to_m) - column(bulk.from_m)
        length = float(np.linalg.norm(way))
        return way / length if length > 0.0 else None


def column(vector: Vector) -> Floats:
    """``(3, 1)`` of three numbers."""
    return np.asarray(vector, dtype=np.float64)[:, None]


def axes_of(motion: Motion, joint: int) -> Frame:
    """The axes of a joint over the motion."""
    return Frame(np.asarray(motion.positions_m[joint]), np.asarray(motion.orientations[joint]))


def joint_called(motion: Motion, name: str) -> int:
    """The joint of that name, or whose path ends so; namespaces do not matter.

    Raises:
        NotApplicable: there is none, or more than one.
    """
    skeleton = motion.clip.skeleton
    wanted = [_bare(one) for one in name.split("/") if one]
    names, parents = [_bare(one) for one in skeleton.names], skeleton.parents.tolist()
    found = [joint for joint in range(len(names)) if _ends_so(names, parents, joint, wanted)]
    exact = [joint for joint in found if skeleton.names[joint] == name]
    if len(exact) == 1:
        return exact[0]
    if not found:
        raise NotApplicable(f"no joint of this skeleton is called {name!r}")
    if len(found) > 1:
        raise NotApplicable(
            f"{len(found)} joints of this skeleton are called {name!r}: give more of the path"
        )
    return found[0]


def _bare(name: str) -> str:
    return _NAMESPACE.sub("", name)


def _ends_so(names: list[str], parents: list[int], joint: int, wanted: list[str]) -> bool:
    for word in reversed(wanted):
        if joint < 0 or names[joint] != word:
            return False
        joint = parents[joint]
    return bool(wanted)


def prop_motion(motion: Motion, name: str) -> PropMotion:
    """A prop of the cue sheet in this motion. To be asked for through `motion.derive`.

    Raises:
        NotApplicable: the sheet has no such prop here, or the skeleton no such joint.
    """
    prop = motion.cue.prop(name)
    if prop is None:
        raise NotApplicable(f"the cue sheet has no prop {name!r} in this clip")
    joint = joint_called(motion, prop.joint)
    return PropMotion(prop, joint, axes_of(motion, joint))


def frames_of(motion: Motion, what: Held | Kept) -> tuple[int, int] | None:
    """First and last frame of what begins at `from_s` and ends before `to_s`; None if none is.

    The sheet's times count from the file's first frame, the motion's from what is left of it.
    """
    rate, offset = motion.sample_rate_hz, motion.clip.frame_offset
    end = motion.frames - 1
    first, last = 0, end
    if what.from_s is not None:
        first = max(ceil(what.from_s * rate - _ROUNDING) - offset, 0)
    if what.to_s is not None and what.to_s * rate - offset < end - _ROUNDING:
        last = ceil(what.to_s * rate - _ROUNDING) - offset - 1
    return (first, last) if 0 <= first <= last else None


def typical_turn(q: Floats) -> Floats:
    """``(4, 1)`` the rotation that most of ``(4, frames)`` are near.

    The median of the rotation vectors from the mean, taken anew from there: what less than half
    of the frames do does not move it.
    """
    middle = rotations.mean(q)
    for _ in range(4):
        away = np.median(_vectors(rotations.multiply(rotations.conjugate(middle), q)), axis=1)
        angle = float(np.linalg.norm(away))
        if angle < 1e-9:
            break
        step = rotations.from_axis_angle(away[:, None] / angle, np.array([angle]))
        middle = rotations.multiply(middle, step)
    return middle


def _vectors(q: Floats) -> Floats:
    """``(3, frames)`` rotation vectors, radians, of ``(4, frames)``."""
    q = q * np.where(q[:1] < 0.0, -1.0, 1.0)
    sine = np.linalg.norm(q[1:], axis=0)
    angle = 2.0 * np.arctan2(sine, q[0])
    return np.asarray(q[1:] * (angle / np.maximum(sine, 1e-12)))


def typical_place(places: Floats) -> Floats:
    """``(3, 1)`` the median of ``(3, frames)``, along each axis."""
    return np.asarray(np.median(places, axis=1, keepdims=True))


def turned_deg(prop: PropMotion, turns: Floats, typical: Floats) -> Floats:
    """``(frames,)`` how far ``(4, frames)`` are from rotations ``(4, 1)`` or ``(4, frames)``.

    Of a rod only its direction counts: one cannot see it turn about itself.
    """
    axis = prop.axis
    if axis is None:
        return np.asarray(np.degrees(rotations.angle_between(typical, turns)))
    here, usual = rotations.rotate(turns, axis), rotations.rotate(typical, axis)
    sine = np.linalg.norm(np.cross(here, usual + 0.0 * here, axis=0), axis=0)
    return np.asarray(np.degrees(np.arctan2(sine, np.sum(here * usual, axis=0))))


def graded(
    value: float, limits: tuple[float, float, float], unit: str
) -> tuple[Level, float, str] | None:
    """The worst level whose limit is passed, the limit and its setting; None if none is."""
    for level, limit in zip((Level.ERROR, Level.WARNING, Level.NOTE), limits[::-1], strict=True):
        if value > limit:
            return level, limit, f"{level.value}_{unit}"
    return None


def confidence(value: float, limit: float) -> float:
    """0.5 at the limit, nearer to 1 the further it is passed."""
    return round(float(np.clip(1.0 - 0.5 * limit / max(value, 1e-9), 0.05, 0.99)), 2)
