"""Heel and ball over time, at a rate that is fit to tell contacts from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kinelint.anatomy.ground import ground, surfaces_over
from kinelint.anatomy.sole import soles
from kinelint.anatomy.travel import travelled
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.finer import finer, per_frame
from kinelint.motion import Motion


@dataclass(frozen=True, eq=False)
class Track:
    """Heel and ball of one sole, read `steps` times a frame.

    Attributes:
        side: "left" or "right".
        steps: of each frame of the clip; 1 for all but low frame rates.
        sample_rate_hz: of the track.
        at_m: point to ``(3, steps (frames - 1) + 1)`` in the world.
        travelled_m: the same as if the clip travelled as its feet do.
        above_m: point to its height over what it stands on. Measured from the level on which the
            feet of this clip stand, so that a clip which floats over its floor as a whole still
            has contacts.
    """

    side: str
    steps: int
    sample_rate_hz: float
    at_m: Mapping[str, Floats]
    travelled_m: Mapping[str, Floats]
    above_m: Mapping[str, Floats]

    @property
    def length(self) -> int:
        """How many samples there are."""
        return int(self.above_m["heel"].size)


def tracks(motion: Motion) -> dict[str, Track]:
    """The track of each foot that there is, by side.

    Raises:
        NotApplicable: there are no feet, or they were not captured.
    """
    on, steps = motion.derive(ground).stance, per_frame(motion.sample_rate_hz)
    found = {}
    for side, sole in motion.derive(soles).items():
        points = {"heel": sole.heel_m, "ball": sole.ball_m}
        at = {point: finer(path, steps) for point, path in points.items()}
        moved = {point: finer(travelled(motion, path), steps) for point, path in points.items()}
        above = {p: path[1] - surfaces_over(motion, on, path[0], path[2]) for p, path in at.items()}
        found[side] = Track(side, steps, steps * motion.sample_rate_hz, at, moved, above)
    return found
