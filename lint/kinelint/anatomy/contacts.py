"""When which point of which sole bears on the floor or on a declared surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import scale_of
from kinelint.anatomy.ground import ground, surfaces_over
from kinelint.anatomy.sole import soles
from kinelint.anatomy.travel import travelled
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.kinematics.contact import ContactLimits, Phase, contact_phases, trimmed
from kinelint.motion import Motion


@dataclass(frozen=True, slots=True)
class Contact:
    """A point of a sole bears on its support in frames `first` to `last`."""

    side: str
    point: str
    first: int
    last: int

    def planted(self, motion: Motion, trim_s: float) -> Phase | None:
        """First and last frame without touching down and rolling off; None if nothing is left."""
        return trimmed((self.first, self.last), motion.sample_rate_hz, trim_s, motion.frames)


def heights(motion: Motion, side: str) -> dict[str, Floats]:
    """Point of the sole to its height ``(frames,)`` above what it stands on, metres.

    Measured from the level on which the feet of this clip stand, so that a clip which floats
    over its floor as a whole still has contacts.
    """
    on = motion.derive(ground).stance
    return {
        point: path[1] - surfaces_over(motion, on, path[0], path[2])
        for point, path in motion.derive(soles)[side].points.items()
    }


def contacts(motion: Motion, limits: ContactLimits | None = None) -> tuple[Contact, ...]:
    """The contacts of heels and balls, by side and point, in order of time.

    Args:
        motion: the clip on its body.
        limits: for a leg of 0.88 m; they are scaled to the figure.

    Raises:
        NotApplicable: there are no feet, or they were not captured.
    """
    scaled = (limits or ContactLimits()).scaled_by(scale_of(motion))
    found = []
    for side, sole in motion.derive(soles).items():
        above = motion.derive(heights, side)
        for point in ("heel", "ball"):
            path = travelled(motion, sole.points[point])
            for first, last in contact_phases(path, above[point], motion.sample_rate_hz, scaled):
                found.append(Contact(side, point, first, last))
    return tuple(found)


def stance(motion: Motion, side: str, limits: ContactLimits | None = None) -> Bools:
    """``(frames,)`` true where any point of the foot bears."""
    down = np.zeros(motion.frames, dtype=np.bool_)
    for one in motion.derive(contacts, *(() if limits is None else (limits,))):
        if one.side == side:
            down[one.first : one.last + 1] = True
    return down
