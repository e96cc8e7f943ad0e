"""Made motions whose every quantity is known exactly, for rules' examples and tests.

The person stands in the anatomical position: facing +Z, X to the left, Y up, arms hanging, feet
flat on the floor at height 0, every joint's axes along the world's. So a turn given here *is* the
anatomical angle. Lengths are fractions of stature (de Leva 1996 for the limbs between joint
centres, ANSUR II for heights and breadths).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike

from kinelint.anatomy.anatomy import Anatomy, Assignment
from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip, Skeleton, Source
from kinelint.cue import Cue
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion

# One turn after another: ("Z", 30) or ("X", array of degrees over the frames).
Turns: TypeAlias = Sequence[tuple[str, ArrayLike]]

# Joint: (parent, (left, up, forward) from the parent as fractions of stature).
_TRUNK: dict[str, tuple[str, tuple[float, float, float]]] = {
    "pelvis": ("", (0, 0.5600, 0)),
    "abdomen": ("pelvis", (0, 0.0600, 0)),
    "thorax": ("abdomen", (0, 0.1000, 0)),
    "neck": ("thorax", (0, 0.1439, 0)),
    "head": ("neck", (0, 0.0500, 0)),
    "head end": ("head", (0, 0.0861, 0)),
}
_SIDE: dict[str, tuple[str, tuple[float, float, float]]] = {
    "clavicle": ("thorax", (0.0150, 0.0950, 0)),
    # A little wide, so that the arms hang clear of the hips.
    "upper_arm": ("clavicle", (0.1100, 0, 0)),
    "forearm": ("upper_arm", (0, -0.1618, 0)),
    "hand": ("forearm", (0, -0.1545, 0)),
    "hand end": ("hand", (0, -0.1079, 0)),
    "thigh": ("pelvis", (0.0530, -0.0250, 0)),
    "shank": ("thigh", (0, -0.2425, 0)),
    "foot": ("shank", (0, -0.2529, 0)),
    "toes": ("foot", (0, -0.0246, 0.0750)),
    "toes end": ("toes", (0, -0.0050, 0.0350)),
}
# Buryanov & Kotiuk 2010: proximal, middle, distal bone (thumb: metacarpal, proximal, distal), mm.
_BONES_MM = {
    "thumb": (46.2, 31.6, 21.7),
    "index": (39.8, 22.4, 15.8),
    "middle": (44.6, 26.3, 17.4),
    "ring": (41.4, 25.7, 17.3),
    "little": (32.7, 18.1, 16.0),
}
# Of the first finger joint from the wrist, (left, up, forward) on the left hand, mm.
_KNUCKLES_MM = {
    "thumb": (0.0, -20.0, 22.0),
    "index": (0.0, -88.0, 26.0),
    "middle": (0.0, -86.0, 6.0),
    "ring": (0.0, -80.0, -12.0),
    "little": (0.0, -72.0, -28.0),
}
_STATURE_OF_BONES_MM = 1741.0


@cache
def person(stature_m: float = 1.75, fingers: bool = False) -> Skeleton:
    """The skeleton, in metres, with joints named after their parts; leaves end in tips."""
    rows = [(name, parent, at) for name, (parent, at) in _TRUNK.items()]
    for side, sign in (("left", 1.0), ("right", -1.0)):
        for name, (parent, at) in _SIDE.items():
            above = f"{side}_{parent}" if parent in _SIDE else parent
            rows.append((f"{side}_{name}", above, (sign * at[0], at[1], at[2])))
        if fingers:
            rows += _fingers(side, sign)
    index = {name: i for i, (name, _, _) in enumerate(rows)}
    return Skeleton(
        names=tuple(name for name, _, _ in rows),
        parents=np.array([index.get(parent, -1) for _, parent, _ in rows]),
        rest_translations=np.array([at for _, _, at in rows]) * stature_m,
        tips=np.array([name.endswith(" end") for name, _, _ in rows]),
    )


def _fingers(side: str, sign: float) -> list[tuple[str, str, tuple[float, float, float]]]:
    rows = []
    for finger, bones in _BONES_MM.items():
        above, at = f"{side}_hand", _KNUCKLES_MM[finger]
        for number in range(1, 5):
            name = f"{side}_{finger}_{number}" if number < 4 else f"{side}_{finger}_3 end"
            scaled = (sign * at[0], at[1], at[2])
            x, y, z = (value / _STATURE_OF_BONES_MM for value in scaled)
            rows.append((name, above, (x, y, z)))
            if number < 4:
                above, at = name, (0.0, -bones[number - 1], 0.0)
    return rows


@cache
def _bare_figure(stature_m: float, fingers: bool) -> Figure:
    skeleton = person(stature_m, fingers)
    parts = [
        Assignment(joint, name, 1.0, "made so")
        for joint, name in enumerate(skeleton.names)
        if not skeleton.tips[joint]
    ]
    tips = {
        name.removesuffix(" end"): joint
        for joint, name in enumerate(skeleton.names)
        if skeleton.tips[joint]
    }
    leg_m = (0.2425 + 0.2529) * stature_m
    return Figure(Anatomy(tuple(parts), tips), stature_m=stature_m, leg_m=leg_m)


@cache
def person_figure(stature_m: float = 1.75, fingers: bool = False) -> Figure:
    """The person's body: parts, volume, and the zero of a person who stands upright."""
    from kinelint.anatomy.scale import BodyHints
    from kinelint.anatomy.zero import sample_zero
    from kinelint.assemble import completed

    bare = _bare_figure(stature_m, fingers)
    still = clip(frames=60, stature_m=stature_m, fingers=fingers)
    zero = sample_zero(Motion(still, bare))
    zeros = [] if zero is None else [zero]
    return completed(bare, still.skeleton, zeros, (), BodyHints())


