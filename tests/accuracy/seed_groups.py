"""Pairs of clips made from one real take: cut in two, mirrored, played together; then spoilt.

Everything is computed with SciPy's `Rotation` by `Rig`, nothing with the program's kinematics.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation

from accuracy.rig import Rig
from kinelint.anatomy.figure import Figure
from kinelint.anatomy.parts import mirrored
from kinelint.clip import Clip
from kinelint.cue import Chain, Cue, Mirrored, Partners
from kinelint.group import Group, Member
from kinelint.motion import Motion

PARTS = ("upper_arm", "forearm", "thigh", "shank", "foot")


def part_of(clip: Clip, first: int, last: int) -> Clip:
    """Frames `first` to `last`, both included."""
    inside = slice(first, last + 1)
    return replace(
        clip,
        rotations=clip.rotations[..., inside],
        translations=clip.translations[..., inside],
        scales=clip.scales[..., inside],
        weights=np.empty((0, 0)),
        weight_names=(),
        long_turns=None,
        source=replace(clip.source, frame_lines=None),
    )


def moved(clip: Clip, figure: Figure, yaw_deg: float, by_m: tuple[float, float, float]) -> Clip:
    """The whole figure turned about the vertical of the world and shifted."""
    rig = Rig.of(clip, figure)
    turn = Rotation.from_euler("Y", yaw_deg, degrees=True)
    for joint in np.flatnonzero(clip.skeleton.parents < 0):
        place = turn.apply(rig.places[joint]) + np.array(by_m)
        rig.local[joint] = rig.up.inv() * turn * rig.turns[joint]
        rig.shift[joint] = rig.up.inv().apply(place)
        rig.moved.add(int(joint))
    return rig.made()


def offset(clip: Clip, figure: Figure, part: str, degrees: float, axis: np.ndarray) -> Clip:
    """A part turned against its parent all through the clip."""
    rig = Rig.of(clip, figure)
    joint = rig.joint(part)
    turn = Rotation.from_rotvec(np.radians(degrees) * axis / np.linalg.norm(axis))
    rig.local[joint] = rig.local[joint] * turn
    return rig.made()


def chain(clip: Clip, figure: Figure, cut: int, step: int, after: Clip | None = None) -> Group:
    """A take cut in two: the second begins with the frame of the cut, or `step` frames later."""
    second = part_of(clip, cut + step, clip.frames - 1) if after is None else after
    members = (
        Member("one", "", Motion(part_of(clip, 0, cut), figure)),
        Member("two", "", Motion(second, figure)),
    )
    return Group(Chain("cut", "one", "two"), members)


def image(clip: Clip, figure: Figure) -> Clip | None:
    """The take mirrored at x = 0 by matrices, for a skeleton whose rest pose is even about it.

    Of such a skeleton, rest turns none: a joint's orientation is M R M of the other side's.
    """
    skeleton, parts = clip.skeleton, figure.anatomy
    if np.any(np.abs(skeleton.rest_rotations[:, 1:]) > 1e-6):
        return None
    other = np.arange(len(skeleton))
    for joint, part in parts.part_of.items():
        twins = parts.joints.get(mirrored(part), ())
        place = parts.joints[part].index(joint)
        if place >= len(twins):
            return None
        other[joint] = twins[place]
    # What stands between parts answers to what stands between theirs.
    for joint in range(len(skeleton) - 1, 0, -1):
        above = int(skeleton.parents[joint])
        if above >= 0 and above not in parts.part_of and other[joint] != joint:
            other[above] = skeleton.parents[other[joint]]
    rig = Rig.of(clip, figure)
    rest = rig.up.apply(skeleton.rest_translations.copy()) * figure.metres_per_unit
    rest[skeleton.parents < 0] = 0.0
    off = np.linalg.norm(rest[other] * [-1.0, 1.0, 1.0] - rest, axis=1)
    if off[skeleton.tips == 0].max() > 0.05:
        return None
    flip = np.diag([-1.0, 1.0, 1.0])
    turns = [Rotation.from_matrix(flip @ rig.turns[int(twin)].as_matrix() @ flip) for twin in other]
    rig.turn_to(dict(enumerate(turns)))
    root = rig.joint("pelvis")
    wanted = rig_place(clip, figure) * np.array([-1.0, 1.0, 1.0])
    rig.move_root(wanted - rig.places[root])
    return rig.made()


def rig_place(clip: Clip, figure: Figure) -> np.ndarray:
    """Where the pelvis is, ``(frames, 3)``."""
    return np.array(Rig.of(clip, figure).place("pelvis"))


def pair(one: Clip, other: Clip, figure: Figure) -> Group:
    """A take and what is to be its image."""
    members = (Member("one", "", Motion(one, figure)), Member("two", "", Motion(other, figure)))
    return Group(Mirrored("pair", "one", "two"), members)


def partners(
    one: Motion, other: Motion, at_s: float, late_s: float, touch: tuple[str, str], apart_m: float
) -> Group:
    """Two takes of one world, the second called to its moment late and set off sideways."""
    first = replace(one, cue=Cue(moments=(("touch", at_s),)), _derived={})
    second = replace(other, cue=Cue(moments=(("touch", at_s + late_s),)), _derived={})
    bond = Partners("dance", "one", "two", ("touch", "touch"), touch, place_m=(0.0, apart_m, 0.0))
    return Group(bond, (Member("one", "", first), Member("two", "", second)))
