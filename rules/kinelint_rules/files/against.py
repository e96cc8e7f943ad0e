"""A clip's skeleton against the project's: one finding for each way in which they differ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from kinelint.clip import Skeleton
from kinelint.finding import Finding, FrameSpan, Level
from kinelint.globs import any_asset
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.motion import Motion
from kinelint_rules.files.pairing import Pairs, bare, paired

if TYPE_CHECKING:
    from kinelint_rules.files.skeleton_match import SkeletonMatchSettings

# Where nobody says in what unit the reference is.
_UNITS_M = (1.0, 0.1, 0.01, 0.001, 0.0254, 0.3048)
_LEAST_BONE_M = 0.005
_LEAST_BONES = 3
_NAMED = 4
# With fewer of the reference's joints than this it is another skeleton: to list each is no help.
# A body without its fingers has two fifths of them.
_ALIKE_SHARE = 0.3


def named(motion: Motion, joint: int, words: Sequence[str]) -> bool:
    """Whether a joint of the clip is among parts, joint names or patterns of them."""
    part = motion.figure.anatomy.part_of.get(joint, "")
    name = bare(motion.clip.skeleton.names[joint])
    return part in words or any_asset(words, name)


def parts_of(motion: Motion, joints: Sequence[int]) -> tuple[str, ...]:
    """The parts that joints stand for; the clip where they stand for none."""
    part_of = motion.figure.anatomy.part_of
    found = dict.fromkeys(part_of[one] for one in joints if one in part_of)
    return tuple(found) or ("clip",)


def few(skeleton: Skeleton, joints: Sequence[int]) -> str:
    """Names for people."""
    names = [bare(skeleton.names[one]) or f"joint {one}" for one in joints]
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more


def whole(motion: Motion) -> FrameSpan:
    """All frames."""
    return FrameSpan(0, motion.frames - 1)


@dataclass(frozen=True, eq=False)
class _Both:
    """Two skeletons with their pairs, lengths in metres.

    `times` is how many times as large the clip's whole skeleton is; 1 within the tolerance.
    """

    motion: Motion
    clip: Skeleton
    reference: Skeleton
    clip_m: Floats
    reference_m: Floats
    times: float
    pairs: Pairs

    @property
    def alike_share(self) -> float:
        """Of the reference's joints, ends of chains left out, those that the clip has."""
        wanted = int(np.sum(~self.reference.tips))
        return 1.0 - len(self.pairs.missing) / wanted if wanted else 1.0

    @property
    def columns(self) -> tuple[Ints, Ints]:
        """Paired joints below roots: of the clip, of the reference."""
        every = {**self.pairs.same, **self.pairs.renamed}
        inner = [(a, b) for a, b in sorted(every.items()) if self.clip.parents[a] >= 0]
        table = np.array(inner, dtype=np.intp).reshape(-1, 2)
        return table[:, 0], table[:, 1]


def compared(
    motion: Motion, reference: Skeleton, settings: SkeletonMatchSettings
) -> Iterator[Finding]:
    """Every way in which the clip's skeleton differs from the reference."""
    both = _both(motion, reference, settings)
    if both.alike_share < _ALIKE_SHARE:
        yield _other_skeleton(both)
        return
    yield from _size(both, settings)
    yield from _missing(both, settings)
    yield from _extra(both, settings)
    yield from _renamed(both)
    yield from _hung(both)
    yield from _offsets(both, settings)
    yield from _turned(both, settings)


def _both(motion: Motion, reference: Skeleton, settings: SkeletonMatchSettings) -> _Both:
    clip = motion.clip.skeleton
    clip_m = clip.rest_translations * motion.figure.metres_per_unit
    known = motion.figure.reference_metres_per_unit
    first = paired(clip, reference, clip_m, reference.rest_translations * (known or 1.0))
    ratio = _ratio(clip, clip_m, reference, reference.rest_translations, first)
    unit = known or min(_UNITS_M, key=lambda one: abs(np.log(ratio / one)))
    times = ratio / unit
    if abs(times - 1.0) <= settings.size_percent / 100.0:
        times = 1.0
    reference_m = reference.rest_translations * unit
    pairs = paired(clip, reference, clip_m / times, reference_m)
    return _Both(motion, clip, reference, clip_m, reference_m, times, pairs)


def _ratio(
    clip: Skeleton, clip_m: Floats, reference: Skeleton, stored: Floats, pairs: Pairs
) -> float:
    """How many metres of the clip stand for one unit of the reference: the median bone."""
    inner = [(a, b) for a, b in pairs.same.items() if clip.parents[a] >= 0]
    table = np.array(inner, dtype=np.intp).reshape(-1, 2)
    mine = np.linalg.norm(clip_m[table[:, 0]], axis=1)
    theirs = np.linalg.norm(stored[table[:, 1]], axis=1)
    size = float(np.abs(stored).max(initial=0.0))
    good = (mine > _LEAST_BONE_M) & (theirs > 0.003 * size)
    if good.sum() >= _LEAST_BONES:
        return float(np.median(mine[good] / theirs[good]))
    mine_m = float(np.abs(clip_m[clip.parents >= 0]).max(initial=0.0))
    inner_size = float(np.abs(stored[reference.parents >= 0]).max(initial=0.0))
    return mine_m / inner_size if mine_m > 0 and inner_size > 0 else 1.0


