"""When which point of which sole bears on the floor or on a declared surface."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from kinelint.anatomy.feet import scale_of
from kinelint.anatomy.tracks import tracks
from kinelint.kinematics.arrays import Bools
from kinelint.kinematics.contact import ContactLimits, Phase, contact_phases, trimmed
from kinelint.motion import Motion


class Contact(NamedTuple):
    """A point of a sole bears on its support in frames `first` to `last`."""

    side: str
    point: str
    first: int
    last: int

    def planted(self, motion: Motion, trim_s: float) -> Phase | None:
        """First and last frame without touching down and rolling off; None if nothing is left."""
        return trimmed((self.first, self.last), motion.sample_rate_hz, trim_s, motion.frames)


def track_contacts(motion: Motion, limits: ContactLimits | None = None) -> tuple[Contact, ...]:
    """The contacts of heels and balls, their first and last in samples of the tracks.

    Args:
        motion: the clip on its body.
        limits: for a leg of 0.88 m; they are scaled to the figure.

    Raises:
        NotApplicable: there are no feet, or they were not captured.
    """
    scaled = (limits or ContactLimits()).scaled_by(scale_of(motion))
    found = []
    for side, track in motion.derive(tracks).items():
        for point, path in track.travelled_m.items():
            above = track.above_m[point]
            for first, last in contact_phases(path, above, track.sample_rate_hz, scaled):
                found.append(Contact(side, point, first, last))
    return tuple(found)


def contacts(motion: Motion, limits: ContactLimits | None = None) -> tuple[Contact, ...]:
    """The same in frames, by side and point, in order of time."""
    found = []
    for one in motion.derive(track_contacts, *(() if limits is None else (limits,))):
        steps = motion.derive(tracks)[one.side].steps
        first, last = -(-one.first // steps), one.last // steps
        if last >= first:
            found.append(Contact(one.side, one.point, first, last))
    return tuple(found)


def stance(motion: Motion, side: str, limits: ContactLimits | None = None) -> Bools:
    """``(frames,)`` true where any point of the foot bears."""
    down = np.zeros(motion.frames, dtype=np.bool_)
    for one in motion.derive(contacts, *(() if limits is None else (limits,))):
        if one.side == side:
            down[one.first : one.last + 1] = True
    return down
