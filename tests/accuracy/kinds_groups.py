"""Pairs of clips with one defect of known size, made by `seed_groups` from one real take."""

from __future__ import annotations

import numpy as np

from accuracy.clips import Subject
from accuracy.kinds import Kind
from accuracy.seed import Seed
from accuracy.seed_groups import PARTS, chain, image, moved, offset, pair, part_of, partners
from kinelint.finding import Level
from kinelint_rules.groups.chain_seam import ChainSeamSettings
from kinelint_rules.groups.contact_sync import ContactSyncSettings
from kinelint_rules.groups.mirror_match import MirrorMatchSettings

Chance = np.random.Generator


def groups() -> tuple[Kind, ...]:
    """What goes wrong between clips."""
    seam, sync, image_ = ChainSeamSettings(), ContactSyncSettings(), MirrorMatchSettings()
    turned = {Level.WARNING: seam.warning_share * seam.gap_deg, Level.ERROR: seam.gap_deg}
    edited = {Level.WARNING: image_.warning_share * image_.gap_deg, Level.ERROR: image_.gap_deg}
    late = {Level.WARNING: sync.warning_share * sync.late_ms, Level.ERROR: sync.late_ms}
    return (
        Kind("set-off-at-the-cut", "chain-seam", turned, set_off, each_rate=True),
        Kind("edited-on-one-side", "mirror-match", edited, one_sided, each_rate=True),
        Kind("late", "contact-sync", late, late_partner, each_rate=True),
    )


def set_off(subject: Subject, side: str, size: float, limit: float, chance: Chance) -> Seed | None:
    """A take cut in two, a part of the second turned all through, the whole of it elsewhere."""
    clip, figure = subject.motion.clip, subject.figure
    part = f"{side}_{chance.choice(PARTS)}"
    if clip.is_scaled or clip.frames < 40 or part not in figure.anatomy.joints:
        return None
    cut = int(chance.integers(12, clip.frames - 12))
    turn, yaw = chance.normal(size=3), float(chance.uniform(-180, 180))
    clean = moved(part_of(clip, cut, clip.frames - 1), figure, yaw, (2.0, 0.0, -1.0))
    second = offset(clean, figure, part, size, turn)
    return Seed(
        "set off at the cut", "chain-seam", (part,), second, 0.0, 0.0, size, "deg", (part,),
        detail=f"{part}, cut at frame {cut}",
        seeded=chain(clip, figure, cut, 0, second), clean=chain(clip, figure, cut, 0, clean),
    )  # fmt: skip


def one_sided(
    subject: Subject, side: str, size: float, limit: float, chance: Chance
) -> Seed | None:
    """A take and its mirror image, a part of the image turned all through."""
    clip, figure = subject.motion.clip, subject.figure
    part = f"{side}_{chance.choice(PARTS)}"
    if clip.is_scaled or clip.frames < 20 or part not in figure.anatomy.joints:
        return None
    take = part_of(clip, 0, min(clip.frames - 1, round(2.0 * clip.sample_rate_hz)))
    other = image(take, figure)
    if other is None:
        return None
    edited = offset(other, figure, part, size, chance.normal(size=3))
    last = (take.frames - 1) / take.sample_rate_hz
    return Seed(
        "edited on one side", "mirror-match", (part,), edited, 0.0, last, size, "deg", (part,),
        detail=part, seeded=pair(take, edited, figure), clean=pair(take, other, figure),
    )  # fmt: skip


def late_partner(
    subject: Subject, side: str, size: float, limit: float, chance: Chance
) -> Seed | None:
    """The second comes to its moment late, or early."""
    motion = subject.motion
    if motion.clip.duration_s < 1.0:
        return None
    early = side == "right"
    room = min(size / 1000.0 + 0.1, 0.45 * motion.clip.duration_s)
    at_s = float(chance.uniform(room, motion.clip.duration_s - room))
    late_s = (-size if early else size) / 1000.0
    if not 0.0 <= at_s + late_s <= motion.clip.duration_s:
        return None
    there = at_s + motion.clip.frame_offset / motion.clip.sample_rate_hz
    put = [partners(motion, motion, there, by, ("", ""), 0.0) for by in (late_s, 0.0)]
    first_s, last_s = sorted((at_s, at_s + late_s))
    return Seed(
        "late", "contact-sync", ("clip",), motion.clip, first_s, last_s, size, "ms", ("clip",),
        detail=f"{1000.0 * late_s:.0f} ms at {at_s:.2f} s", seeded=put[0], clean=put[1],
        says="early" if early else "late",
    )  # fmt: skip
