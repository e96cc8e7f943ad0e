"""From masks over frames to spans of frames."""

from __future__ import annotations

import numpy as np

from kinelint.finding import FrameSpan
from kinelint.kinematics.arrays import Bools, runs_of


def spans(mask: Bools, *, min_frames: int = 1, bridge_frames: int = 0) -> list[FrameSpan]:
    """The runs of true in ``(frames,)``, first to last.

    Args:
        mask: true where the defect is.
        min_frames: shorter runs are left out (after bridging).
        bridge_frames: gaps of up to this many frames between two runs are closed.
    """
    starts, ends = runs_of(mask)
    if bridge_frames and starts.size:
        apart = starts[1:] - ends[:-1] - 1 > bridge_frames
        starts = starts[np.concatenate(([True], apart))]
        ends = ends[np.concatenate((apart, [True]))]
    return [
        FrameSpan(int(first), int(last))
        for first, last in zip(starts, ends, strict=True)
        if last - first + 1 >= min_frames
    ]
