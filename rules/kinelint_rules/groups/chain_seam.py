"""Clips that follow each other meet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.parts import label
from kinelint.cue import Chain
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Unjudged
from kinelint.group import Group, GroupExample, GroupRule, Member, Said
from kinelint.kinematics.arrays import Floats
from kinelint.rule import RuleSettings, setting
from kinelint.synthetic import motion
from kinelint_rules.groups.blend_window import best_window
from kinelint_rules.groups.chain_ends import LIKELY, SURE, WINDOW_S, Seam, chain_seam
from kinelint_rules.groups.made import chained, swing
from kinelint_rules.groups.pairing import Pairs, frame_named, listed, pairs, refuse_other_builds

LEAST_FRAMES = 3
PRACTICE = "common practice, no source"


class ChainSeamSettings(RuleSettings):
    """Settings of `chain-seam`."""

    gap_mm: float = setting(
        20.0,
        gt=0,
        why="A jump of this size between two frames is seen; slides of feet are from 21 mm.",
        source="Prazak M, Hoyet L, O'Sullivan C (2011), Perceptual Evaluation of Footskate "
        "Cleanup, SCA 2011 (from memory), taken over from feet to any joint",
    )
    gap_deg: float = setting(
        5.0,
        gt=0,
        why="As `loop-seam`: clean loops of games close within 3 degrees at every joint.",
        source=PRACTICE + "; public loops in two free asset packs were measured at 0 to 2.5",
    )
    jump_mm_per_s: float = setting(
        500.0,
        gt=0,
        why="On top of 1.3 times the largest change of velocity that the joint makes elsewhere in "
        "the two clips.",
        source=PRACTICE,
    )
    blend_deg_per_s: float = setting(
        60.0,
        ge=0,
        why="A blend spreads the gap over its length: a joint that turns this much faster or "
        "slower meanwhile is not noticed. 0.2 s of blend make 5 degrees 17.",
        source=PRACTICE,
    )
    blend_mm_per_s: float = setting(
        300.0,
        ge=0,
        why="The same of places: the change of speed that is not noticed. 0.2 s make 20 mm 80.",
        source=PRACTICE,
    )
    search_s: float = setting(
        0.5,
        gt=0,
        le=5,
        why="How much of either clip may be given up for a better place to go over.",
        source=PRACTICE,
    )
    warning_share: float = setting(
        0.6,
        gt=0,
        le=1,
        why="From this share of a limit on, a seam is a warning: the next edit may break it.",
        source=PRACTICE,
    )
    responsible_share: float = setting(
        0.5,
        gt=0,
        le=1,
        why="Joints with at least this share of the largest gap are named.",
        source=PRACTICE,
    )


@dataclass(frozen=True, eq=False)
class _Case:
    """Two clips, their joints, and the limits with the blend that the game makes."""

    settings: ChainSeamSettings
    bond: Chain
    before: Member
    after: Member
    found: Pairs

    @property
    def limits(self) -> tuple[float, float, float]:
        """Degrees, mm, mm/s."""
        settings, blend_s = self.settings, self.bond.blend_s
        return (
            settings.gap_deg + settings.blend_deg_per_s * blend_s,
            settings.gap_mm + settings.blend_mm_per_s * blend_s,
            # A change of velocity spread over the blend, not over the window it is taken in.
            settings.jump_mm_per_s * (1.0 + blend_s / WINDOW_S),
        )


class ChainSeam(GroupRule[ChainSeamSettings]):
    """Clips that follow each other meet.

    For every pair of clips that the cue sheet lets follow each other: start to loop, loop to end,
    step after step. The end of the first is laid over the start of the second by the turn about
    the vertical and the shift along the floor that fit best, so that figures that travel or turn
    are judged as those that do not. What is left is the seam: for each joint its turn against its
    parent, its distance, and how much its velocity changes beyond what the two clips do anyway.
    The finding stands on the clip that begins.

    The first frame of the second may repeat the last of the first, or be a step further on, or
    anything between, which different frame rates bring about: the rule takes what fits most
    joints. An in-place clip is given its travel back where the sheet tells its velocity; where it
    does not, velocities are compared without what the whole figure does.

    Where the game blends (`blend_s`), the limits grow by what the blend spreads: `blend_deg_per_s`
    and `blend_mm_per_s` times its length for the pose; the velocity may change by as much more as
    the blend is longer than a thirtieth of a second.

    It also looks for a better place to go over: every last frame of the first within `search_s`
    against every first frame of the second, and says which pair differs least and how long a
    blend what is left there asks for.
    """

    id = "chain-seam"
    bond = Chain
    source = (
        "Kovar L, Gleicher M, Pighin F (2002), Motion Graphs, ACM TOG 21:473-482 (the alignment "
        "and the search over pairs of frames); limits as their settings say"
    )
    level = Level.ERROR
    limits = (("gap_mm",), ("gap_deg",), ("jump_mm_per_s",))
    quantity = "Pose left over from one clip's end to the next's start (deg, mm), velocity (mm/s)."
    on_screen = "The figure twitches, or a limb snaps, where one clip goes over into the next."
    remedy = "Go over at the frames named, or blend the joints named into the pose of the first."

    @staticmethod
    def check(group: Group, settings: ChainSeamSettings, /) -> Iterator[Said]:
        """Yields at most one finding for the pose and one for the velocity, on the later clip."""
        before, after = group.members
        assert isinstance(group.bond, Chain)
        for one in (before, after):
            if one.motion.cue.additive:
                raise NotApplicable(f"{one.label} is additive: it has no pose of its own")
            if one.motion.frames < LEAST_FRAMES:
                raise NotApplicable(f"{one.label} has too few frames to meet anything")
        found = pairs(before.motion, after.motion)
        refuse_other_builds(before.motion, after.motion, found)
        if found.alone:
            reason = "only one of the two clips has them"
            yield Said(1, Unjudged(reason, found.alone))
        case = _Case(settings, group.bond, before, after, found)
        seam = chain_seam(before.motion, after.motion, found)
        pose = list(_pose(case, seam))
        yield from pose
        # A pose that does not meet breaks the velocity as well: say it once.
        if not any(isinstance(o.what, Finding) and o.what.level is Level.ERROR for o in pose):
            yield from _velocity(case, seam)

    @staticmethod
    def examples() -> Iterable[GroupExample]:
        """Clips cut from one swing; one that turns and travels; arms that begin elsewhere."""
        whole = swing(0, 120)
        yield GroupExample("one swing cut in two", chained(swing(0, 60), swing(60, 120)))
        yield GroupExample("the next frame begins it", chained(swing(0, 60), swing(61, 120)))
        yield GroupExample(
            "the second faces elsewhere", chained(swing(0, 60), swing(60, 120, yaw_deg=130.0))
        )
        yield GroupExample(
            "left arm begins 8 degrees off",
            chained(swing(0, 60), swing(60, 120, off_deg=8.0)),
            finds=1,
            member=1,
            parts=("left_upper_arm",),
            frames=(0, 0),
            slack_frames=0,
            measured=8.0,
            within=0.1,
            level=Level.ERROR,
        )
        yield GroupExample(
            "the same, where the game blends over 0.4 s",
            chained(swing(0, 60), swing(60, 120, off_deg=8.0), blend_s=0.4),
        )
        yield GroupExample(
            "the same at another rate, the body turned",
            chained(whole, swing(120, 180, off_deg=8.0, yaw_deg=70.0, rate_hz=30.0)),
            finds=1,
            member=1,
            parts=("left_upper_arm",),
            measured=8.0,
            within=0.2,
        )
        yield GroupExample(
            "left arm begins 2 degrees off",
            chained(swing(0, 60), swing(60, 120, off_deg=2.0)),
            finds=1,
            level=Level.WARNING,
        )
        yield GroupExample(
            "swings on the other way",
            chained(swing(0, 75), swing(75, 120, back=True)),
            finds=1,
            member=1,
            level=Level.ERROR,
        )
        tall = Member("tall.bvh", "", motion(frames=30, stature_m=1.95))
        yield GroupExample(
            "another person",
            Group(Chain("haul", "a", "b"), (chained(whole, whole).members[0], tall)),
            not_applicable=True,
        )


def _pose(case: _Case, seam: Seam) -> Iterator[Said]:
    limit_deg, limit_mm, _ = case.limits
    # What a step between the clips may belie is no defect.
    off_deg, off_mm = seam.beyond(LIKELY)
    in_deg, in_mm = off_deg / limit_deg, off_mm / limit_mm
    share = max(float(in_deg.max()), float(in_mm.max()))
    if share <= case.settings.warning_share:
        return
    by_turn = float(in_deg.max()) >= case.settings.warning_share
    values, limit = (off_deg, limit_deg) if by_turn else (off_mm, limit_mm)
    rows = _responsible(values, case.settings.responsible_share)
    parts = _parts(case, rows)
    worst, furthest = rows[0], int(np.argmax(off_mm))
    unit = "deg" if by_turn else "mm"
    said = f"{case.after.label} does not begin where {case.before.label} ends: "
    said += f"{label(parts[0])} is {values[worst]:.1f} {unit} off"
    if by_turn and in_mm[furthest] > case.settings.warning_share:
        said += f", {label(case.found.parts[furthest])} {off_mm[furthest]:.0f} mm"
    surely_deg, surely_mm = seam.beyond(SURE)
    surely = max(float((surely_deg / limit_deg).max()), float((surely_mm / limit_mm).max()))
    yield _finding(
        case,
        seam,
        furthest if by_turn else worst,
        message=said + _blended(case),
        parts=parts,
        measured=float(values[worst]),
        limit=limit,
        unit=unit,
        detail="pose",
        setting="gap_deg" if by_turn else "gap_mm",
        level=Level.ERROR if surely > 1.0 else Level.WARNING,
        confidence=0.9 if surely > 1.5 else 0.7 if surely > 1.0 else 0.5,
    )


def _velocity(case: _Case, seam: Seam) -> Iterator[Said]:
    limit = case.limits[2]
    worst = int(np.argmax(seam.jump_mm_per_s))
    value = float(seam.jump_mm_per_s[worst])
    if value <= case.settings.warning_share * limit:
        return
    parts = _parts(case, _responsible(seam.jump_mm_per_s, case.settings.responsible_share))
    yield _finding(
        case,
        seam,
        worst,
        message=f"{case.before.label} goes over into {case.after.label} with a jerk: "
        f"{label(parts[0])} changes speed by {value:.0f} mm/s more than anywhere in the two clips"
        + _blended(case),
        parts=parts,
        measured=value,
        limit=limit,
        unit="mm/s",
        detail="velocity",
        setting="jump_mm_per_s",
        level=Level.ERROR if value > limit else Level.WARNING,
        confidence=0.7,
    )


def _blended(case: _Case) -> str:
    blend_s = case.bond.blend_s
    return f" (more than a blend of {blend_s:g} s hides)" if blend_s else ""


def _responsible(values: Floats, share: float) -> list[int]:
    order = np.argsort(-values, kind="stable")
    return [int(row) for row in order if values[row] >= share * values[order[0]]][:4]


def _parts(case: _Case, rows: list[int]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(case.found.parts[row] for row in rows))


def _finding(
    case: _Case,
    seam: Seam,
    row: int,
    *,
    message: str,
    parts: tuple[str, ...],
    measured: float,
    limit: float,
    unit: str,
    detail: str,
    setting: str,
    level: Level,
    confidence: float,
) -> Said:
    at = case.after.motion.positions_m[int(case.found.second[row]), :, 0]
    way = seam.clear[row] / max(float(np.linalg.norm(seam.clear[row])), 1e-9)
    finding = Finding(
        message,
        FrameSpan(0, 0),
        parts,
        measured=measured,
        limit=limit,
        unit=unit,
        worst_frame=0,
        remedy=_remedy(case, seam, parts),
        level=level,
        detail=f"{detail} after {case.before.label}",
        at_m=(float(at[0]), float(at[1]), float(at[2])),
        direction=(float(way[0]), float(way[1]), float(way[2])),
        setting=setting,
        confidence=confidence,
    )
    return Said(1, finding)


def _remedy(case: _Case, seam: Seam, parts: tuple[str, ...]) -> str:
    """Where the seam is least and what it is there; the blend that it asks for."""
    settings = case.settings
    first, second = case.before.motion, case.after.motion
    plain = (settings.gap_deg, settings.gap_mm, settings.jump_mm_per_s)
    window = best_window(first, second, case.found, settings.search_s, plain)
    here = max(float(seam.gap_deg.max()) / plain[0], float(seam.gap_mm.max()) / plain[1])
    here = max(here, float(seam.jump_mm_per_s.max()) / plain[2])
    if window.share < 0.8 * here and (window.end, window.start) != (first.frames - 1, 0):
        end, start = frame_named(first, window.end), frame_named(second, window.start)
        left = f"the seam falls to {window.worst_deg:.1f} deg and {window.worst_mm:.0f} mm"
        said = f"End {case.before.label} at frame {end} and start this at {start}: {left}"
        return f"{said}{_to_blend(case, window.worst_deg, window.worst_mm)}."
    return (
        f"Blend {listed(parts)} over the first frames out of the pose that {case.before.label} "
        f"ends in{_to_blend(case, float(seam.gap_deg.max()), float(seam.gap_mm.max()))}."
    )


def _to_blend(case: _Case, worst_deg: float, worst_mm: float) -> str:
    """How long a blend must be to pass the limits."""
    settings = case.settings
    needs = 0.0
    for gap, limit, rate in (
        (worst_deg, settings.gap_deg, settings.blend_deg_per_s),
        (worst_mm, settings.gap_mm, settings.blend_mm_per_s),
    ):
        if gap > settings.warning_share * limit and rate > 0:
            needs = max(needs, (gap - settings.warning_share * limit) / rate)
    if needs <= 0.0:
        return ""
    frames = max(round(needs * case.after.motion.sample_rate_hz + 0.5), 1)
    seconds = frames / case.after.motion.sample_rate_hz
    return f"; blend over {seconds:.2f} s ({frames} frames)"