def _finding(
    both: _Both,
    message: str,
    joints: Sequence[int],
    level: Level,
    remedy: str,
    detail: str,
    **more: Any,
) -> Finding:
    parts = parts_of(both.motion, joints)
    return Finding(
        message, whole(both.motion), parts, level=level, remedy=remedy, detail=detail, **more
    )


def _other_skeleton(both: _Both) -> Finding:
    wanted = int(np.sum(~both.reference.tips))
    found = wanted - len(both.pairs.missing)
    return _finding(
        both,
        f"another skeleton: of the reference's {wanted} joints {found} are there",
        (),
        Level.ERROR,
        "Retarget the clip to the project's skeleton, or name the reference of its own kind.",
        "other",
        measured=100.0 * both.alike_share,
        limit=100.0 * _ALIKE_SHARE,
        unit="percent",
        confidence=0.95,
    )


def _size(both: _Both, settings: SkeletonMatchSettings) -> Iterator[Finding]:
    if both.times == 1.0:
        return
    off = 100.0 * (both.times - 1.0)
    by = f"{abs(off):.1f} percent {'larger' if off > 0 else 'smaller'}"
    if not 0.5 < both.times < 2.0:
        by = f"{both.times:.4g} times as large"
    yield _finding(
        both,
        f"the whole skeleton is {by} than the reference",
        (),
        Level.ERROR,
        f"Scale skeleton and positions by {1.0 / both.times:.4g}, or set the unit of the export.",
        "size",
        measured=abs(off),
        limit=settings.size_percent,
        unit="percent",
        setting="size_percent",
        confidence=0.95,
    )


def _missing(both: _Both, settings: SkeletonMatchSettings) -> Iterator[Finding]:
    names = both.reference.names
    lacks = [
        one for one in both.pairs.missing if not any_asset(settings.may_lack, bare(names[one]))
    ]
    if lacks:
        many = "a joint" if len(lacks) == 1 else f"{len(lacks)} joints"
        said = few(both.reference, lacks)
        yield _finding(
            both,
            f"{many} of the reference missing: {said}",
            (),
            Level.ERROR,
            f"Export with the whole skeleton; add {said}, or allow it by `may_lack`.",
            "missing",
            measured=float(len(lacks)),
            limit=0.0,
            unit="joints",
            setting="may_lack",
            confidence=0.95,
        )


def _extra(both: _Both, settings: SkeletonMatchSettings) -> Iterator[Finding]:
    motion = both.motion
    more = [one for one in both.pairs.extra if not named(motion, one, settings.may_add)]
    if more:
        many = "a joint" if len(more) == 1 else f"{len(more)} joints"
        said = few(both.clip, more)
        yield _finding(
            both,
            f"{many} that the reference does not have: {said}",
            more,
            Level.WARNING,
            f"Leave {said} out of the export, or allow it by `may_add`.",
            "extra",
            measured=float(len(more)),
            limit=0.0,
            unit="joints",
            setting="may_add",
            confidence=0.9,
        )


def _renamed(both: _Both) -> Iterator[Finding]:
    pairs = both.pairs.renamed
    if pairs:
        said = ", ".join(
            f"{bare(both.clip.names[a])} is {bare(both.reference.names[b])} there"
            for a, b in list(pairs.items())[:_NAMED]
        )
        more = f" and {len(pairs) - _NAMED} more" if len(pairs) > _NAMED else ""
        # A root above all others is often called after its file.
        only_roots = all(both.clip.parents[one] < 0 for one in pairs)
        yield _finding(
            both,
            f"joints under other names than the reference's: {said}{more}",
            list(pairs),
            Level.WARNING if only_roots else Level.ERROR,
            "Rename them to the reference's names.",
            "renamed",
            measured=float(len(pairs)),
            limit=0.0,
            unit="joints",
            confidence=0.85,
        )


def _hung(both: _Both) -> Iterator[Finding]:
    """Joints that hang from another parent; whoever hangs from an added joint stays where it is."""
    every = {**both.pairs.same, **both.pairs.renamed}
    off = []
    for mine, theirs in sorted(every.items()):
        above, wanted = int(both.clip.parents[mine]), int(both.reference.parents[theirs])
        while above in both.pairs.extra:
            above = int(both.clip.parents[above])
        while wanted in both.pairs.missing:
            wanted = int(both.reference.parents[wanted])
        if (every.get(above, -1) if above >= 0 else -1) != wanted:
            off.append((mine, above, wanted))
    if off:
        mine, above, wanted = off[0]
        there = bare(both.reference.names[wanted]) if wanted >= 0 else "no joint"
        here = bare(both.clip.names[above]) if above >= 0 else "no joint"
        more = f", and {len(off) - 1} more hang elsewhere" if len(off) > 1 else ""
        yield _finding(
            both,
            f"{bare(both.clip.names[mine])} hangs from {here}, not from {there}{more}",
            [one for one, _, _ in off],
            Level.ERROR,
            f"Hang {bare(both.clip.names[mine])} from {there} and bake its motion anew.",
            "parent",
            measured=float(len(off)),
            limit=0.0,
            unit="joints",
            confidence=0.95,
        )


