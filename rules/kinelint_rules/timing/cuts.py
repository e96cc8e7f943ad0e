"""Where a long take could be cut into clips, and what they could be called."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.feet import scale_of
from kinelint.finding import FrameSpan
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Bools
from kinelint.motion import Motion
from kinelint_rules.timing.activity import Activity
from kinelint_rules.timing.phases import speeds_m_per_s

_HANDS = ("left_hand", "right_hand")
_RUN_M_PER_S = 2.2
_WALK_M_PER_S = 0.4


@dataclass(frozen=True)
class Cut:
    """One clip to cut: its frames and a name to begin with."""

    span: FrameSpan
    name: str


def cuts(
    motion: Motion, known: Activity, still: Bools, pause_s: float, action_s: float, lead_s: float
) -> list[Cut]:
    """The actions between pauses, each with a little stillness before and after it.

    Args:
        motion: the take.
        known: how it moves.
        still: ``(frames,)`` where nothing moves.
        pause_s: stillness of at least this parts two actions.
        action_s: an action lasts at least this.
        lead_s: how much stillness is kept at each end.
    """
    rate = motion.sample_rate_hz
    pause, least, lead = (max(round(s * rate), 1) for s in (pause_s, action_s, lead_s))
    moving = spans(~still, min_frames=least, bridge_frames=pause - 1)
    names = _numbered([_name(motion, known, one) for one in moving])
    last = motion.frames - 1
    return [
        Cut(FrameSpan(max(one.first - lead, 0), min(one.last + lead, last)), name)
        for one, name in zip(moving, names, strict=True)
    ]


def _name(motion: Motion, known: Activity, span: FrameSpan) -> str:
    inside = slice(span.first, span.last + 1)
    travel = float(np.median(known.travel_m_per_s[inside]))
    if travel > _RUN_M_PER_S:
        return "run"
    if travel > _WALK_M_PER_S:
        return "walk"
    height = motion.part("pelvis").position_m[1, inside] / scale_of(motion)
    if float(np.ptp(height)) > 0.25:
        return "rise" if height[-1] > height[0] + 0.1 else "bend"
    hands = [part for part in _HANDS if motion.has(part)]
    if not hands:
        return "action"
    peaks = [float(speeds_m_per_s(motion, part)[inside].max()) for part in hands]
    if len(peaks) == 2 and min(peaks) > 0.7 * max(peaks):
        return "both_hands"
    return hands[int(np.argmax(peaks))]


def _numbered(names: Sequence[str]) -> list[str]:
    many = Counter(names)
    seen: Counter[str] = Counter()
    out = []
    for name in names:
        seen[name] += 1
        out.append(f"{name}_{seen[name]}" if many[name] > 1 else name)
    return out
