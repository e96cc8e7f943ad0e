"""Motion does not stall: no repeated frames, no part that stops dead amid motion."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.anatomy.parts import label, side_of
from kinelint.anatomy.proportions import built_like_a_person
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Unjudged
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion
from kinelint_rules.continuity.stall_fingers import Odd, odd_fingers
from kinelint_rules.continuity.stall_frames import Repeats, repeats, true_rate_hz
from kinelint_rules.continuity.stall_parts import Held, held, unused

PRACTICE = "common practice, no source"
MEASURED = PRACTICE + "; measured on open recordings of people"
ROM = (
    "knuckle 90 and middle joint 100 deg (Eaton, Electronic Textbook of Hand Surgery); the rest is "
    "room for skeletons whose fingers rest bent"
)
_EVERY_FRAME = 0.9


class StallSettings(RuleSettings):
    """Settings of `stall`."""

    moving_deg_per_s: float = setting(
        40.0,
        gt=0,
        why="A frame repeats amid motion if the fastest joint turns at least so fast just before "
        "and just after.",
        source=MEASURED,
    )
    repeats_percent: float = setting(
        10.0, gt=0, why="Of the moving frames, in a beat: a rate was converted.", source=PRACTICE
    )
    standstill_ms: float = setting(
        20.0,
        gt=0,
        why="The whole figure stands so long amid motion; the shortest that is told at 60 Hz is "
        "one frame, at 24 Hz a single frame is 42 ms.",
        source=PRACTICE,
    )
    longest_s: float = setting(
        1.0, gt=0, why="A figure that stands longer holds a pose.", source=PRACTICE
    )
    frozen_ms: float = setting(
        200.0, gt=0, why="A part that stands while its parent turns.", source=MEASURED
    )
    parent_deg_per_s: float = setting(
        15.0, gt=0, why="How fast the parent turns meanwhile, on average.", source=MEASURED
    )
    breaks_deg_per_s: float = setting(
        25.0,
        gt=0,
        why="How fast the part turns right before it stops and right after: who stops on purpose "
        "slows down first.",
        source=MEASURED,
    )
    fingers_deg_per_s: float = setting(
        40.0, gt=0, why="The others curl so fast while one stands.", source=PRACTICE
    )
    noisy_deg: float = setting(
        6.0, gt=0, why="Peak to peak above 8 Hz of one finger's curl.", source=PRACTICE
    )
    noisy_times: float = setting(
        4.0, gt=1, why="And so many times what its neighbours do.", source=PRACTICE
    )
    bent_deg: float = setting(
        220.0, gt=0, why="Knuckle and middle joint together bend no further.", source=ROM
    )
    against_deg: float = setting(
        20.0,
        gt=0,
        why="One finger opens by this while the others close, within 0.3 s; pointing does so as "
        "well, so it is a note.",
        source=PRACTICE,
    )
    stylised_as_people: bool = setting(
        False,
        why="Figures that are not built like people are keyed by hand, and their joints hold on "
        "purpose. Set it to hold them as people are held.",
        source=PRACTICE + "; two open packs of cartoon figures",
    )


class Stall(Rule[StallSettings]):
    """Motion does not stall.

    Four things: single frames, or some, in which the whole figure repeats its pose amid motion;
    frames that repeat in a beat, as a wrong conversion of the rate leaves them (one finding, which
    names the true rate); a part that keeps its turn against its parent, or its heading in the
    world, to the digit while its parent turns, and stops and starts without slowing down, as when
    a sensor is lost; a finger that is frozen, noisy, bent too far or goes against its neighbours.

    Poses that are held, planted feet and what never moves in the whole clip are none of these; a
    part that stops for good is a note, since clips may end so.
    Clips with sparse keys are keyed by hand, and hold on purpose: they are not judged.
    """

    id = "stall"
    source = MEASURED
    level = Level.WARNING
    limits = (("repeats_percent",), ("standstill_ms",), ("frozen_ms",))
    quantity = "Time without any motion amid motion, ms; share of frames that repeat, percent."
    on_screen = "The figure stutters; an arm or a finger freezes while the rest goes on."
    remedy = "Import the take at its true rate, or solve the part anew over the frames named."

    @staticmethod
    def check(motion: Motion, settings: StallSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields findings for frames that repeat and for parts and fingers that stall."""
        keys = motion.clip.key_times_s.size
        if 0 < keys < _EVERY_FRAME * motion.frames:
            raise NotApplicable(
                f"the clip has {keys} keys for {motion.frames} frames: between sparse keys holds "
                "are made on purpose"
            )
        if motion.frames < 5:
            raise NotApplicable("the clip has fewer than five frames")
        idle = motion.derive(unused)
        if idle:
            yield Unjudged("these never turn in the whole clip: unused or not captured", idle)
        style = not (settings.stylised_as_people or motion.derive(built_like_a_person))
        level = Level.NOTE if style else Level.WARNING
        whole = motion.derive(repeats, settings.moving_deg_per_s, settings.longest_s)
        stuttering = list(_frames(motion, whole, settings, level))
        yield from stuttering
        # In a clip that stutters every part does.
        if any(one.unit == "percent" for one in stuttering):
            return
        if style:
            yield Unjudged("the figure is not built like a person: its parts hold on purpose")
        else:
            yield from _parts(motion, whole, settings)
        yield from _fingers(motion, whole, settings)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A swing, one on twos, a repeated frame, an arm that freezes, fingers that do not."""
        yield Example("a swinging arm and chest", _swinging(_time(181)))
        slow = np.floor(np.arange(181) / 3.0) / 20.0
        yield Example(
            "20 frames a second saved at 60",
            _swinging(slow),
            finds=1,
            parts=("clip",),
            measured=66.7,
            within=2.0,
            level=Level.WARNING,
        )
        once = _time(181)
        once[100:104] = once[99]
        yield Example(
            "the figure stands for four frames",
            _swinging(once),
            finds=1,
            parts=("clip",),
            frames=(100, 103),
            slack_frames=0,
            measured=66.7,
            within=0.1,
        )
        lost = _time(181)
        lost[70:100] = lost[70]
        yield Example(
            "the left forearm freezes for half a second",
            _swinging(_time(181), lost),
            finds=1,
            parts=("left_forearm",),
            frames=(70, 99),
            slack_frames=1,
            measured=483.0,
            within=20.0,
            level=Level.WARNING,
        )
        yield Example("a hand that closes", _closing(""))
        yield Example(
            "the middle finger stays behind",
            _closing("middle"),
            finds=1,
            parts=("left_middle_1",),
            level=Level.WARNING,
        )


def _time(frames: int) -> Floats:
    return np.arange(frames) / 60.0


def _swinging(time: Floats, forearm_time: Floats | None = None) -> Motion:
    lower = time if forearm_time is None else forearm_time
    return motion(
        frames=time.size,
        turns={
            "thorax": [("Y", 15.0 * np.sin(2.0 * np.pi * 0.5 * time))],
            "left_upper_arm": [("X", 40.0 * np.sin(2.0 * np.pi * 0.7 * time))],
            "left_forearm": [("X", -40.0 - 35.0 * np.sin(2.0 * np.pi * 0.8 * lower + 0.4))],
        },
        shifts_m={"pelvis": np.stack((0.0 * time, 0.0 * time, 0.2 * np.sin(3.0 * time)))},
    )


def _closing(dead: str) -> Motion:
    time = _time(121)
    curl = 35.0 * (1.0 - np.cos(2.0 * np.pi * 0.7 * time))
    turns = {
        f"left_{finger}_{number}": [("Z", curl * (0.0 if finger == dead else 1.0))]
        for finger in ("index", "middle", "ring", "little")
        for number in (1, 2, 3)
    }
    return motion(frames=121, fingers=True, turns=turns)


def _frames(
    motion: Motion, whole: Repeats, settings: StallSettings, level: Level
) -> Iterator[Finding]:
    percent = 100.0 * whole.share
    if whole.regular and percent > settings.repeats_percent:
        hz, usual = true_rate_hz(motion.sample_rate_hz, whole.share)
        first, last = whole.runs[0][0], whole.runs[-1][1]
        yield Finding(
            message=f"{percent:.0f} percent of the moving frames repeat the one before: the clip "
            f"was made at {hz:g} Hz and saved at {motion.sample_rate_hz:g}",
            span=FrameSpan(first, last),
            parts=("clip",),
            measured=percent,
            limit=settings.repeats_percent,
            unit="percent",
            worst_frame=first,
            remedy=f"Import it at {hz:g} Hz, and interpolate to {motion.sample_rate_hz:g} Hz.",
            level=level,
            detail="rate",
            setting="repeats_percent",
            confidence=0.95 if usual else 0.7,
        )
        return
    for first, last in whole.runs:
        ms = 1000.0 * (last - first + 1) / motion.sample_rate_hz
        frames = last - first + 1
        # One frame at a high rate is not seen; it tells of a lost sample all the same.
        short = ms <= settings.standstill_ms
        told = Level.NOTE if short else level
        yield Finding(
            message=f"the whole figure stands for {ms:.0f} ms amid motion "
            f"({frames} frame{'s' if frames > 1 else ''} repeat)",
            span=FrameSpan(first, last),
            parts=("clip",),
            measured=ms,
            limit=0.0 if short else settings.standstill_ms,
            unit="ms",
            worst_frame=first,
            remedy=f"Delete frames {first} to {last} and let the curves run across, or fetch the "
            "take anew.",
            level=told,
            detail="standstill",
            setting="standstill_ms",
            confidence=0.85,
        )


def _parts(motion: Motion, whole: Repeats, settings: StallSettings) -> Iterator[Finding]:
    found = motion.derive(
        held, settings.frozen_ms / 1000.0, settings.parent_deg_per_s, settings.breaks_deg_per_s
    )
    left = [one for one in found if not _inside(one.first, one.last, whole)]
    while left:
        one = left.pop(0)
        together = [one, *(each for each in left if _with(one, each))]
        left = [each for each in left if each not in together]
        first, last = min(e.first for e in together), max(e.last for e in together)
        parts = tuple(dict.fromkeys(each.part for each in together))
        ms = 1000.0 * (last - first) / motion.sample_rate_hz
        yield Finding(
            message=_frozen_message(one, parts, ms),
            span=FrameSpan(first, last),
            parts=parts,
            measured=ms,
            limit=settings.frozen_ms,
            unit="ms",
            worst_frame=(first + last) // 2,
            remedy=f"Solve the {label(one.part)} anew over frames {first} to {last}, or blend "
            "across them.",
            level=Level.NOTE if last >= motion.frames - 1 else Level.WARNING,
            detail=one.where,
            setting="frozen_ms",
            confidence=round(
                float(np.clip(one.breaks_deg_per_s / (one.breaks_deg_per_s + 30.0), 0.3, 0.9)), 2
            ),
        )


def _frozen_message(one: Held, parts: tuple[str, ...], ms: float) -> str:
    others = f" and {len(parts) - 1} more" if len(parts) > 1 else ""
    what = "its turn" if one.where == "joint" else "its heading in the world"
    return (
        f"{label(one.part)}{others} keeps {what} for {ms:.0f} ms while what it hangs from turns "
        f"by {one.turns_deg_per_s:.0f} deg/s"
    )


def _with(one: Held, other: Held) -> bool:
    """One loss: the same limb at the same time."""
    side = side_of(one.part)
    overlap = min(one.last, other.last) - max(one.first, other.first) + 1
    shorter = min(one.last - one.first, other.last - other.first) + 1
    same = one.part == other.part or side_of(other.part) == side
    return same and overlap > 0.8 * shorter and one.where == other.where


def _inside(first: int, last: int, whole: Repeats) -> bool:
    """Whether most of it is a standstill of the whole figure."""
    covered = sum(max(min(last, end) - max(first, start - 1) + 1, 0) for start, end in whole.runs)
    return covered > 0.5 * (last - first + 1)


_SAYS = {
    "frozen": "stands for {size:.0f} ms while its neighbours curl by {others:.0f} deg/s",
    "noisy": "shakes by {size:.0f} deg, its neighbours by {others:.1f}",
    "bent": "is curled by {size:.0f} deg, {others:.0f} at most can be",
    "against": "goes {size:.0f} deg against its neighbours, which go {others:.0f} deg",
}
_LIMITS = {
    "frozen": ("frozen_ms", "ms", 0.7),
    "noisy": ("noisy_deg", "deg", 0.8),
    "bent": ("bent_deg", "deg", 0.7),
    "against": ("against_deg", "deg", 0.4),
}


def _fingers(motion: Motion, whole: Repeats, settings: StallSettings) -> Iterator[Finding]:
    for one in odd_fingers(
        motion,
        settings.frozen_ms / 1000.0,
        settings.fingers_deg_per_s,
        settings.noisy_deg,
        settings.noisy_times,
        settings.bent_deg,
        settings.against_deg,
    ):
        if not _inside(one.first, one.last, whole):
            yield _finger(one, settings)


def _finger(one: Odd, settings: StallSettings) -> Finding:
    name, unit, sure = _LIMITS[one.kind]
    finger = label(one.part)[:-2]
    return Finding(
        message=f"{finger} finger {_SAYS[one.kind].format(size=one.size, others=one.others)}",
        span=FrameSpan(one.first, one.last),
        parts=(one.part,),
        measured=one.size,
        limit=float(getattr(settings, name)),
        unit=unit,
        remedy=f"Pose the {finger} finger after its neighbours over frames {one.first} to "
        f"{one.last}, or calibrate the glove anew.",
        level=Level.NOTE if one.kind == "against" else Level.WARNING,
        detail=f"finger {one.kind}",
        setting=name,
        confidence=sure,
    )
