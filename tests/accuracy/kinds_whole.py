"""Defects of whole clips: limbs, drift, waiting, weights, phases, skeletons, stored numbers."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from accuracy.bvh_out import write_bvh
from accuracy.clips import Subject
from accuracy.kinds import Kind, Maker
from accuracy.rig import Array, Rig
from accuracy.seed import Seed
from accuracy.seed_files import flipped, rotation_columns, rows_of, unwrapped, wrapped, written
from accuracy.seed_stall import read_at
from kinelint.anatomy.figure import Figure
from kinelint.assemble import figure_of
from kinelint.clip import Clip
from kinelint.cue import Cue
from kinelint.finding import Level
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint_rules.continuity.drift import DriftSettings
from kinelint_rules.face.face_range import FaceRangeSettings
from kinelint_rules.files.skeleton_match import SkeletonMatchSettings
from kinelint_rules.limbs.asymmetry import AsymmetrySettings
from kinelint_rules.timing.untrimmed import UntrimmedSettings

Chance = np.random.Generator
WARNING, ERROR = Level.WARNING, Level.ERROR
# Proximal to distal part: the limb's length lies between their joints.
LIMBS = (("upper_arm", "forearm"), ("forearm", "hand"), ("thigh", "shank"), ("shank", "foot"))
# An action of 0.3 to 0.6 s; more than a fifth beyond is an error.
WINDOW_MS = (300.0, 600.0)


def whole() -> tuple[Kind, ...]:
    """What goes wrong with clips as wholes."""
    drift, limb, still = DriftSettings(), AsymmetrySettings(), UntrimmedSettings()
    place = {WARNING: drift.in_place_mm, ERROR: drift.in_place_error_mm}
    back = {WARNING: drift.return_mm, ERROR: drift.return_error_mm}
    turn = {WARNING: drift.return_deg, ERROR: drift.return_error_deg}
    late = {ERROR: 0.2 * WINDOW_MS[1]}
    windows = {"windows_ms": {"action": WINDOW_MS}}
    stored = {"angles_interpolated": True}
    return (
        Kind("unequal-limbs", "asymmetry", {WARNING: limb.limit_percent}, unequal),
        Kind("very-unequal-limbs", "asymmetry", {ERROR: limb.error_percent}, unequal),
        Kind("waits-at-head", "untrimmed", {WARNING: still.still_s}, waits, each_rate=True),
        Kind("creeps-in-place", "drift", place, drifts("in place"), each_rate=True),
        Kind("ends-off-its-mark", "drift", back, drifts("place"), each_rate=True),
        Kind("ends-turned", "drift", turn, drifts("heading"), each_rate=True),
        Kind("weight-too-high", "face-range", {ERROR: FaceRangeSettings().error_ratio}, face,
             each_rate=True),
        Kind("phase-too-long", "phase-timing", late, phase, each_rate=True, settings=windows),
        Kind("joint-set-off", "skeleton-match", {ERROR: SkeletonMatchSettings().error_mm}, rest),
        Kind("wrap", "wrap-flip", {ERROR: 90.0}, stored_long(wrapped_once), each_rate=True,
             settings=stored, ladder=False),
        Kind("other-reading", "wrap-flip", {ERROR: 90.0}, stored_long(other_reading),
             each_rate=True, settings=stored, ladder=False),
    )  # fmt: skip


def _lengthened(clip: Clip, figure: Figure, joint: int, share: float) -> Clip:
    skeleton = clip.skeleton
    offsets = skeleton.rest_translations.copy()
    offsets[joint] *= share
    shift = clip.translations.copy()
    shift[clip.translated == joint] *= share
    return replace(clip, skeleton=replace(skeleton, rest_translations=offsets), translations=shift)


def unequal(subject: Subject, side: str, size: float, limit: float, chance: Chance) -> Seed | None:
    """One limb is longer than the other by so many percent of their mean."""
    clip, figure = subject.motion.clip, subject.figure
    part, end = LIMBS[int(chance.integers(len(LIMBS)))]
    other = "right" if side == "left" else "left"
    if clip.is_scaled or not all(
        f"{s}_{p}" in figure.anatomy.joints for s in (side, other) for p in (part, end)
    ):
        return None
    own, twin = (figure.anatomy.joints[f"{s}_{end}"][0] for s in (side, other))
    above = [figure.anatomy.joints[f"{s}_{part}"][0] for s in (side, other)]
    if [int(clip.skeleton.parents[j]) for j in (own, twin)] != above:
        return None
    long, short = (np.linalg.norm(clip.skeleton.rest_translations[j]) for j in (own, twin))
    wanted = short * (2.0 + size / 100.0) / (2.0 - size / 100.0)
    # Below 8 mm the rule holds its tongue; keyed offsets of the joint would say otherwise.
    if (wanted - short) * figure.metres_per_unit < 0.011 or own in clip.translated.tolist():
        return None
    made = _lengthened(clip, figure, own, float(wanted / long))
    parts = (f"{side}_{part}", f"{other}_{part}")
    seeded = Motion(made, figure_of([made]), subject.motion.cue)
    return Seed(
        "unequal limbs", "asymmetry", parts, made, 0.0, clip.duration_s, size, "percent",
        parts, detail=parts[0], seeded=seeded, clean=subject.motion,
    )  # fmt: skip


def waits(subject: Subject, side: str, size: float, limit: float, chance: Chance) -> Seed | None:
    """A pose amid motion is held for so many seconds before the clip goes on from there."""
    clip = subject.motion.clip
    first = _in_motion(Rig.of(clip, subject.figure)) if not clip.is_scaled else None
    if first is None or (clip.frames - first) / clip.sample_rate_hz < 1.0:
        return None
    count = round(size * clip.sample_rate_hz)
    rest = np.arange(first, clip.frames)
    bare = replace(subject.motion, cue=Cue(), _derived={})
    clean = replace(bare, clip=read_at(clip, rest), _derived={})
    made = read_at(clip, np.concatenate((np.full(count, first), rest)))
    return Seed(
        "waits at head", "untrimmed", ("clip",), made, 0.0, (count - 1) / clip.sample_rate_hz,
        size, "s", ("clip",), detail=f"{count} frames", says="head",
        seeded=replace(bare, clip=made, _derived={}), clean=clean,
    )  # fmt: skip


def _in_motion(rig: Rig, m_per_s: float = 0.5, lasts_s: float = 0.3) -> int | None:
    """The first frame from which on hips, hands or feet move for a while."""
    named = ("pelvis", "left_hand", "right_hand", "left_foot", "right_foot")
    paths = [rig.place(part) for part in named if rig.has(part)]
    if not paths:
        return None
    steps = [np.linalg.norm(np.diff(path, axis=0), axis=1) * rig.rate for path in paths]
    quick = np.max(steps, axis=0) > m_per_s
    least = max(round(lasts_s * rig.rate), 1)
    whole = np.convolve(quick, np.ones(least), "valid") >= least
    return int(np.argmax(whole)) if whole.any() else None


def drifts(says: str) -> Maker:
    """The root creeps evenly, or turns, from a course without any creep."""

    def made(subject: Subject, side: str, size: float, limit: float, chance: Chance) -> Seed | None:
        clip, figure = subject.motion.clip, subject.figure
        if clip.is_scaled or clip.duration_s < 2.0:
            return None
        cue = Cue(in_place=True) if says == "in place" else Cue(returns=True)
        angle = float(chance.uniform(0.0, 2.0 * np.pi))
        way = np.array([np.cos(angle), 0.0, np.sin(angle)]) * size / 1000.0
        sign = 1.0 if side == "left" else -1.0
        pair = []
        for share in (1.0, 0.0):
            rig = Rig.of(clip, figure)
            _turned_by(
                rig, _even(_heading(rig), False) + sign * share * size * _ramp(rig)
            ) if says == "heading" else None
            _levelled(rig, share * way if says != "heading" else 0.0 * way, says == "in place")
            pair.append(Motion(rig.made(), figure, cue))
        return Seed(
            says, "drift", ("pelvis",), pair[0].clip, 0.0, clip.duration_s, size,
            "deg" if says == "heading" else "mm", ("pelvis",), cue, detail=says, says=says,
            seeded=pair[0], clean=pair[1],
        )  # fmt: skip

    return made


def _ramp(rig: Rig) -> Array:
    """0 over the first half second, 1 over the last, even between."""
    end = rig.times[-1]
    return np.clip((rig.times - 0.5) / (end - 1.0), 0.0, 1.0)


def _even(values: Array, slope: bool) -> Array:
    """``(frames,)`` what takes the change out: of the line through all, or of the two ends."""
    frames = len(values)
    share = np.linspace(0.0, 1.0, frames)
    if slope:
        return -np.polyfit(share, values, 1)[0] * share
    count = max(frames // 20, 1)
    return -(np.median(values[-count:]) - np.median(values[:count])) * share


def _levelled(rig: Rig, way: Array, slope: bool) -> None:
    place = rig.place("pelvis")
    by = np.zeros_like(place)
    for axis in (0, 2):
        by[:, axis] = _even(place[:, axis], slope)
    ramp = np.linspace(0.0, 1.0, len(place)) if slope else _ramp(rig)
    rig.move_root(by + ramp[:, None] * way)


def _heading(rig: Rig) -> Array:
    """Degrees about the vertical that the pelvis has turned since its first frame."""
    turns = rig.turns[rig.joint("pelvis")]
    _, y, _, w = (turns * turns[0].inv()).as_quat().T
    return np.degrees(2.0 * np.unwrap(np.arctan2(y, w), period=np.pi))


def _turned_by(rig: Rig, degrees: Array) -> None:
    turn = Rotation.from_euler("Y", degrees[:, None], degrees=True)
    joint = rig.joint("pelvis")
    rig.turn_to({joint: turn * rig.turns[joint]})


def face(subject: Subject, side: str, size: float, limit: float, chance: Chance) -> Seed | None:
    """A channel of a face beside the motion that goes beyond 1 for a while."""
    clip = subject.motion.clip
    if clip.duration_s < 2.0:
        return None
    time = np.arange(clip.frames) / clip.sample_rate_hz
    clean = 0.4 + 0.35 * np.sin(2.0 * np.pi * 0.7 * time)
    lasts = float(chance.uniform(0.2, 0.5))
    first = float(chance.uniform(0.3, clip.duration_s - lasts - 0.3))
    on = (time >= first) & (time <= first + lasts)
    rows = [np.where(on, 1.0 + size, clean), clean]
    both = [
        replace(clip, weight_names=("jaw open",), weights=row[None], long_turns=None)
        for row in rows
    ]
    frames = np.flatnonzero(on) / clip.sample_rate_hz
    motions = [replace(subject.motion, clip=one, _derived={}) for one in both]
    return Seed(
        "weight too high", "face-range", ("head",), both[0], float(frames[0]), float(frames[-1]),
        1.0 + size, "ratio", ("head",), says="range", seeded=motions[0], clean=motions[1],
    )  # fmt: skip


def phase(subject: Subject, side: str, size: float, limit: float, chance: Chance) -> Seed | None:
    """An action that the cue sheet says takes so many ms more than its window."""
    motion = subject.motion
    took = WINDOW_MS[1] + size
    room = motion.clip.duration_s - took / 1000.0
    if room <= 0.0:
        return None
    first = float(chance.uniform(0.0, room))
    from_s = first + motion.clip.frame_offset / motion.clip.sample_rate_hz
    told = [
        replace(motion, cue=Cue(phases=(("action", from_s, from_s + ms / 1000.0),)), _derived={})
        for ms in (took, WINDOW_MS[1] - 50.0)
    ]
    return Seed(
        "phase too long", "phase-timing", ("clip",), motion.clip, first, first + took / 1000.0,
        took, "ms", ("clip",), says="action", seeded=told[0], clean=told[1],
    )  # fmt: skip


def rest(subject: Subject, side: str, size: float, limit: float, chance: Chance) -> Seed | None:
    """The clip's skeleton is the reference but for one joint, which rests elsewhere."""
    clip, figure = subject.motion.clip, subject.figure
    part = f"{side}_{LIMBS[int(chance.integers(len(LIMBS)))][1]}"
    if clip.is_scaled or part not in figure.anatomy.joints:
        return None
    known = replace(
        figure, reference=clip.skeleton, reference_metres_per_unit=figure.metres_per_unit
    )
    joint, way = figure.anatomy.joints[part][0], chance.normal(size=3)
    offsets = clip.skeleton.rest_translations.copy()
    offsets[joint] += way / np.linalg.norm(way) * size / 1000.0 / figure.metres_per_unit
    made = replace(clip, skeleton=replace(clip.skeleton, rest_translations=offsets))
    return Seed(
        "joint set off", "skeleton-match", (part,), made, 0.0, clip.duration_s, size, "mm",
        (part,), seeded=Motion(made, known), clean=Motion(clip, known),
    )  # fmt: skip


