"""What carries the body: soles on the floor or a surface, other parts near one, or nothing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import scale_of
from kinelint.anatomy.ground import surface_height
from kinelint.anatomy.sole import soles
from kinelint.errors import NotApplicable
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.motion import Motion


@dataclass(frozen=True, eq=False)
class Heights:
    """How high what could carry the body is above what lies under it, metres.

    Attributes:
        points_m: ``(points, 3, frames)`` of both soles: heel, ball and tip.
        soles_m: ``(points, frames)`` of these above floor or surface.
        others_m: ``(frames,)`` of the lowest joint of any other part.
    """

    points_m: Floats
    soles_m: Floats
    others_m: Floats

    def airborne(self, over_m: float, others_over_m: float) -> Bools:
        """``(frames,)`` where neither a sole nor any other part is near what lies under it."""
        return np.asarray(
            (self.soles_m.min(axis=0) > over_m) & (self.others_m > others_over_m), np.bool_
        )


def heights(motion: Motion) -> Heights:
    """Of soles and of all other parts.

    Raises:
        NotApplicable: a foot is missing, or the clip is not one of a whole body in a world.
    """
    cue = motion.cue
    if cue.additive:
        raise NotApplicable("the clip is additive: its body stands nowhere by itself")
    if cue.only_parts:
        raise NotApplicable("the cue sheet says that the clip moves a part of the body only")
    known = motion.derive(soles)
    if len(known) < 2 or not all(motion.has(f"{side}_foot") for side in known):
        raise NotApplicable("both feet are needed to tell what carries the body")
    points = np.stack([path for sole in known.values() for path in sole.points.values()])
    over = [path[1] - surface_height(motion, path[0], path[2]) for path in points]
    return Heights(points, np.stack(over), _others(motion))


def _others(motion: Motion) -> Floats:
    feet = {f"{side}_{part}" for side in ("left", "right") for part in ("foot", "toes")}
    joints = [j for j, part in motion.figure.anatomy.part_of.items() if part not in feet]
    at = motion.positions_m[joints]
    return np.asarray(np.min(at[:, 1] - surface_height(motion, at[:, 0], at[:, 2]), axis=0))


def size_of(motion: Motion) -> float:
    """The figure's size against a person's: distances scale with it."""
    return scale_of(motion)
