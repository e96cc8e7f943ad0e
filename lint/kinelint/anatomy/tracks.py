"""Heel and ball over time, at a rate that is fit to tell contacts from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kinelint.anatomy.ground import ground, surfaces_over
from kinelint.anatomy.sole import soles
from kinelint.anatomy.travel import travelled
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.finer import finer, per_frame, smoothed
from kinelint.motion import Motion

# A foot that shivers faster than some 7 Hz, as markers and fits make it, is at rest: a low frame
# rate cannot show it, and people hardly see it. By trial on captures at 120 Hz, frames left out.
_SMOOTH_S = 0.05


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
    rate = steps * motion.sample_rate_hz

    def read(path: Floats) -> Floats:
        return smoothed(finer(path, steps), rate, _SMOOTH_S)

    found = {}
    for side, sole in motion.derive(soles).items():
        points = {"heel": sole.heel_m, "ball": sole.ball_m}
        at = {point: read(path) for point, path in points.items()}
        moved = {}
        for point, path in points.items():
            gone = travelled(motion, path)
            moved[point] = at[point] if gone is path else read(gone)
        above = {p: path[1] - surfaces_over(motion, on, path[0], path[2]) for p, path in at.items()}
        found[side] = Track(side, steps, rate, at, moved, above)
    return found