def wrapped_once(rows: Array, three: list[int], frame: int, chance: Chance) -> Array:
    return wrapped(rows, three[int(chance.integers(3))], frame, int(chance.choice((-1, 1))))


def other_reading(rows: Array, three: list[int], frame: int, chance: Chance) -> Array:
    return flipped(rows, three, frame)


def stored_long(make: object) -> Maker:
    """The same poses, written the long way round from one frame on in one joint."""

    def made(subject: Subject, side: str, size: float, limit: float, chance: Chance) -> Seed | None:
        clip = subject.motion.clip
        if clip.is_scaled or clip.frames < 12 or any(not name for name in clip.skeleton.names):
            return None
        with tempfile.TemporaryDirectory() as where:
            path = Path(where) / "seeded.bvh"
            write_bvh(path, clip)
            head, rows = rows_of(path.read_text(encoding="utf-8"))
            columns = rotation_columns(head)
            rows = unwrapped(rows, columns)
            three = columns[int(chance.integers(len(columns)))]
            frame = int(chance.integers(3, clip.frames - 3))
            told = [rows, make(rows, three, frame, chance)]  # type: ignore[operator]
            clean, seeded = (read(written(path, head, one)).clips[0] for one in told)
        figure = figure_of([clean])
        joint = columns.index(three)
        bones = [i for i in range(len(clean.skeleton)) if not clean.skeleton.tips[i]]
        part = figure.anatomy.part_of.get(bones[joint], "clip")
        when, step_s = frame / clip.sample_rate_hz, 1.0 / clip.sample_rate_hz
        return Seed(
            "stored the long way", "wrap-flip", (part,), seeded, when - step_s, when, size, "",
            (part,), detail=f"{part}, frame {frame}",
            seeded=Motion(seeded, figure), clean=Motion(clean, figure),
        )  # fmt: skip

    return made
