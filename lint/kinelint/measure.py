"""Everything that can be measured of one clip, as tables; nothing is judged."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from kinelint.anatomy.body import body_overlaps
from kinelint.anatomy.contacts import contacts
from kinelint.anatomy.ground import depth_under, ground
from kinelint.anatomy.joint_angles_of import angles_of
from kinelint.anatomy.parts import PARTS, label
from kinelint.anatomy.plants import plants
from kinelint.anatomy.sole import soles
from kinelint.anatomy.travel import travel
from kinelint.errors import KinelintError
from kinelint.kinematics import rates, rotations
from kinelint.kinematics.alignment import align
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.slides import extent
from kinelint.motion import Motion

Cell: TypeAlias = str | float

CAUTION = "joint angles screen animation: no medical measurement, and no safe range for a performer"
NO_PARTS = "no part of this skeleton was recognised"
# Speeds of planted feet, and velocities on both sides of a seam, are taken over this long.
_SLIDE_WINDOW_S = 0.1
_SEAM_WINDOW_S = 1.0 / 30.0


@dataclass(frozen=True)
class Table:
    """Rows under a header; the first cell of a row is its name. `said` stands below them."""

    title: str
    header: tuple[str, ...] = ()
    rows: tuple[tuple[Cell, ...], ...] = ()
    said: tuple[str, ...] = ()


def tables(motion: Motion) -> Iterator[Table]:
    """All tables of a motion. What cannot be measured says why."""
    made: tuple[tuple[str, Callable[[Motion], Table]], ...] = (
        ("Clip", _clip),
        ("Body", _body),
        ("Segment lengths", _lengths),
        ("Heights and speeds", _heights),
        ("Joint angles", _angles),
        ("Contacts of the feet", _contacts),
        ("Planted feet", _plants),
        ("Soles over the ground", _soles),
        ("Overlaps of the body", _overlaps),
        ("Last frame against first", _seam),
    )
    for title, function in made:
        try:
            yield function(motion)
        except KinelintError as reason:
            yield Table(title, said=(f"cannot be told: {reason}",))


def _clip(motion: Motion) -> Table:
    clip = motion.clip
    below = int(np.sum(clip.skeleton.parents[clip.translated] >= 0))
    rows: list[tuple[Cell, ...]] = [
        ("name", clip.name),
        ("frames", str(clip.frames)),
        ("rate", f"{clip.sample_rate_hz:.6g} Hz"),
        ("duration", f"{clip.duration_s:.3f} s"),
        ("starts at", f"{clip.start_s:.3f} s of the file"),
        ("joints", str(int(np.sum(~clip.skeleton.tips)))),
        ("moved joints", f"{below} besides roots"),
        ("scaled joints", str(len(clip.scaled))),
    ]
    if clip.key_times_s.size:
        rows.append(("stored keys", f"{clip.key_times_s.size} times"))
    if clip.weight_names:
        rows.append(("morph weights", str(len(clip.weight_names))))
    return Table("Clip", (), tuple(rows), tuple(note.text for note in clip.notes))


def _body(motion: Motion) -> Table:
    figure = motion.figure
    anatomy = figure.anatomy
    up = rotations.unrotate(figure.to_y_up, np.array([[0.0], [1.0], [0.0]]))[:, 0]
    axis = int(np.argmax(np.abs(up)))
    rows: list[tuple[Cell, ...]] = [
        ("skeleton", motion.clip.skeleton.signature),
        ("unit", f"{figure.metres_per_unit:.6g} m"),
        ("up axis", ("-" if up[axis] < 0 else "") + "xyz"[axis]),
        ("stature", _metres(figure.stature_m)),
        ("leg, hip to ankle", _metres(figure.leg_m)),
        ("parts found", f"{len(anatomy.joints)} of {len(PARTS)}"),
        ("least sure part", f"{anatomy.confidence:.2f}"),
        ("anatomical zero", "known" if figure.zero is not None else "unknown"),
    ]
    said = dict.fromkeys((*(note.text for note in figure.notes), *anatomy.notes))
    return Table("Body", (), tuple(rows), tuple(said))


def _metres(value: float) -> str:
    return f"{value:.3f} m" if np.isfinite(value) else "cannot be told"


def _lengths(motion: Motion) -> Table:
    rows = []
    for part, joints in motion.figure.anatomy.joints.items():
        above = _part_above(motion, joints[0])
        if above is not None:
            name, joint = above
            apart = motion.positions_m[joints[0]] - motion.positions_m[joint]
            length = np.linalg.norm(apart, axis=0) * 1000
            rows.append((f"{label(name)} to {label(part)}", *_spread(length)))
    said = () if rows else (NO_PARTS,)
    return Table("Segment lengths", ("mm", "mean", "least", "most"), tuple(rows), said)


def _part_above(motion: Motion, joint: int) -> tuple[str, int] | None:
    """The nearest joint above that is another part."""
    parents = motion.clip.skeleton.parents
    part_of = motion.figure.anatomy.part_of
    above = int(parents[joint])
    while above >= 0 and part_of.get(above) in (None, part_of[joint]):
        above = int(parents[above])
    return None if above < 0 else (part_of[above], above)


def _heights(motion: Motion) -> Table:
    rows: list[tuple[Cell, ...]] = []
    for part in motion.figure.anatomy.joints:
        moving = motion.part(part) if motion.has(part) else None
        if moving is not None:
            height = moving.position_m[1]
            fastest = float(np.max(moving.speed_m_per_s, initial=0.0))
            turning = float(np.max(moving.turn_rate_deg_per_s, initial=0.0))
            rows.append((label(part), *_spread(height)[1:], fastest, turning))
    header = ("", "lowest m", "highest m", "most m/s", "most deg/s")
    return Table("Heights and speeds", header, tuple(rows), () if rows else (NO_PARTS,))


def _angles(motion: Motion) -> Table:
    told = motion.derive(angles_of)
    rows = tuple((one.name, *_spread(one.degrees)) for one in told.angles)
    said = tuple(f"{one.joint}: {one.reason}" for one in told.untold)
    header = ("deg, from anatomical zero", "mean", "least", "most")
    return Table("Joint angles", header, rows, (*said, CAUTION) if rows else (*said, NO_PARTS))


def _contacts(motion: Motion) -> Table:
    floor = motion.derive(ground)
    rate, offset = motion.sample_rate_hz, motion.clip.frame_offset
    rows = tuple(
        (
            f"{one.side} {one.point}",
            f"f{one.first + offset}–{one.last + offset}",
            (one.first + offset) / rate,
            (one.last - one.first) / rate,
        )
        for one in motion.derive(contacts)
    )
    going = motion.derive(travel)
    said = [floor.note.text]
    if going.speed_m_per_s:
        x, z = going.velocity_m_per_s
        said.append(f"taken to travel at ({x:.2f}, {z:.2f}) m/s in x and z ({going.basis})")
    return Table("Contacts of the feet", ("", "frames", "from s", "for s"), rows, tuple(said))


def _plants(motion: Motion) -> Table:
    """How far the bearing point of each plant strays over its support, and how fast."""
    rate, offset = motion.sample_rate_hz, motion.clip.frame_offset
    rows = []
    for one in motion.derive(plants):
        speed = np.hypot(*rates.windowed_velocity(one.path_m, rate, _SLIDE_WINDOW_S))
        frames = f"f{one.first + offset}–{one.last + offset}"
        strayed_mm = 1000.0 * float(extent(one.path_m))
        rows.append((f"{one.side} foot", frames, strayed_mm, float(speed.max())))
    said = () if rows else ("no foot bears for long enough",)
    return Table("Planted feet", ("", "frames", "strays mm", "most m/s"), tuple(rows), said)


def _soles(motion: Motion) -> Table:
    """Heights of the soles' points over the floor or the surface under them."""
    floor, offset = motion.derive(ground).floor, motion.clip.frame_offset
    rows = []
    for side, sole in motion.derive(soles).items():
        for point, path in sole.points.items():
            height_mm = -1000.0 * depth_under(motion, floor, path)
            low, high = int(np.argmin(height_mm)), int(np.argmax(height_mm))
            least, most = float(height_mm[low]), float(height_mm[high])
            rows.append((f"{side} {point}", least, f"f{low + offset}", most, f"f{high + offset}"))
    header = ("", "lowest mm", "at", "highest mm", "at")
    return Table("Soles over the ground", header, tuple(rows))


