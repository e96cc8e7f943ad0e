"""Takes do not drift."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.anatomy.contacts import stance
from kinelint.anatomy.feet import scale_of
from kinelint.anatomy.ground import surface_height
from kinelint.anatomy.parts import SIDES, label
from kinelint.anatomy.sole import soles
from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace, Unjudged
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion
from kinelint_rules.continuity.trend import Trend, trend

PRACTICE = "common practice, no source"
SENSORS = (
    PRACTICE + "; heading is what inertial sensors lose first, since gravity says nothing of it"
)
_ENDS_S = 0.05
# Neighbours whose headings go together over a long time: (part, the one it sits on).
_HEADINGS = (("thorax", "pelvis"), ("head", "thorax"))
# Parts that turn little about their own length against the one above.
_TWISTS = ("shank", "foot")


class DriftSettings(RuleSettings):
    """Settings of `drift`."""

    return_mm: float = setting(
        100.0,
        gt=0,
        why="From the start of a take that returns there; a performer hits a mark to this.",
        source=PRACTICE,
    )
    return_error_mm: float = setting(
        250.0, gt=0, why="Nobody misses a mark by that much.", source=PRACTICE
    )
    return_deg: float = setting(
        10.0, gt=0, why="Heading at the end against the start.", source=SENSORS
    )
    return_error_deg: float = setting(25.0, gt=0, why="The world has turned.", source=SENSORS)
    in_place_mm: float = setting(
        50.0, gt=0, why="Travel of a clip that is to stay in place.", source=PRACTICE
    )
    in_place_error_mm: float = setting(
        150.0, gt=0, why="The figure walks off its place.", source=PRACTICE
    )
    part_deg: float = setting(
        15.0,
        gt=0,
        why="One part against the one it sits on, over the whole take.",
        source=SENSORS,
    )
    height_mm: float = setting(
        40.0, gt=0, why="Planted feet rise or sink over the take.", source=SENSORS
    )
    window_s: float = setting(
        1.0, gt=0.05, why="What comes and goes within this is motion, no drift.", source=PRACTICE
    )
    least_s: float = setting(
        10.0, gt=0, why="Slow drifts of parts are judged in takes of at least this.", source=SENSORS
    )
    steady_ratio: float = setting(
        0.8,
        gt=0.5,
        le=1,
        why="Share of pairs of windows that go the same way: a pose that is changed once is no "
        "drift.",
        source=PRACTICE,
    )


class Drift(Rule[DriftSettings]):
    """Takes do not drift.

    Four things: where and how a take that the cue sheet says `returns` ends against its start;
    how far a clip that is to stay `in_place` travels; the slow turn of chest, head, shin or foot
    against its neighbour over a long take; the height of planted feet over a long take. Slow
    drifts are robust lines through the medians of windows of a second, so that what the figure
    does in between hardly counts, and they must go one way most of the time.
    """

    id = "drift"
    source = SENSORS
    level = Level.WARNING
    limits = (
        ("return_mm", "return_error_mm"),
        ("return_deg", "return_error_deg"),
        ("in_place_mm", "in_place_error_mm"),
        ("part_deg",),
        ("height_mm",),
    )
    quantity = "Change from the start of the take to its end, mm or degrees."
    on_screen = "The figure ends off its mark, a foot turns out more and more, the floor creeps."
    remedy = "Calibrate anew before the take, or take the drift out evenly over its frames."

    @staticmethod
    def check(motion: Motion, settings: DriftSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields a finding for each kind of drift."""
        if motion.cue.additive:
            raise NotApplicable("the clip is additive: it is in no place")
        long = motion.clip.duration_s >= settings.least_s
        cue = motion.cue
        if not (cue.returns or cue.in_place or long):
            raise NotApplicable(
                "the cue sheet does not say that the clip returns or stays in place, and it is too "
                f"short for slow drifts ({settings.least_s:g} s)"
            )
        if cue.returns:
            yield from _returns(motion, settings)
        if cue.in_place:
            yield from _stays(motion, settings)
        if not long:
            yield Unjudged(f"slow drifts show in takes of {settings.least_s:g} s and more only")
            return
        yield from _headings(motion, settings)
        yield from _twists(motion, settings)
        yield from _creeps(motion, settings)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A take that returns, one that ends off its mark, a foot that turns out slowly."""
        frames = 901
        way = np.linspace(0.0, 1.0, frames)
        round_trip = np.sin(np.pi * way)
        back = Cue(returns=True)

        def moved(along: Floats, cue: Cue) -> Motion:
            shift = np.stack((0.0 * along, 0.0 * along, along))
            return motion(frames=frames, shifts_m={"pelvis": shift}, cue=cue)

        turning = motion(frames=frames, turns={"left_foot": [("Y", 20.0 * way)]})
        head = motion(frames=frames, turns={"head": [("Y", 18.0 * way)]})
        yield Example("returns to its start", moved(round_trip, back))
        yield Example(
            "ends 180 mm off its start",
            moved(round_trip + 0.18 * way, back),
            finds=1,
            parts=("pelvis",),
            measured=180.0,
            within=5.0,
            level=Level.WARNING,
        )
        yield Example(
            "an in-place clip that travels by 200 mm",
            moved(0.2 * way, Cue(in_place=True)),
            finds=1,
            level=Level.ERROR,
            measured=200.0,
            within=5.0,
        )
        yield Example(
            "the left foot turns out by 20 deg over the take",
            turning,
            finds=1,
            parts=("left_foot", "left_shank"),
            measured=20.0,
            within=1.5,
        )
        yield Example("the head turns away", head, finds=1, parts=("head", "thorax"))
        yield Example("two seconds of nothing", motion(frames=120), not_applicable=True)


def _ends(values: Floats, rate: float) -> tuple[Floats, Floats]:
    size = max(round(_ENDS_S * rate), 1)
    return np.median(values[..., :size], axis=-1), np.median(values[..., -size:], axis=-1)


def _returns(motion: Motion, settings: DriftSettings) -> Iterator[Finding]:
    pelvis = motion.part("pelvis")
    start, end = _ends(pelvis.position_m[[0, 2]], motion.sample_rate_hz)
    off_mm = 1000.0 * float(np.linalg.norm(end - start))
    limits = (settings.return_mm, settings.return_error_mm)
    if (graded := _graded(off_mm, limits)) is not None:
        level, limit, error = graded
        yield _whole(
            motion,
            ("pelvis",),
            f"the take ends {off_mm:.0f} mm from where it starts",
            (off_mm, limit, "mm"),
            f"Take out {off_mm:.0f} mm evenly over the take, or mend the steps that lose the way.",
            "place",
            "return_error_mm" if error else "return_mm",
            level,
        )
    start_deg, end_deg = _ends(heading_deg(motion, "pelvis"), motion.sample_rate_hz)
    turned = abs(float((end_deg - start_deg + 180.0) % 360.0 - 180.0))
    if (graded := _graded(turned, (settings.return_deg, settings.return_error_deg))) is not None:
        level, limit, error = graded
        yield _whole(
            motion,
            ("pelvis",),
            f"the take ends turned by {turned:.0f} deg against its start",
            (turned, limit, "deg"),
            f"Turn the root back by {turned:.0f} deg evenly over the take.",
            "heading",
            "return_error_deg" if error else "return_deg",
            level,
        )


def _stays(motion: Motion, settings: DriftSettings) -> Iterator[Finding]:
    place = motion.part("pelvis").position_m[[0, 2]]
    time = motion.times_s
    if motion.frames < 2:
        return
    along, across = (float(np.polyfit(time, one, 1)[0]) for one in place)
    off_mm = 1000.0 * float(np.hypot(along, across)) * motion.clip.duration_s
    limits = (settings.in_place_mm, settings.in_place_error_mm)
    if (graded := _graded(off_mm, limits)) is not None:
        level, limit, error = graded
        yield _whole(
            motion,
            ("pelvis",),
            f"the clip is to stay in place and travels by {off_mm:.0f} mm",
            (off_mm, limit, "mm"),
            f"Take {off_mm:.0f} mm of travel out of the root evenly over the clip.",
            "in place",
            "in_place_error_mm" if error else "in_place_mm",
            level,
        )


def heading_deg(motion: Motion, part: str) -> Floats:
    """``(frames,)`` turn of a part about the vertical since the first frame, unwrapped."""
    q = motion.part(part).orientation
    turned = rotations.multiply(q, rotations.conjugate(q[:, :1]))
    half = np.arctan2(turned[2], turned[0])
    return np.asarray(np.degrees(2.0 * np.unwrap(half, period=np.pi)))


def _headings(motion: Motion, settings: DriftSettings) -> Iterator[Finding]:
    for part, base in _HEADINGS:
        if motion.has(part) and motion.has(base):
            apart = heading_deg(motion, part) - heading_deg(motion, base)
            apart = np.degrees(np.unwrap(np.radians(apart)))
            found = trend(apart, motion.sample_rate_hz, settings.window_s)
            yield from _slow(motion, part, base, apart, found, settings)


def _twists(motion: Motion, settings: DriftSettings) -> Iterator[Finding]:
    """Turn of a part about the length of the one above it.

    Both sides that turn alike have taken another stance: a sensor is lost on one side.
    """
    for name, base in zip(_TWISTS, ("thigh", "shank"), strict=True):
        found = {}
        for side in SIDES:
            apart = _apart(motion, f"{side}_{name}", f"{side}_{base}")
            if apart is not None:
                found[side] = apart, trend(apart, motion.sample_rate_hz, settings.window_s)
        sizes = [abs(one.total) for _, one in found.values() if one is not None]
        if len(sizes) == 2 and min(sizes) > 0.5 * max(sizes):
            continue
        for side, (apart, one) in found.items():
            yield from _slow(motion, f"{side}_{name}", f"{side}_{base}", apart, one, settings)


def _apart(motion: Motion, part: str, above: str) -> Floats | None:
    if not (motion.has(part) and motion.has(above)):
        return None
    upper, lower = motion.part(above), motion.part(part)
    axis = rotations.unrotate(upper.orientation, lower.position_m - upper.position_m)
    axis = np.median(axis, axis=-1)
    length = float(np.linalg.norm(axis))
    if length < 1e-6:
        return None
    return _twist_deg(upper.orientation, lower.orientation, axis / length)


def _twist_deg(upper: Floats, lower: Floats, axis: Floats) -> Floats:
    between = rotations.multiply(rotations.conjugate(upper), lower)
    turned = rotations.multiply(between, rotations.conjugate(between[:, :1]))
    along = np.einsum("c,cf->f", axis, turned[1:])
    return np.asarray(np.degrees(2.0 * np.unwrap(np.arctan2(along, turned[0]), period=np.pi)))


def _slow(
    motion: Motion,
    part: str,
    base: str,
    apart: Floats,
    found: Trend | None,
    settings: DriftSettings,
) -> Iterator[Finding]:
    if found is None or abs(found.total) <= settings.part_deg:
        return
    if found.steady < settings.steady_ratio or found.spread > 0.25 * abs(found.total):
        return
    yield _whole(
        motion,
        (part, base),
        f"{label(part)} drifts by {abs(found.total):.0f} deg against the {label(base)} over the "
        "take",
        (abs(found.total), settings.part_deg, "deg"),
        f"Turn the {label(part)} back by {abs(found.total):.0f} deg evenly over the take, and "
        "calibrate its sensor anew.",
        "slow turn",
        "part_deg",
        Level.WARNING,
        Trace(f"{label(part)} against {label(base)}", "deg", 0, tuple(apart.tolist())),
        confidence=round(0.5 * found.steady, 2),
    )


def _creeps(motion: Motion, settings: DriftSettings) -> Iterator[Finding]:
    try:
        known = motion.derive(soles)
        down = {side: stance(motion, side) for side in known}
    except NotApplicable:
        return
    lowest = []
    for side, sole in known.items():
        points = np.stack([sole.heel_m, sole.ball_m])
        over = points[:, 1] - surface_height(motion, points[:, 0], points[:, 2])
        lowest.append(np.where(down[side], over.min(axis=0), np.nan))
    both = np.stack(lowest)
    stands = ~np.all(np.isnan(both), axis=0)
    height_mm = 1000.0 * np.nanmin(np.where(stands, both, 0.0), axis=0)
    found = trend(height_mm, motion.sample_rate_hz, settings.window_s, stands)
    limit = settings.height_mm * scale_of(motion)
    if found is None or abs(found.total) <= limit or found.steady < settings.steady_ratio:
        return
    way = "rise" if found.total > 0 else "sink"
    yield _whole(
        motion,
        ("pelvis",),
        f"planted feet {way} by {abs(found.total):.0f} mm over the take",
        (abs(found.total), limit, "mm"),
        f"{'Lower' if found.total > 0 else 'Raise'} the root by {abs(found.total):.0f} mm evenly "
        "towards the end of the take.",
        "height",
        "height_mm",
        Level.WARNING,
        confidence=round(0.6 * found.steady, 2),
    )


def _graded(value: float, limits: tuple[float, float]) -> tuple[Level, float, bool] | None:
    warning, error = limits
    if value > error:
        return Level.ERROR, error, True
    return (Level.WARNING, warning, False) if value > warning else None


def _whole(
    motion: Motion,
    parts: tuple[str, ...],
    message: str,
    size: tuple[float, float, str],
    remedy: str,
    detail: str,
    setting_name: str,
    level: Level,
    trace: Trace | None = None,
    confidence: float = 0.8,
) -> Finding:
    measured, limit, unit = size
    return Finding(
        message=message,
        span=FrameSpan(0, motion.frames - 1),
        parts=parts,
        measured=measured,
        limit=limit,
        unit=unit,
        worst_frame=motion.frames - 1,
        remedy=remedy,
        level=level,
        detail=detail,
        trace=trace,
        setting=setting_name,
        confidence=confidence,
    )
