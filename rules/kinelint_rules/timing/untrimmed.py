"""Clips begin and end with their action."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Bools
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion
from kinelint_rules.timing.activity import Activity, activity, head_and_tail
from kinelint_rules.timing.cuts import Cut, cuts

PRACTICE = "common practice, no source"
# A walk that is most of a clip is the clip.
_MOST_WALK = 0.5


class UntrimmedSettings(RuleSettings):
    """Settings of `untrimmed`."""

    still_s: float = setting(
        1.0, gt=0, why="Stillness at head or tail that no game waits for.", source=PRACTICE
    )
    pose_s: float = setting(
        0.3, gt=0, why="A calibration pose at head or tail, held for this long.", source=PRACTICE
    )
    walk_s: float = setting(
        1.0, gt=0, why="A walk to the mark or off it around an action on the spot.", source=PRACTICE
    )
    still_m_per_s: float = setting(
        0.12,
        gt=0,
        why="Hands, feet, head and pelvis slower than this: people who stand sway by less.",
        source=PRACTICE + "; measured on open recordings",
    )
    walk_m_per_s: float = setting(0.5, gt=0, why="The pelvis travels at a walk.", source=PRACTICE)
    pause_s: float = setting(
        0.6, gt=0, why="A pause this long may part two actions of a take.", source=PRACTICE
    )
    action_s: float = setting(0.4, gt=0, why="Shorter stirs are no action.", source=PRACTICE)
    lead_s: float = setting(
        0.1, ge=0, why="Kept before and after an action that is cut out.", source=PRACTICE
    )
    propose_cuts: bool = setting(
        True, why="Say where a take that holds several actions could be cut.", source=PRACTICE
    )


class Untrimmed(Rule[UntrimmedSettings]):
    """Clips begin and end with their action.

    Finds what belongs to the recording and not to the clip: a calibration pose (arms straight
    and out to the sides), stillness, and the walk to a mark, at head or tail; and says at which
    frame to begin and to end. A take that holds several actions, with pauses between them, gets
    one note with the cuts that it suggests.

    Loops and clips that are still throughout are as they are meant to be. A clip that the cue
    sheet gives phases, or calls travelling, keeps its walk.
    """

    id = "untrimmed"
    source = PRACTICE
    level = Level.WARNING
    limits = (("still_s",), ("pose_s",), ("walk_s",))
    quantity = "Seconds at head or tail that are no part of the action."
    on_screen = "The figure stands and waits, spreads its arms, or walks in before it acts."
    remedy = "Trim the clip to the frames named."

    @staticmethod
    def check(motion: Motion, settings: UntrimmedSettings, /) -> Iterator[Finding]:
        """Yields at most one finding at the head, one at the tail, and one with cuts."""
        if motion.cue.loop:
            raise NotApplicable("the clip is a loop: all of it is played")
        if motion.cue.additive:
            raise NotApplicable("the clip is additive")
        known = motion.derive(activity)
        still = known.still(settings.still_m_per_s)
        if still.all():
            raise NotApplicable("nothing moves in this clip: it is a pose")
        yield from _ends(motion, known, still, settings)
        if settings.propose_cuts:
            yield from _several(motion, known, still, settings)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A reach, one with a long wait before it, one after a T-pose, two reaches in a take."""
        rate = 60.0

        def reach(*starts_s: float, seconds: float, spread_s: float = 0.0) -> Motion:
            time = np.arange(round(seconds * rate) + 1) / rate
            angle = 0.0 * time
            for start in starts_s:
                inside = np.clip((time - start) / 0.8, 0.0, 1.0)
                angle = angle + 70.0 * np.sin(np.pi * inside) ** 2
            out = 88.0 * np.clip((spread_s + 0.3 - time) / 0.3, 0.0, 1.0) * (spread_s > 0)
            turns = {
                "right_upper_arm": [("Z", -out), ("X", -angle)],
                "left_upper_arm": [("Z", out)],
            }
            return motion(frames=len(time), sample_rate_hz=rate, turns=turns)

        yield Example("a reach", reach(0.3, seconds=1.4))
        yield Example(
            "two seconds of waiting before it",
            reach(2.0, seconds=3.1),
            finds=1,
            frames=(0, 118),
            slack_frames=6,
            measured=2.0,
            within=0.15,
            level=Level.WARNING,
        )
        yield Example(
            "a T-pose before it",
            reach(1.2, seconds=2.3, spread_s=0.6),
            finds=1,
            level=Level.WARNING,
        )
        yield Example("two reaches in one take", reach(0.3, 2.2, seconds=3.4), finds=1)
        yield Example("a pose", motion(), not_applicable=True)
        loop = reach(2.0, seconds=4.0)
        yield Example("a loop", Motion(loop.clip, loop.figure, Cue(loop=True)), not_applicable=True)