def _overlaps(motion: Motion) -> Table:
    body, found = motion.figure.body, motion.derive(body_overlaps)
    if body is None or found is None:
        return Table("Overlaps of the body", said=(body.missing if body else "no volume",))
    deepest: dict[tuple[str, str], tuple[float, int]] = {}
    for pair in np.unique(found.pair).tolist():
        of = found.pair == pair
        worst = int(np.flatnonzero(of)[np.argmax(found.depth_m[of])])
        depth = (float(found.depth_m[worst]), int(found.frame[worst]))
        parts = body.pair_parts(pair)
        deepest[parts] = max(deepest.get(parts, depth), depth)
    rows = tuple(
        (f"{label(a)} in {label(b)}", depth * 1000, f"f{frame + motion.clip.frame_offset}")
        for (a, b), (depth, frame) in sorted(deepest.items(), key=lambda one: -one[1][0])
    )
    said = () if rows else ("no part lies deeper in another than at rest",)
    return Table("Overlaps of the body", ("", "mm", "at"), rows, said)


def _seam(motion: Motion) -> Table:
    """What is left between last and first frame when travel and turn are taken away.

    In place, in turn against the parent, and in velocity.
    """
    joints = sorted(motion.figure.anatomy.part_of)
    if motion.frames < 2 or not joints:
        why = NO_PARTS if not joints else "the clip is a single frame"
        return Table("Last frame against first", said=(why,))
    places = motion.positions_m[joints]
    fit = align(places[..., 0], places[..., -1], np.ones(len(joints)))
    moved = rotations.rotate(fit.turn, places[..., -1:]) + np.array([[fit.x_m], [0.0], [fit.z_m]])
    gap_mm = np.linalg.norm(moved[..., 0] - places[..., 0], axis=1) * 1000
    local = motion.clip.rotations[joints]
    gap_deg = np.degrees(rotations.angle_between(local[..., :1], local[..., -1:]))[:, 0]
    over = min(max(round(_SEAM_WINDOW_S * motion.sample_rate_hz), 1), motion.frames - 1)
    begins, ends = places[..., over] - places[..., 0], places[..., -1] - places[..., -1 - over]
    turned = rotations.rotate(fit.turn, ends[..., None])[..., 0]
    jump = np.linalg.norm(begins - turned, axis=1) * 1000 * motion.sample_rate_hz / over
    part_of = motion.figure.anatomy.part_of
    order = np.lexsort((-jump, -gap_mm.round(2)))[:8]
    rows = tuple(
        (label(part_of[joints[n]]), float(gap_mm[n]), float(gap_deg[n]), float(jump[n]))
        for n in order.tolist()
    )
    header = ("the eight furthest apart", "mm", "deg", "mm/s apart")
    return Table("Last frame against first", header, rows)


def _spread(values: Floats) -> tuple[float, float, float]:
    """Mean, least and most, of what is a number."""
    known = values[np.isfinite(values)]
    if not known.size:
        return (float("nan"),) * 3
    return float(known.mean()), float(known.min()), float(known.max())
