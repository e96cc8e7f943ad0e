"""Everything that can be measured of one clip, as tables; nothing is judged."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np

from kinelint.anatomy.body import body_overlaps
from kinelint.anatomy.contacts import contacts
from kinelint.anatomy.ground import ground
from kinelint.anatomy.joint_angles_of import angles_of
from kinelint.anatomy.parts import PARTS, label
from kinelint.anatomy.travel import travel
from kinelint.errors import KinelintError
from kinelint.kinematics import rotations
from kinelint.kinematics.alignment import align
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion

Cell: TypeAlias = str | float


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
    said = (*(note.text for note in figure.notes), *anatomy.notes)
    return Table("Body", (), tuple(rows), said)


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
    return Table("Segment lengths", ("mm", "mean", "least", "most"), tuple(rows))


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
    return Table("Heights and speeds", header, tuple(rows))


def _angles(motion: Motion) -> Table:
    told = motion.derive(angles_of)
    rows = tuple((one.name, *_spread(one.degrees)) for one in told.angles)
    said = tuple(f"{one.joint}: {one.reason}" for one in told.untold)
    return Table("Joint angles", ("deg, from anatomical zero", "mean", "least", "most"), rows, said)


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
    """What is left between last and first frame when travel and turn are taken away."""
    joints = sorted(motion.figure.anatomy.part_of)
    if motion.frames < 2 or not joints:
        return Table("Last frame against first", said=("there are no two frames of a body",))
    places = motion.positions_m[joints]
    fit = align(places[..., 0], places[..., -1], np.ones(len(joints)))
    moved = rotations.rotate(fit.turn, places[..., -1:]) + np.array([[fit.x_m], [0.0], [fit.z_m]])
    gap_mm = np.linalg.norm(moved[..., 0] - places[..., 0], axis=1) * 1000
    local = motion.clip.rotations[joints]
    gap_deg = np.degrees(rotations.angle_between(local[..., :1], local[..., -1:]))[:, 0]
    part_of = motion.figure.anatomy.part_of
    order = np.argsort(-gap_mm)[:8]
    rows = tuple(
        (label(part_of[joints[n]]), float(gap_mm[n]), float(gap_deg[n])) for n in order.tolist()
    )
    header = ("the eight furthest apart", "mm", "deg")
    return Table("Last frame against first", header, rows)


def _spread(values: Floats) -> tuple[float, float, float]:
    """Mean, least and most, of what is a number."""
    known = values[np.isfinite(values)]
    if not known.size:
        return (float("nan"),) * 3
    return float(known.mean()), float(known.min()), float(known.max())
