"""Loops close."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import numpy as np

from kinelint.anatomy.parts import DIGITS, label
from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Unjudged
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion
from kinelint_rules.loops.seam import Seam, jump_mm_per_s, seam, weighed

LEAST_FRAMES = 4
PRACTICE = "common practice, no source"


class LoopSeamSettings(RuleSettings):
    """Settings of `loop-seam`."""

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
        why="Clean loops of games close within 3 degrees at every joint.",
        source=PRACTICE + "; public loops in two free asset packs were measured at 0 to 2.5",
    )
    jump_mm_per_s: float = setting(
        500.0,
        gt=0,
        why="On top of 1.3 times the largest change of velocity that the joint makes elsewhere in "
        "the clip.",
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


class LoopSeam(Rule[LoopSeamSettings]):
    """Loops close.

    For clips that the policy or the cue sheet calls loops. The last frame is laid over the first
    by the turn about the vertical and the shift along the floor that fit best, so that a walk
    that travels or turns is judged as one that does not. What is left is the seam: for each
    joint its turn against its parent, its distance, and how much its velocity changes beyond
    what it does elsewhere in the clip.

    A loop may repeat its first frame at the end or stop one frame short of it: the rule tells
    which from what is left over. In the second case it takes away the step that the frames on
    both sides foretell, and holds what is left against what the joint leaves over elsewhere in
    the clip: feet that land belie any forecast. Between likely and sure it is a warning at most.
    """

    id = "loop-seam"
    source = (
        "Kovar L, Gleicher M, Pighin F (2002), Motion Graphs, ACM TOG 21:473-482 (the alignment); "
        "limits as their settings say"
    )
    level = Level.ERROR
    limits = (("gap_mm",), ("gap_deg",), ("jump_mm_per_s",))
    quantity = "Pose left over from last frame to first (deg, mm), change of velocity (mm/s)."
    on_screen = "The figure twitches, or a limb snaps, each time the clip starts over."
    remedy = "Copy the first pose to the end and blend the joints named into it."

    @staticmethod
    def check(motion: Motion, settings: LoopSeamSettings, /) -> Iterator[Finding | Unjudged]:
        """Yields at most one finding for the pose and one for the velocity."""
        if not motion.cue.loop:
            raise NotApplicable("neither the policy nor the cue sheet calls this clip a loop")
        if motion.frames < LEAST_FRAMES:
            raise NotApplicable(f"a loop of {motion.frames} frames has no seam to speak of")
        joints, weighted = _joints(motion)
        if not joints:
            raise NotApplicable("no part of this skeleton was recognised")
        found = seam(motion, joints, weighted)
        pose = list(_pose(motion, settings, found))
        yield from pose
        # A pose that does not close breaks the velocity as well: say it once.
        if not any(finding.level is Level.ERROR for finding in pose):
            yield from _velocity(motion, settings, found)

    @staticmethod
    def examples() -> Iterable[Example]:
        """Closed loops of both kinds, travelling ones, broken ones."""
        yield Example("not a loop", _swing(61), not_applicable=True)
        yield Example("last frame repeats the first", _swing(61, loop=True))
        yield Example("stops a frame short", _swing(60, loop=True))
        yield Example("travels and turns", _swing(61, loop=True, travels=True))
        yield Example(
            "left arm comes back 8 degrees off",
            _swing(61, loop=True, off_deg=8.0),
            finds=1,
            parts=("left_upper_arm",),
            frames=(60, 60),
            slack_frames=0,
            measured=8.0,
            within=0.05,
            level=Level.ERROR,
        )
        yield Example(
            "the same, travelling and a frame short",
            _swing(60, loop=True, off_deg=8.0, travels=True),
            finds=1,
            parts=("left_upper_arm",),
            measured=8.0,
            within=0.3,
        )
        yield Example(
            "left arm comes back 2 degrees off",
            _swing(61, loop=True, off_deg=2.0),
            finds=1,
            parts=("left_hand", "left_upper_arm"),
            level=Level.WARNING,
        )
        yield Example(
            "closes, but the arm starts with a jerk",
            _swing(61, loop=True, jerk=True),
            finds=1,
            parts=("left_hand", "left_forearm"),
        )


def _joints(motion: Motion) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The joints to measure, and those among them that carry the alignment."""
    anatomy = motion.figure.anatomy
    named = [one for one in anatomy.assignments if motion.has(one.part)]
    large = [one.joint for one in named if not one.part.endswith(DIGITS)]
    return tuple(sorted(one.joint for one in named)), tuple(sorted(large))


