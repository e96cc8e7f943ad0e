"""A motion told otherwise: other units, axes, names, places, sides or rates, the same event.

What a rule says of a motion may not hang on any of these (metamorphic tests).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from kinelint.clip import Clip, Skeleton
from kinelint.cue import Cue, Kept, Surface
from kinelint.kinematics import rotations
from kinelint.motion import Motion

_QUARTER = np.array([np.sqrt(0.5), 0.0, np.sqrt(0.5), 0.0])[:, None]  # about Y
_UP_TO_Z = np.array([np.sqrt(0.5), np.sqrt(0.5), 0.0, 0.0])[:, None]  # about X: Y goes to Z
# Not up or down: that the rest pose stands at height 0 of its scene tells where the floor is.
_MOVED_M = np.array([3.0, 0.0, -7.0])


def in_centimetres(motion: Motion) -> Motion:
    """The file's lengths in centimetres."""
    clip, skeleton = motion.clip, motion.clip.skeleton
    per = 0.01 / motion.figure.metres_per_unit
    grown = replace(skeleton, rest_translations=skeleton.rest_translations / per)
    clip = replace(clip, skeleton=grown, translations=clip.translations / per)
    if clip.metres_per_unit is not None:
        clip = replace(clip, metres_per_unit=0.01)
    return _retold(motion, clip=clip, figure=replace(motion.figure, metres_per_unit=0.01))


def with_z_up(motion: Motion) -> Motion:
    """The file's up axis is Z."""
    clip = _turned(motion.clip, _UP_TO_Z, np.zeros(3))
    if clip.up_axis is not None:
        clip = replace(clip, up_axis="z")
    back = rotations.multiply(motion.figure.to_y_up, rotations.conjugate(_UP_TO_Z))
    return _retold(motion, clip=clip, figure=replace(motion.figure, to_y_up=back))


def with_prefix(motion: Motion) -> Motion:
    """Every joint's name in a namespace."""
    skeleton = motion.clip.skeleton
    names = tuple(f"crew:{name}" for name in skeleton.names)
    return _retold(motion, clip=replace(motion.clip, skeleton=replace(skeleton, names=names)))


def elsewhere(motion: Motion) -> Motion:
    """Figure, floor and all that stands on it turned by a quarter and moved together."""
    unit = motion.figure.metres_per_unit
    to_file = rotations.conjugate(motion.figure.to_y_up)
    quarter = rotations.multiply(rotations.multiply(to_file, _QUARTER), motion.figure.to_y_up)
    moved = rotations.rotate(to_file, _MOVED_M[:, None])[:, 0] / unit
    ground_m = None if motion.ground_m is None else motion.ground_m + _MOVED_M[1]
    clip = _turned(motion.clip, quarter, moved)
    return _retold(motion, clip=clip, cue=_cue_elsewhere(motion.cue), ground_m=ground_m)


def mirrored(motion: Motion) -> Motion:
    """Left and right changed. For figures whose joint axes lie along the world's at rest."""
    clip, skeleton = motion.clip, motion.clip.skeleton
    other = _other_side(skeleton)
    across = np.array([1.0, 1.0, -1.0, -1.0])
    flip = np.array([-1.0, 1.0, 1.0])
    rest = replace(
        skeleton,
        rest_translations=skeleton.rest_translations[other] * flip,
        rest_rotations=skeleton.rest_rotations[other] * across,
        rest_scales=skeleton.rest_scales[other],
    )
    clip = replace(
        clip,
        skeleton=rest,
        rotations=clip.rotations[other] * across[:, None],
        translated=other[clip.translated],
        translations=clip.translations * flip[:, None],
        scaled=other[clip.scaled],
    )
    if clip.long_turns is not None:
        turns = replace(clip.long_turns, joints=other[clip.long_turns.joints])
        clip = replace(clip, long_turns=turns)
    return _retold(motion, clip=clip, cue=_cue_mirrored(motion.cue))


def halved(motion: Motion) -> Motion:
    """Every other frame."""
    clip = motion.clip
    thin = slice(None, None, 2)
    clip = replace(
        clip,
        sample_rate_hz=clip.sample_rate_hz / 2.0,
        rotations=clip.rotations[..., thin],
        translations=clip.translations[..., thin],
        scales=clip.scales[..., thin],
        weights=clip.weights[..., thin],
    )
    if clip.long_turns is not None:
        frames = (clip.long_turns.frames + 1) // 2
        clip = replace(clip, long_turns=replace(clip.long_turns, frames=frames))
    return _retold(motion, clip=clip)