def _ends(
    motion: Motion, known: Activity, still: Bools, settings: UntrimmedSettings
) -> Iterator[Finding]:
    rate = motion.sample_rate_hz
    slack = round(0.1 * rate)
    poses = head_and_tail(known.spread_arms & (known.travel_m_per_s < settings.walk_m_per_s), slack)
    waits = head_and_tail(still)
    walks = _walks(motion, known, still, settings)
    for at_head in (True, False):
        end = 0 if at_head else 1
        for kind, span, least_s, name in (
            ("calibration pose", poses[end], settings.pose_s, "pose_s"),
            ("walk", walks[end], settings.walk_s, "walk_s"),
            ("stillness", waits[end], settings.still_s, "still_s"),
        ):
            most = _MOST_WALK * motion.frames if kind == "walk" else motion.frames - 1
            if span is not None and span.frames / rate > least_s and span.frames <= most:
                yield _finding(motion, span, at_head, kind, least_s, name, settings)
                break


def _walks(
    motion: Motion, known: Activity, still: Bools, settings: UntrimmedSettings
) -> tuple[FrameSpan | None, FrameSpan | None]:
    """Walks at head and tail of a clip that spends most of its action on the spot."""
    walking = known.travel_m_per_s > settings.walk_m_per_s
    if motion.cue.phases or motion.cue.in_place is False:
        return None, None
    rate = motion.sample_rate_hz
    acting = ~walking & ~still
    if walking.sum() > acting.sum():
        return None, None
    runs = spans(walking, min_frames=2, bridge_frames=round(0.3 * rate))
    before = next((one for one in runs[:1] if not acting[: one.first].any()), None)
    after = next((one for one in runs[-1:] if not acting[one.last + 1 :].any()), None)
    head = None if before is None else FrameSpan(0, before.last)
    tail = None if after is None else FrameSpan(after.first, motion.frames - 1)
    return head, tail


_SAID = {
    "calibration pose": ("begins with a calibration pose", "ends in a calibration pose"),
    "walk": ("begins with a walk to the mark", "ends with a walk off the mark"),
    "stillness": ("begins with stillness", "ends with stillness"),
}


def _finding(
    motion: Motion,
    span: FrameSpan,
    at_head: bool,
    kind: str,
    least_s: float,
    name: str,
    settings: UntrimmedSettings,
) -> Finding:
    rate = motion.sample_rate_hz
    seconds = span.frames / rate
    lead = round(settings.lead_s * rate)
    offset = motion.clip.frame_offset
    if at_head:
        remedy = f"Start the clip at frame {max(span.last - lead, 0) + offset}."
    else:
        last = motion.frames - 1
        remedy = f"End the clip at frame {min(span.first + lead, last) + offset}."
    return Finding(
        message=f"the clip {_SAID[kind][0 if at_head else 1]} of {seconds:.1f} s",
        span=span,
        parts=("clip",),
        measured=seconds,
        limit=least_s,
        unit="s",
        worst_frame=span.last if at_head else span.first,
        remedy=remedy,
        level=Level.NOTE if kind == "walk" else Level.WARNING,
        detail="head" if at_head else "tail",
        setting=name,
        confidence={"calibration pose": 0.9, "stillness": 0.8, "walk": 0.4}[kind],
    )


def _several(
    motion: Motion, known: Activity, still: Bools, settings: UntrimmedSettings
) -> Iterator[Finding]:
    found = cuts(motion, known, still, settings.pause_s, settings.action_s, settings.lead_s)
    if len(found) < 2:
        return
    yield Finding(
        message=f"the take holds {len(found)} actions with pauses between them",
        span=FrameSpan(found[0].span.first, found[-1].span.last),
        parts=("clip",),
        measured=float(len(found)),
        limit=1.0,
        unit="actions",
        worst_frame=found[1].span.first,
        remedy=f"Cut it into {_listed(motion, found)}.",
        level=Level.NOTE,
        detail="cuts",
        setting="pause_s",
        confidence=0.6,
    )


def _listed(motion: Motion, found: list[Cut]) -> str:
    offset = motion.clip.frame_offset
    shown = [
        f"{one.name} (frames {one.span.first + offset} to {one.span.last + offset})"
        for one in found[:8]
    ]
    more = f" and {len(found) - 8} more" if len(found) > 8 else ""
    return ", ".join(shown) + more
