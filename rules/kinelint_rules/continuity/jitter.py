"""Joints do not shake faster than people move."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from kinelint.anatomy.contacts import stance
from kinelint.anatomy.feet import scale_of
from kinelint.anatomy.parts import SIDES, label
from kinelint.anatomy.proportions import built_like_a_person
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace, Unjudged
from kinelint.frame_spans import spans
from kinelint.kinematics import rates
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion
from kinelint_rules.continuity.jitter_bands import joints_to_look_at, shows_shakes, smooth_signs
from kinelint_rules.continuity.jitter_shakes import TAIL_HZ, Shake, shakes

PRACTICE = "common practice, no source"
CUT = (
    "6 Hz is the usual cut-off of low-pass filters for gait (Appl. Sci. 2025, 15(4), 2177); less "
    "than 1 percent of the power of walking lies above it (Winter 2009, Biomechanics and Motor "
    "Control of Human Movement, from memory)"
)
TREMOR = (
    "97 healthy people's hands trembled by 0.0015 to 0.035 g at about 7 Hz (A normative study of "
    "postural tremor of the hand, Arch Neurol 1982;39:358): 0.35 mm peak to peak at most"
)
MEASURED = PRACTICE + "; measured on open recordings of people"
_REST_M_PER_S = 0.15
_REST_S = 0.25


class JitterSettings(RuleSettings):
    """Settings of `jitter`. Sizes are peak to peak."""

    note_deg: float = setting(2.0, gt=0, why="Noise of a good solve stays below.", source=MEASURED)
    warning_deg: float = setting(4.0, gt=0, why="A limb seen to shiver.", source=MEASURED)
    error_deg: float = setting(10.0, gt=0, why="A limb that rattles.", source=PRACTICE)
    note_mm: float = setting(
        2.0, gt=0, why="Of a planted foot, a resting hand or the whole figure.", source=TREMOR
    )
    warning_mm: float = setting(4.0, gt=0, why="The same, seen in a full shot.", source=PRACTICE)
    error_mm: float = setting(
        15.0, gt=0, why="The same; no noise of a good solve.", source=PRACTICE
    )
    small_parts_times: float = setting(
        3.0, ge=1, why="Fingers and toes: their limits are so much higher.", source=PRACTICE
    )
    own_ratio: float = setting(
        0.5,
        gt=0,
        why="A shake is so many times what the same joint swings at 3 to 7 Hz: quick motion on "
        "purpose leaves a tail at higher frequencies.",
        source=CUT,
    )
    error_ratio: float = setting(
        2.0, gt=0, why="The same, for a finding of level error.", source=MEASURED
    )
    least_s: float = setting(
        0.5, gt=0.1, why="A footfall or a blow rings out within this.", source=MEASURED
    )
    stylised_as_people: bool = setting(
        False,
        why="Figures that are not built like people snap from pose to pose: a shake must be as "
        "clear as `error_ratio` says, and is at most a warning. Set it to hold them as people are "
        "held.",
        source=PRACTICE,
    )


class Jitter(Rule[JitterSettings]):
    """Joints do not shake faster than people move.

    What of each joint's turn, of planted feet, of resting hands and of the pelvis lies above
    8 Hz is held against limits, and against the joint's own swings at 3 to 7 Hz. It must go on,
    to and fro, for a while: a footfall or a kick is over at once. The size is peak to peak of the
    sine wave that would be as strong. Below 23 frames a second the band is not there.
    """

    id = "jitter"
    source = CUT
    level = Level.WARNING
    limits = (("note_deg", "warning_deg", "error_deg"), ("note_mm", "warning_mm", "error_mm"))
    quantity = "Swing above 8 Hz, peak to peak, degrees or mm."
    on_screen = "A limb shivers, a planted foot buzzes, a hand at rest trembles."
    remedy = "Filter the part over the frames named, below 6 to 8 Hz, or solve them anew."

    @staticmethod
    def check(motion: Motion, settings: JitterSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields a finding for each stretch in which a part shakes."""
        if not shows_shakes(motion.sample_rate_hz):
            raise NotApplicable(
                f"at {motion.sample_rate_hz:g} frames a second nothing shows above 8 Hz that "
                "could be told from motion (23 are needed)"
            )
        if motion.frames < round(settings.least_s * motion.sample_rate_hz) + 1:
            raise NotApplicable(f"the clip is shorter than {settings.least_s:g} s")
        style = not (settings.stylised_as_people or motion.derive(built_like_a_person))
        found = [*_places(motion, settings), *_turns(motion, settings)]
        if style:
            found = [one for one in found if one.what.clear > settings.error_ratio]
        for one in _gathered(found):
            told = _finding(motion, one)
            mild = style and told.level is Level.ERROR
            yield replace(told, level=Level.WARNING) if mild else told

    @staticmethod
    def examples() -> Iterable[Example]:
        """A waving arm, an arm that shivers, a planted foot and a hand at rest that shake."""
        frames = 181
        time = np.arange(frames) / 60.0
        on = ((time > 1.0) & (time < 2.2)).astype(np.float64)
        wave = 40.0 * np.sin(2.0 * np.pi * 1.2 * time)
        shiver = on * np.sin(2.0 * np.pi * 11.0 * time)

        def arm(degrees: Floats) -> Motion:
            return motion(frames=frames, turns={"left_upper_arm": [("X", degrees)]})

        yield Example("a waving arm", arm(wave))
        yield Example(
            "the waving arm shivers by 6 deg at 11 Hz",
            arm(wave + 3.0 * shiver),
            finds=1,
            parts=("left_upper_arm",),
            frames=(61, 131),
            slack_frames=4,
            measured=6.0,
            within=0.6,
            level=Level.WARNING,
        )
        hand = motion(
            frames=frames, shifts_m={"left_hand": np.stack((shiver, 0 * on, 0 * on)) * 3e-3}
        )
        yield Example(
            "a hand at rest trembles by 6 mm at 11 Hz",
            hand,
            finds=1,
            parts=("left_hand",),
            measured=6.0,
            within=0.6,
            level=Level.WARNING,
        )
        root = motion(frames=frames, shifts_m={"pelvis": np.stack((shiver, 0 * on, 0 * on)) * 3e-3})
        yield Example(
            "the whole figure trembles by 6 mm at 11 Hz",
            root,
            finds=1,
            parts=("pelvis",),
            measured=6.0,
            within=0.6,
        )
        slow = motion(frames=31, sample_rate_hz=15.0)
        yield Example("15 frames a second", slow, not_applicable=True)