def swapped(part: str) -> str:
    """The part on the other side."""
    for one, other in (("left", "right"), ("right", "left")):
        if part.startswith(f"{one}_"):
            return f"{other}_{part.removeprefix(f'{one}_')}"
    return part


SAME_SIDES: dict[str, Callable[[Motion], Motion]] = {
    "centimetres": in_centimetres,
    "z up": with_z_up,
    "prefix": with_prefix,
    "elsewhere": elsewhere,
}


def _retold(motion: Motion, **changes: Any) -> Motion:
    """The motion with some fields changed, and nothing of what was derived from it."""
    return replace(motion, **changes, _derived={})


def _turned(clip: Clip, turn: np.ndarray, moved: np.ndarray) -> Clip:
    """The same with its roots turned about the origin and then moved, in file units."""
    skeleton = clip.skeleton
    roots = np.flatnonzero(skeleton.parents < 0)
    turned = clip.rotations.copy()
    turned[roots] = rotations.multiply(turn, turned[roots])
    rest_turns = skeleton.rest_rotations.copy()
    rest_places = skeleton.rest_translations.copy()
    places = clip.translations.copy()
    for root in roots:
        rest_turns[root] = rotations.multiply(turn, rest_turns[root][:, None])[:, 0]
        rest_places[root] = rotations.rotate(turn, rest_places[root][:, None])[:, 0] + moved
        for row in np.flatnonzero(clip.translated == root):
            places[row] = rotations.rotate(turn, places[row]) + moved[:, None]
    rest = replace(skeleton, rest_rotations=rest_turns, rest_translations=rest_places)
    return replace(clip, skeleton=rest, rotations=turned, translations=places)


def _cue_elsewhere(cue: Cue) -> Cue:
    def place(x: float, y: float, z: float) -> tuple[float, float, float]:
        # A quarter about Y takes X to -Z and Z to X.
        moved = np.array([z, y, -x]) + _MOVED_M
        return float(moved[0]), float(moved[1]), float(moved[2])

    surfaces = []
    for one in cue.surfaces:
        x0, _, z0 = place(one.from_m[0], 0.0, one.from_m[1])
        x1, top, z1 = place(one.to_m[0], one.top_m, one.to_m[1])
        surfaces.append(Surface(one.name, top, (x0, z0), (x1, z1)))
    kept = [_kept_elsewhere(one, place) if not one.joint else one for one in cue.kept]
    ground_m = None if cue.ground_m is None else cue.ground_m + float(_MOVED_M[1])
    travel = cue.travel_m_per_s
    if travel is not None:
        travel = (travel[2], travel[1], -travel[0])
    more = {"surfaces": tuple(surfaces), "kept": tuple(kept), "travel_m_per_s": travel}
    return replace(cue, ground_m=ground_m, **more)


def _kept_elsewhere(one: Kept, place: Callable[..., tuple[float, float, float]]) -> Kept:
    turn = rotations.multiply(_QUARTER, np.array(one.turn)[:, None])[:, 0]
    w, x, y, z = (float(value) for value in turn)
    return replace(one, at_m=place(*one.at_m), turn=(w, x, y, z))


def _cue_mirrored(cue: Cue) -> Cue:
    contacts = tuple(
        replace(one, parts=(swapped(one.parts[0]), swapped(one.parts[1])))
        for one in cue.wanted_contacts
    )
    surfaces = tuple(
        replace(one, from_m=(-one.from_m[0], one.from_m[1]), to_m=(-one.to_m[0], one.to_m[1]))
        for one in cue.surfaces
    )
    travel = cue.travel_m_per_s
    return replace(
        cue,
        only_parts=tuple(map(swapped, cue.only_parts)),
        not_captured=tuple(map(swapped, cue.not_captured)),
        wanted_contacts=contacts,
        surfaces=surfaces,
        held=tuple(replace(one, hand=swapped(one.hand)) for one in cue.held),
        kept=tuple(_kept_mirrored(one) for one in cue.kept),
        travel_m_per_s=None if travel is None else (-travel[0], travel[1], travel[2]),
    )


def _kept_mirrored(one: Kept) -> Kept:
    w, x, y, z = one.turn
    return replace(one, at_m=(-one.at_m[0], one.at_m[1], one.at_m[2]), turn=(w, x, -y, -z))


def _other_side(skeleton: Skeleton) -> np.ndarray:
    index = {name: joint for joint, name in enumerate(skeleton.names)}
    return np.array([index.get(swapped(name), joint) for name, joint in index.items()])