def _off_mm(both: _Both, settings: SkeletonMatchSettings) -> tuple[Floats, Floats, Bools]:
    """How far each paired joint rests from its place, how far it may, and which are past it."""
    mine, theirs = both.columns
    a, b = both.clip_m[mine] / both.times, both.reference_m[theirs]
    length = np.linalg.norm(b, axis=1)
    off_mm = 1000.0 * np.linalg.norm(a - b, axis=1)
    least_mm = np.maximum(settings.offset_mm, 10.0 * settings.offset_percent * length)
    # A bone that only points elsewhere, with its length kept, is a matter of the joint's axes.
    grown_mm = 1000.0 * np.abs(np.linalg.norm(a, axis=1) - length)
    only_turned = (grown_mm <= least_mm) & (length > _LEAST_BONE_M)
    return off_mm, least_mm, (off_mm > least_mm) & ~only_turned & _unmoved(both)[mine]


def _offsets(both: _Both, settings: SkeletonMatchSettings) -> Iterator[Finding]:
    """Joints that rest at another distance from their parent."""
    mine, theirs = both.columns
    off_mm, least_mm, past = _off_mm(both, settings)
    if not past.any():
        return
    order = np.flatnonzero(past)[np.argsort(-off_mm[past], kind="stable")]
    worst = int(order[0])
    joint, size = int(mine[worst]), float(off_mm[worst])
    more = f", and {len(order) - 1} more joints are off" if len(order) > 1 else ""
    wanted = both.reference_m[theirs[worst]] - both.clip_m[joint] / both.times
    x, y, z = 1000.0 * wanted
    error = size > settings.error_mm
    yield _finding(
        both,
        f"{bare(both.clip.names[joint])} rests {size:.1f} mm from its place in the reference{more}",
        mine[order].tolist(),
        Level.ERROR if error else Level.WARNING,
        f"Move the rest place of {bare(both.clip.names[joint])} by "
        f"({x:+.1f}, {y:+.1f}, {z:+.1f}) mm in its parent's axes.",
        "offset",
        measured=size,
        limit=settings.error_mm if error else float(least_mm[worst]),
        unit="mm",
        setting="error_mm" if error else "offset_mm",
        confidence=0.9,
    )


def _unmoved(both: _Both) -> Bools:
    """Joints whose place the file does not store anew in every frame."""
    out = np.ones(len(both.clip), dtype=np.bool_)
    out[both.motion.clip.translated] = False
    return out


def _turned(both: _Both, settings: SkeletonMatchSettings) -> Iterator[Finding]:
    """Joints whose rest is turned against the reference's, or whose bone points elsewhere."""
    mine, theirs = both.columns
    if not mine.size:
        return
    rest, wanted = (
        one.rest_rotations[which][..., None]
        for one, which in ((both.clip, mine), (both.reference, theirs))
    )
    turn = np.degrees(rotations.angle_between(wanted, rest))[:, 0]
    # Those that stand at another distance were told already.
    bend = np.where(_off_mm(both, settings)[2], 0.0, _bent(both, mine, theirs))
    off = np.maximum(turn, bend)
    past = np.flatnonzero(off > settings.rest_deg)
    if not past.size:
        return
    order = past[np.argsort(-off[past], kind="stable")]
    worst = int(order[0])
    name = bare(both.clip.names[int(mine[worst])])
    how = "is turned" if turn[worst] >= bend[worst] else "stands in another direction"
    more = f", and {len(order) - 1} of {len(mine)} joints more differ" if len(order) > 1 else ""
    all_differ = len(order) > 0.5 * len(mine)
    mend = (
        "Retarget the clip: its joints have other axes or another rest pose."
        if all_differ
        else f"Turn the rest pose of {name} back by {off[worst]:.1f} deg."
    )
    yield _finding(
        both,
        f"at rest {name} {how} by {off[worst]:.1f} deg against the reference{more}",
        mine[order].tolist(),
        Level.WARNING,
        mend,
        "rest",
        measured=float(off[worst]),
        limit=settings.rest_deg,
        unit="deg",
        setting="rest_deg",
        confidence=0.9,
    )


def _bent(both: _Both, mine: Ints, theirs: Ints) -> Floats:
    """``(pairs,)`` angle between the bones that lead to both joints, degrees; 0 for short ones."""
    a, b = both.clip_m[mine] / both.times, both.reference_m[theirs]
    lengths = np.linalg.norm(a, axis=1) * np.linalg.norm(b, axis=1)
    long = lengths > _LEAST_BONE_M**2
    cross = np.linalg.norm(np.cross(a, b), axis=1)
    angle = np.degrees(np.arctan2(cross, np.sum(a * b, axis=1)))
    sideways_mm = 1000.0 * cross / np.maximum(np.linalg.norm(b, axis=1), 1e-9)
    return np.asarray(np.where(long & (sideways_mm > 1.0), angle, 0.0))