@dataclass(frozen=True, eq=False)
class _Found:
    part: str
    what: Shake
    unit: str
    limits: tuple[float, float, float]
    error_ratio: float

    @property
    def level(self) -> Level:
        _, warning, error = self.limits
        sure = self.what.hz >= TAIL_HZ and self.what.clear > self.error_ratio
        if sure and self.what.size > error:
            return Level.ERROR
        return Level.WARNING if self.what.size > warning else Level.NOTE

    @property
    def limit(self) -> float:
        return self.limits[(Level.NOTE, Level.WARNING, Level.ERROR).index(self.level)]


def _turns(motion: Motion, settings: JitterSettings) -> Iterator[_Found]:
    limits = np.array((settings.note_deg, settings.warning_deg, settings.error_deg))
    looked_at = set(motion.derive(joints_to_look_at, 0.5 * settings.note_deg).tolist())
    for part, joints in motion.figure.anatomy.joints.items():
        if not motion.has(part):
            continue
        times = settings.small_parts_times if _small(part) else 1.0
        for joint in joints:
            if joint not in looked_at:
                continue
            # A turn by a small angle moves the quaternion by half of it.
            turned = np.degrees(2.0) * smooth_signs(motion.clip.rotations[joint])
            for one in _shakes(motion, turned, times * settings.note_deg, settings):
                graded = tuple(float(value) for value in times * limits)
                yield _Found(
                    part, one, "deg", (graded[0], graded[1], graded[2]), settings.error_ratio
                )


def _small(part: str) -> bool:
    return part[-1].isdigit() or part.endswith("toes")


def _shakes(
    motion: Motion,
    series: Floats,
    least: float,
    settings: JitterSettings,
    where: Bools | None = None,
) -> list[Shake]:
    rate = motion.sample_rate_hz
    return shakes(series, rate, least, settings.least_s, settings.own_ratio, where)


