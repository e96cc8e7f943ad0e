"""What a clip keys and may not: scales, positions below the root, joints that are to rest."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from kinelint.finding import Finding, Level
from kinelint.kinematics import rotations
from kinelint.motion import Motion
from kinelint_rules.files.against import few, named, parts_of, whole

if TYPE_CHECKING:
    from kinelint_rules.files.skeleton_match import SkeletonMatchSettings

_MOVES_MM = 0.1
_TURNS_DEG = 0.1


def keyed(motion: Motion, settings: SkeletonMatchSettings) -> Iterator[Finding]:
    """Findings that need no reference."""
    yield from _not_unit(motion)
    yield from _scaled(motion, settings)
    if settings.only_roots_move:
        yield from _moved(motion, settings)
    if settings.must_rest:
        yield from _restless(motion, settings)


def _not_unit(motion: Motion) -> Iterator[Finding]:
    """What the reader had to make unit; it tells by a note."""
    for note in motion.clip.notes:
        if note.topic == "rotations" and "length 1" in note.text:
            yield Finding(
                note.text,
                whole(motion),
                ("clip",),
                level=Level.WARNING,
                remedy="Export rotations as unit quaternions; a game that trusts them shears.",
                detail="unit",
                confidence=0.9,
            )


def _scaled(motion: Motion, settings: SkeletonMatchSettings) -> Iterator[Finding]:
    clip = motion.clip
    if not len(clip.scaled):
        return
    rest = clip.skeleton.rest_scales[clip.scaled]
    safe = np.where(np.abs(rest) > 1e-9, rest, 1.0)
    off = 100.0 * np.abs(clip.scales / safe[..., None] - 1.0).max(axis=1)
    rows = [
        row
        for row in np.flatnonzero(off.max(axis=1) > settings.scale_percent).tolist()
        if not named(motion, int(clip.scaled[row]), settings.may_scale)
    ]
    if not rows:
        return
    worst = max(rows, key=lambda row: float(off[row].max()))
    joints = [int(clip.scaled[row]) for row in rows]
    by = float(off[worst].max())
    yield Finding(
        f"keys of scale on {few(clip.skeleton, joints)}, by up to {by:.0f} percent",
        whole(motion),
        parts_of(motion, joints),
        measured=by,
        limit=settings.scale_percent,
        unit="percent",
        worst_frame=int(np.argmax(off[worst])),
        level=Level.NOTE if motion.figure.reference is None else Level.WARNING,
        remedy="Delete the keys of scale, or allow them by `may_scale`.",
        detail="scale",
        setting="scale_percent",
        confidence=0.9,
    )


def _moved(motion: Motion, settings: SkeletonMatchSettings) -> Iterator[Finding]:
    """Keys of position on other joints than roots and the pelvis."""
    clip = motion.clip
    part_of = motion.figure.anatomy.part_of
    below = (clip.skeleton.parents[clip.translated] >= 0) & np.array(
        [part_of.get(joint) != "pelvis" for joint in clip.translated.tolist()], dtype=np.bool_
    )
    rest = clip.skeleton.rest_translations[clip.translated][..., None]
    unit_mm = 1000.0 * motion.figure.metres_per_unit
    off_mm = unit_mm * np.linalg.norm(clip.translations - rest, axis=1)
    rows = [
        row
        for row in np.flatnonzero(below & (off_mm.max(axis=1, initial=0.0) > _MOVES_MM)).tolist()
        if not named(motion, int(clip.translated[row]), settings.may_move)
    ]
    if not rows:
        return
    worst = max(rows, key=lambda row: float(off_mm[row].max()))
    joints = [int(clip.translated[row]) for row in rows]
    by = float(off_mm[worst].max())
    yield Finding(
        f"keys of position on {few(clip.skeleton, joints)}, by up to {by:.0f} mm",
        whole(motion),
        parts_of(motion, joints),
        measured=by,
        limit=_MOVES_MM,
        unit="mm",
        worst_frame=int(np.argmax(off_mm[worst])),
        level=Level.WARNING,
        remedy="Delete the keys of position, or allow them by `may_move`.",
        detail="position",
        setting="only_roots_move",
        confidence=0.95,
    )


def _restless(motion: Motion, settings: SkeletonMatchSettings) -> Iterator[Finding]:
    clip = motion.clip
    joints = np.array(
        [one for one in range(len(clip.skeleton)) if named(motion, one, settings.must_rest)],
        dtype=np.intp,
    )
    if not joints.size:
        return
    rest = clip.skeleton.rest_rotations[joints][..., None]
    off = np.degrees(rotations.angle_between(rest, clip.rotations[joints]))
    past = np.flatnonzero(off.max(axis=1) > _TURNS_DEG)
    if not past.size:
        return
    worst = int(past[np.argmax(off[past].max(axis=1))])
    by = float(off[worst].max())
    moved = joints[past].tolist()
    yield Finding(
        f"{few(clip.skeleton, moved)} must rest, and turns by up to {by:.1f} deg",
        whole(motion),
        parts_of(motion, moved),
        measured=by,
        limit=_TURNS_DEG,
        unit="deg",
        worst_frame=int(np.argmax(off[worst])),
        level=Level.WARNING,
        remedy=f"Delete the keys of {few(clip.skeleton, moved)}.",
        detail="rest keys",
        setting="must_rest",
        confidence=0.95,
    )