def clip(
    *,
    frames: int = 60,
    sample_rate_hz: float = 60.0,
    turns: Mapping[str, Turns] | None = None,
    shifts_m: Mapping[str, ArrayLike] | None = None,
    stature_m: float = 1.75,
    fingers: bool = False,
    name: str = "made",
) -> Clip:
    """A person who stands, but for what is said.

    Args:
        frames: how many.
        sample_rate_hz: frames a second.
        turns: part to its local turns, applied first to last about the turned axes
            (intrinsic), in degrees: ``{"left_shank": [("X", 60)]}`` bends the left knee by 60
            (X points to the left, so bending is a turn about +X).
        shifts_m: part to ``(3,)`` or ``(3, frames)`` metres added to its local translation
            (the pelvis to move the figure, another part to stretch what lies above it).
        stature_m: of the person.
        fingers: with finger joints.
        name: of the clip.
    """
    skeleton = person(stature_m, fingers)
    local = np.zeros((len(skeleton), 4, frames))
    local[:, 0] = 1.0
    for part, steps in (turns or {}).items():
        q: Floats = np.array(rotations.IDENTITY)
        for axis, degrees in steps:
            angle = np.broadcast_to(np.radians(np.asarray(degrees, dtype=np.float64)), (frames,))
            q = rotations.multiply(q, rotations.about(axis, angle))
        local[skeleton.names.index(part)] = q
    moved = {"pelvis": np.zeros(3), **(shifts_m or {})}
    joints = np.array([skeleton.names.index(part) for part in moved], dtype=np.intp)
    translations = np.empty((len(joints), 3, frames))
    for row, (joint, shift) in enumerate(zip(joints, moved.values(), strict=True)):
        given = np.asarray(shift, dtype=np.float64)
        over_time = given if given.ndim == 2 else given[:, None]
        translations[row] = skeleton.rest_translations[joint, :, None] + over_time
    return Clip(
        name=name,
        skeleton=skeleton,
        sample_rate_hz=sample_rate_hz,
        rotations=local,
        translated=joints,
        translations=translations,
        metres_per_unit=1.0,
        up_axis="y",
        source=Source("made"),
    )


def motion(
    *,
    cue: Cue | None = None,
    ground_m: float | None = 0.0,
    stature_m: float = 1.75,
    fingers: bool = False,
    **made: object,
) -> Motion:
    """The motion of `clip(...)` on the person's body. The floor is at height 0 unless said."""
    one = clip(stature_m=stature_m, fingers=fingers, **made)  # type: ignore[arg-type]
    return Motion(one, person_figure(stature_m, fingers), cue or Cue(), ground_m)


def standing(
    *, seconds: float = 1.0, sample_rate_hz: float = 60.0, turn_deg_per_s: float = 0.0
) -> Motion:
    """A person who stands still, or turns on the spot at a steady rate."""
    frames = round(seconds * sample_rate_hz) + 1
    degrees = turn_deg_per_s * np.arange(frames) / sample_rate_hz
    return motion(frames=frames, sample_rate_hz=sample_rate_hz, turns={"pelvis": [("Y", degrees)]})


def bump(frames: int, first: int, last: int) -> Floats:
    """``(frames,)`` from 0 up to 1 and back, smooth: 1 in the middle half of first to last."""
    place = np.clip((np.arange(frames) - first) / max(last - first, 1), 0.0, 1.0)
    ramp = np.clip(np.minimum(place, 1.0 - place) * 4.0, 0.0, 1.0)
    return np.asarray(ramp * ramp * (3.0 - 2.0 * ramp))
