"""How deep parts are in the ground, and which feet stand on nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from kinelint.anatomy.contacts import stance
from kinelint.anatomy.feet import WINDOW_S, scale_of
from kinelint.anatomy.ground import depth_under
from kinelint.anatomy.parts import side_of
from kinelint.anatomy.plane import Plane
from kinelint.anatomy.sole import soles
from kinelint.anatomy.travel import travelled
from kinelint.kinematics import rates, rotations
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.kinematics.contact import runs
from kinelint.motion import Motion

# A foot that carries is this still; another part this close to the ground may carry instead.
_STILL_M_PER_S = 0.12
_NEAR_M = 0.06
# A foot further up than this is not meant to stand on the ground named.
_FAR_M = 0.20
# Heel and toes that are as deep as each other to within this are one flat sole.
_LEVEL_M = 0.005
_OF_FEET = ("foot", "toes")
# Stands of a foot may all be this much over an estimated floor that fits the other foot.
_OTHERS_M = 0.020


@dataclass(frozen=True, eq=False)
class Depth:
    """How deep a part is: ``depth_m`` ``(frames,)`` and the points ``(points, 3, frames)``.

    Attributes:
        part: of the body.
        names: of the points.
        depths_m: ``(points, frames)``; negative is above the ground.
        points_m: ``(points, 3, frames)``, on the body's surface.
        inner_m: ``(frames,)`` how deep the bone itself is; None for soles.
    """

    part: str
    names: tuple[str, ...]
    depths_m: Floats
    points_m: Floats
    inner_m: Floats | None = None

    @property
    def depth_m(self) -> Floats:
        """``(frames,)`` of the deepest point."""
        return np.asarray(self.depths_m.max(axis=0))

    def less(self, by_m: float) -> Depth:
        """The same under a floor that much lower."""
        inner_m = None if self.inner_m is None else self.inner_m - by_m
        return replace(self, depths_m=self.depths_m - by_m, inner_m=inner_m)

    def name_at(self, frame: int) -> str:
        """The deepest point, or "sole" where both ends of a foot are equally deep."""
        depths = dict(zip(self.names, self.depths_m[:, frame].tolist(), strict=True))
        deepest = max(depths, key=lambda name: depths[name])
        if "heel" not in depths:
            return deepest
        front = max(depth for name, depth in depths.items() if name != "heel")
        return "sole" if abs(front - depths["heel"]) < _LEVEL_M else deepest


def feet(motion: Motion, plane: Plane, own_level: bool = False) -> Iterator[Depth]:
    """The soles.

    Args:
        motion: the clip on its body.
        plane: the floor.
        own_level: where a foot stands a little above the floor, measure from where it stands. For
            an estimated floor, which fits some stands better than others.
    """
    for side, sole in motion.derive(soles).items():
        points = np.stack(list(sole.points.values()))
        depths = np.stack([depth_under(motion, plane, path) for path in points])
        if own_level:
            # Not the toes' tip: toes that hang are no dip.
            depths[:2] += _raised(motion, side, -depths[:2].max(axis=0))
        yield Depth(f"{side}_foot", tuple(sole.points), depths, points)


def _raised(motion: Motion, side: str, lowest: Floats) -> Floats:
    """``(frames,)`` how high each stand of a foot is over the floor, 0 if it is not.

    A foot that is under the floor for most of a stand is measured from its other stands.
    """
    raised = np.zeros(motion.frames)
    stands = runs(stance(motion, side))
    levels = np.array([np.median(lowest[first : last + 1]) for first, last in stands])
    most = _OTHERS_M * scale_of(motion)
    for number, (first, last) in enumerate(stands):
        others = np.delete(levels, number)
        usual = min(float(np.median(others)), most) if others.size else 0.0
        raised[first : last + 1] = max(float(levels[number]), usual, 0.0)
    return raised


def other_parts(motion: Motion, plane: Plane) -> tuple[Depth, ...]:
    """Every other part that comes near the ground: its capsules, or its joints without a volume."""
    return motion.derive(_other_parts, plane)


def _other_parts(motion: Motion, plane: Plane) -> tuple[Depth, ...]:
    found = []
    highest = {joint: _nearest_m(motion, plane, joint) for joint in _joints_of_ends(motion)}
    for part, ends in _ends(motion).items():
        nearest = max(highest[one.joint] + one.reach_m(plane) for one in ends)
        if nearest < -_NEAR_M * scale_of(motion):
            continue
        paths = [one.path_m(motion) for one in ends]
        inner = np.stack([depth_under(motion, plane, path) for path in paths])
        down = [[[0.0], [one.radius_m], [0.0]] for one in ends]
        lows = np.stack([path - one for path, one in zip(paths, down, strict=True)])
        depths = np.stack([depth_under(motion, plane, low) for low in lows])
        found.append(Depth(part, ("",) * len(ends), depths, lows, inner.max(axis=0)))
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _End:
    """One end of a capsule: a ball that is fixed to a joint."""

    joint: int
    offset_m: Floats
    radius_m: float

    def path_m(self, motion: Motion) -> Floats:
        """``(3, frames)`` of its middle."""
        arm = rotations.rotate(motion.orientations[self.joint], self.offset_m[:, None])
        return np.asarray(motion.positions_m[self.joint] + arm)

    def reach_m(self, plane: Plane) -> float:
        """How much deeper its surface can be than its joint."""
        length = float(np.linalg.norm(self.offset_m))
        return length * (1.0 + float(np.hypot(*plane.slope))) + self.radius_m


def _ends(motion: Motion) -> dict[str, list[_End]]:
    """Part to its ends, feet left out."""
    found: dict[str, list[_End]] = {}
    body = motion.figure.body
    if body is None or not len(body.capsules):
        for part, joints in motion.figure.anatomy.joints.items():
            found[part] = [_End(joint, np.zeros(3), 0.0) for joint in joints]
    else:
        caps = body.capsules
        for distal in (0, 1):
            for cap, part in enumerate(body.parts):
                # The ankle's end of the shank lies in the foot.
                if not (part.endswith("shank") and distal):
                    joint, radius = int(caps.joints[cap, distal]), float(caps.radii_m[cap])
                    one = _End(joint, caps.offsets_m[cap, distal], radius)
                    found.setdefault(part, []).append(one)
    return {
        part: ends
        for part, ends in found.items()
        if not part.endswith(_OF_FEET) and motion.has(part)
    }


def _joints_of_ends(motion: Motion) -> set[int]:
    return {one.joint for ends in _ends(motion).values() for one in ends}


def _nearest_m(motion: Motion, plane: Plane, joint: int) -> float:
    """How near a joint comes to the ground or to the height of any surface; above is negative."""
    x, y, z = motion.positions_m[joint]
    tops = [one.top_m for one in motion.cue.surfaces]
    return float(np.max(np.maximum(plane.at(x, z), max(tops, default=-np.inf)) - y))


def hovering(motion: Motion, plane: Plane) -> dict[str, Floats]:
    """Side to how high its foot hovers, ``(frames,)``: 0 unless it stands and carries alone.

    A foot stands if it is still under its knee. It carries alone if neither the other foot nor
    any other part is near the ground and no other foot stands lower.
    """
    heights = {depth.part: -depth.depth_m for depth in feet(motion, plane)}
    if not heights:
        return {}
    free = np.ones(motion.frames, dtype=np.bool_)
    for depth in other_parts(motion, plane):
        if not depth.part.endswith("shank"):
            free &= depth.depth_m < -_NEAR_M * scale_of(motion)
    lowest = np.min(list(heights.values()), axis=0)
    found = {}
    for part, height in heights.items():
        side = side_of(part)
        carries = _stands(motion, side) & free & (height <= lowest + 0.02 * scale_of(motion))
        carries &= height < _FAR_M * scale_of(motion)
        found[side] = np.where(carries, np.maximum(height, 0.0), 0.0)
    return found


def _stands(motion: Motion, side: str) -> Bools:
    sole = motion.derive(soles)[side]
    speed = np.zeros(motion.frames)
    for path in (sole.heel_m, sole.ball_m):
        velocity = rates.windowed_velocity(travelled(motion, path), motion.sample_rate_hz, WINDOW_S)
        speed = np.maximum(speed, np.linalg.norm(velocity, axis=0))
    knees = motion.figure.anatomy.joints.get(f"{side}_shank")
    upright = np.ones(motion.frames, dtype=np.bool_)
    if knees:
        upright = motion.positions_m[knees[0], 1] - sole.ball_m[1] > 0.25 * motion.figure.leg_m
    return np.asarray((speed < _STILL_M_PER_S * scale_of(motion)) & upright)