def _places(motion: Motion, settings: JitterSettings) -> Iterator[_Found]:
    scale = scale_of(motion) if motion.has("left_foot") and motion.has("right_foot") else 1.0
    limits = tuple(
        scale * one for one in (settings.note_mm, settings.warning_mm, settings.error_mm)
    )
    for part, where in _watched(motion):
        place = 1000.0 * motion.part(part).position_m
        for one in _shakes(motion, place, limits[0], settings, where):
            yield _Found(part, one, "mm", (limits[0], limits[1], limits[2]), settings.error_ratio)


def _watched(motion: Motion) -> Iterator[tuple[str, Bools | None]]:
    """Parts whose places may not shake, and when."""
    if motion.cue.additive:
        return
    if motion.has("pelvis"):
        yield "pelvis", None
    for side in SIDES:
        if motion.has(f"{side}_foot"):
            with suppress(NotApplicable):
                yield f"{side}_foot", stance(motion, side)
        if motion.has(f"{side}_hand"):
            yield f"{side}_hand", _rests(motion, f"{side}_hand")


def _rests(motion: Motion, part: str) -> Bools:
    """``(frames,)`` where the part hardly moves over a quarter of a second, whatever it shakes."""
    rate = motion.sample_rate_hz
    size = max(round(_REST_S * rate), 1)
    place = motion.part(part).position_m
    if place.shape[-1] < 2 * size:
        return np.zeros(place.shape[-1], dtype=np.bool_)
    box = np.full(size, 1.0 / size)
    pad = np.pad(place, ((0, 0), (size // 2, size - 1 - size // 2)), mode="edge")
    mean = np.stack([np.convolve(row, box, mode="valid") for row in pad])
    speed = np.linalg.norm(rates.windowed_velocity(mean, rate, _REST_S), axis=0)
    slow = np.zeros(place.shape[-1], dtype=np.bool_)
    for span in spans(speed < _REST_M_PER_S, min_frames=size):
        slow[span.first : span.last + 1] = True
    return slow


def _gathered(found: list[_Found]) -> list[_Found]:
    """One finding for what shakes at the same time for one reason: the strongest in limits."""
    kept: list[_Found] = []
    # Turns first: they are the reason of what limbs' ends do in space.
    order = sorted(found, key=lambda each: (_reason(each), -each.what.size / each.limits[0]))
    for one in order:
        if not any(_explains(other, one) for other in kept):
            kept.append(one)
    return sorted(kept, key=lambda each: (each.what.first, each.part))


def _reason(one: _Found) -> int:
    if one.part == "pelvis" and one.unit == "mm":
        return 0
    return 1 if one.unit == "deg" else 2


def _explains(one: _Found, other: _Found) -> bool:
    first, last = max(one.what.first, other.what.first), min(one.what.last, other.what.last)
    if last - first + 1 < 0.5 * (other.what.last - other.what.first + 1):
        return False
    if one.part == other.part:
        return True
    # What the pelvis does, feet and hands do in space; what a limb's joint does, its end does.
    return other.unit == "mm" and (
        one.part == "pelvis" or (one.unit == "deg" and _limb(one.part) == _limb(other.part) != "")
    )


def _limb(part: str) -> str:
    side, _, name = part.partition("_")
    if side not in SIDES:
        return ""
    return side + (" leg" if name in ("thigh", "shank", "foot", "toes") else " arm")


def _finding(motion: Motion, found: _Found) -> Finding:
    one, part, unit = found.what, found.part, found.unit
    turn = unit == "deg"
    name = "the whole figure" if part == "pelvis" and not turn else label(part)
    reach = round(0.3 * motion.sample_rate_hz)
    first = max(one.first - reach, 0)
    last = min(one.last + reach, motion.frames - 1)
    values = tuple(float(value) for value in one.values[first : last + 1])
    return Finding(
        message=f"{name} shakes by {one.size:.1f} {unit} at {one.hz:.0f} Hz",
        span=FrameSpan(one.first, one.last),
        parts=(part,),
        measured=one.size,
        limit=found.limit,
        unit=unit,
        worst_frame=one.worst,
        remedy=f"Filter the {label(part)} below 6 to 8 Hz over frames {one.first} to {one.last}, "
        "or solve them anew.",
        level=found.level,
        detail="turn" if turn else "place",
        trace=Trace(f"{label(part)} above 8 Hz", unit, first, values, found.limit),
        setting=f"{found.level.value}_{unit}",
        confidence=round(float(np.clip(1.0 - 0.5 * found.limit / one.size, 0.3, 0.95)), 2),
    )