def _pose(motion: Motion, settings: LoopSeamSettings, found: Seam) -> Iterator[Finding]:
    gap_deg, gap_mm = found.unusual
    in_deg, in_mm = gap_deg / settings.gap_deg, gap_mm / settings.gap_mm
    share = max(float(in_deg.max()), float(in_mm.max()))
    if share <= settings.warning_share:
        return
    by_turn = float(in_deg.max()) >= settings.warning_share
    values, unit = (gap_deg, "deg") if by_turn else (gap_mm, "mm")
    limit = settings.gap_deg if by_turn else settings.gap_mm
    usual = found.usual_deg if by_turn else found.usual_mm
    rows = _responsible(weighed(values, usual, limit), settings.responsible_share)
    worst, furthest = rows[0], int(np.argmax(gap_mm))
    if in_mm[furthest] > settings.warning_share:
        rows += _behind(motion, found, furthest, rows if by_turn else [])
    parts = _parts(motion, found, rows)
    kind = "repeats the first" if found.repeats_first else "stops a frame short of the first"
    message = f"the loop does not close: {label(parts[0])} is {values[worst]:.1f} {unit} off"
    if by_turn:
        message += f", which puts the {label(_parts(motion, found, [furthest])[0])} "
        message += f"{gap_mm[furthest]:.0f} mm off"
    surely_deg, surely_mm = found.surely_unusual
    surely = max(
        float((surely_deg / settings.gap_deg).max()), float((surely_mm / settings.gap_mm).max())
    )
    yield _finding(
        motion,
        found,
        worst if not by_turn else furthest,
        message=f"{message} (its last frame {kind})",
        parts=parts,
        measured=float(values[worst]),
        limit=limit,
        unit=unit,
        detail="pose",
        remedy=f"Blend {_listed(parts)} over the last frames into the first pose.",
        level=Level.ERROR if surely > 1.0 else Level.WARNING,
        setting="gap_deg" if by_turn else "gap_mm",
        # Whatever is no forecast's doing is there for certain.
        confidence=0.9 if surely > settings.warning_share else 0.6,
    )


def _velocity(motion: Motion, settings: LoopSeamSettings, found: Seam) -> Iterator[Finding]:
    jumps = jump_mm_per_s(motion, found)
    worst = int(np.argmax(jumps))
    value = float(jumps[worst])
    if value <= settings.warning_share * settings.jump_mm_per_s:
        return
    parts = _parts(motion, found, _responsible(jumps, settings.responsible_share))
    yield _finding(
        motion,
        found,
        worst,
        message=f"the loop jerks: {label(parts[0])} changes speed by {value:.0f} mm/s more at the "
        "seam than anywhere else in the clip",
        parts=parts,
        measured=value,
        limit=settings.jump_mm_per_s,
        unit="mm/s",
        detail="velocity",
        remedy=f"Match the tangents of {_listed(parts)} at the last and the first key.",
        level=Level.ERROR if value > settings.jump_mm_per_s else Level.WARNING,
        setting="jump_mm_per_s",
        confidence=0.7,
    )


def _responsible(values: Floats, share: float) -> list[int]:
    order = np.argsort(-values, kind="stable")
    return [int(row) for row in order if values[row] >= share * values[order[0]]][:4]


def _behind(motion: Motion, found: Seam, furthest: int, named: list[int]) -> list[int]:
    """What else to name: the joint furthest off, unless one named carries it, and what turns it."""
    row_of = {int(joint): row for row, joint in enumerate(found.joints)}
    above, joint = [furthest], int(motion.clip.skeleton.parents[found.joints[furthest]])
    while joint >= 0:
        if joint in row_of:
            above.append(row_of[joint])
        joint = int(motion.clip.skeleton.parents[joint])
    if set(above) & set(named):
        return []
    return [furthest, max(above, key=lambda row: float(found.gap_deg[row]))]


def _parts(motion: Motion, found: Seam, rows: list[int]) -> tuple[str, ...]:
    part_of = motion.figure.anatomy.part_of
    return tuple(dict.fromkeys(part_of[int(found.joints[row])] for row in rows))


def _listed(parts: tuple[str, ...]) -> str:
    return ", ".join(f"the {label(part)}" for part in parts)


def _finding(
    motion: Motion,
    found: Seam,
    row: int,
    *,
    message: str,
    parts: tuple[str, ...],
    measured: float,
    limit: float,
    unit: str,
    detail: str,
    remedy: str,
    level: Level,
    setting: str,
    confidence: float,
) -> Finding:
    last = motion.frames - 1
    at = motion.positions_m[int(found.joints[row]), :, last]
    way = found.clear[row] / max(float(np.linalg.norm(found.clear[row])), 1e-9)
    return Finding(
        message,
        FrameSpan(last, last),
        parts,
        measured=measured,
        limit=limit,
        unit=unit,
        worst_frame=last,
        remedy=remedy,
        level=level,
        detail=detail,
        at_m=(float(at[0]), float(at[1]), float(at[2])),
        direction=(float(way[0]), float(way[1]), float(way[2])),
        setting=setting,
        confidence=confidence,
    )


def _swing(
    frames: int,
    *,
    loop: bool | None = None,
    off_deg: float = 0.0,
    travels: bool = False,
    jerk: bool = False,
) -> Motion:
    """Arms and legs swing once in 60 frames at 60 Hz."""
    place = np.arange(frames) / 60.0
    wave = np.sin(2.0 * np.pi * place)
    off = off_deg * np.clip(place * 1.25 - 0.25, 0.0, 1.0)
    arm = 30.0 * (np.abs(np.sin(np.pi * place)) if jerk else wave) + off
    yaw = 50.0 * place if travels else 0.0 * place
    turned = np.radians(yaw)
    radius_m = 1.2 / np.radians(50.0) if travels else 0.0
    path = radius_m * np.stack((1.0 - np.cos(turned), 0.0 * place, np.sin(turned)))
    return motion(
        frames=frames,
        cue=Cue(loop=loop),
        turns={
            "pelvis": [("Y", yaw)],
            "left_upper_arm": [("X", arm)],
            "right_upper_arm": [("X", -30.0 * wave)],
            "left_thigh": [("X", -20.0 * wave)],
            "right_thigh": [("X", 20.0 * wave)],
        },
        shifts_m={"pelvis": path},
    )
