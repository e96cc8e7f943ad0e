"""How long two parts lie in each other: frames alone are too coarse at 24 a second."""

from __future__ import annotations

from kinelint.finding import FrameSpan
from kinelint.kinematics.arrays import Floats


def held_frames(depth_mm: Floats, limit_mm: float, span: FrameSpan) -> float:
    """Frames, in fractions, for which the depth is past the limit, read linearly between frames.

    Where the next frame is clear, nobody knows by how much, or the clip ends, a frame stands for
    itself: half of the way counts.
    """
    before = _share(depth_mm, limit_mm, span.first, span.first - 1)
    return span.last - span.first + before + _share(depth_mm, limit_mm, span.last, span.last + 1)


def _share(depth_mm: Floats, limit_mm: float, inside: int, outside: int) -> float:
    """How far the depth stays past the limit, of the way from one frame to the next outside."""
    if not 0 <= outside < len(depth_mm):
        return 0.5
    fall = float(depth_mm[inside] - depth_mm[outside])
    share = float(depth_mm[inside] - limit_mm) / fall if fall > 0.0 else 0.0
    return share if depth_mm[outside] > 0.0 else min(share, 0.5)


def touching(depth_mm: Floats, span: FrameSpan) -> FrameSpan:
    """The span, with the frames on both sides in which the parts touch."""
    first, last = span.first, span.last
    while first > 0 and depth_mm[first - 1] > 0.0:
        first -= 1
    while last < len(depth_mm) - 1 and depth_mm[last + 1] > 0.0:
        last += 1
    return FrameSpan(first, last)
