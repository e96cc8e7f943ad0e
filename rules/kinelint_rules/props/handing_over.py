"""Whether a prop that one carrier has up to a frame, and another from then on, jumps there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.kinematics.arrays import Floats
from kinelint_rules.props.props import Frame, PropMotion, turned_deg

# A jump is so many times the steps that the prop makes in its carriers right beside it: what
# glides from one to the other moves in both of them.
_BESIDE = 2.0


@dataclass(frozen=True)
class Jump:
    """A step that neither carrier makes.

    Attributes:
        frame: that the step leads to.
        size: in mm or deg.
    """

    frame: int
    size: float


def jump(
    prop: PropMotion,
    before: Frame,
    after: Frame,
    span: tuple[int, int],
    unit: str,
    least: float,
) -> Jump | None:
    """The largest jump of a prop from one carrier to the next in some frames; None if none.

    Carried by the first from the frame before, or by the second back from the frame after, the
    prop should be where it is. The change lies somewhere between two frames, so the nearer of
    both counts, and how quick the carriers are makes no difference.

    Args:
        prop: over the clip.
        before: axes of what has it first, over the clip; those of the world for what stands.
        after: axes of what has it then.
        span: first and last frame that the step may lead to.
        unit: "mm" or "deg".
        least: smaller ones do not count.
    """
    frames = prop.frame.place_m.shape[1]
    low, high = max(span[0] - 2, 0), min(span[1] + 1, frames - 1)
    if high - low < 1:
        return None
    body = prop.frame.cut(low, high)
    first, second = (one.cut(low, high) for one in (before, after))
    onward = _step(prop, body, first, 0, unit)
    back = _step(prop, body, second, 1, unit)
    # Of the steps right before and right after, only what the carrier does not make.
    beside = np.maximum(np.concatenate(([0.0], onward[:-1])), np.concatenate((back[1:], [0.0])))
    nearer = np.minimum(onward, back)
    size = np.where((nearer > least) & (nearer > _BESIDE * beside), onward, 0.0)
    leads_to = np.arange(low + 1, high + 1)
    size = np.where((leads_to >= span[0]) & (leads_to <= span[1]), size, 0.0)
    best = int(np.argmax(size))
    return Jump(int(leads_to[best]), float(size[best])) if size[best] > 0.0 else None


def _step(prop: PropMotion, body: Frame, carrier: Frame, back: int, unit: str) -> Floats:
    """``(n - 1,)`` the step to each frame but the first that the carrier does not make.

    Seen from the frame after it, or with `back` from the one before.
    """
    count = body.place_m.shape[1]
    ends = (0, count - 2), (1, count - 1)
    told, other = ends[back], ends[1 - back]
    there = carrier.cut(*told).seen(body.cut(*told))
    moved = carrier.cut(*other)
    here = body.cut(*other)
    if unit == "deg":
        return turned_deg(prop, moved.seen(here).turn, there.turn)
    carried = moved.out(there.out(prop.middle_m))
    return np.asarray(1000.0 * np.linalg.norm(carried - here.out(prop.middle_m), axis=0))
