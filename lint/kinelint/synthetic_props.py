"""Made motions with a prop in them: a joint of its own, at a place that is known exactly."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from kinelint.clip import Clip, Skeleton
from kinelint.cue import Cue
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.motion import Motion


def with_prop(
    motion: Motion,
    joint: str,
    place_m: ArrayLike,
    turn: ArrayLike = (1.0, 0.0, 0.0, 0.0),
    *,
    parent: str = "",
    cue: Cue | None = None,
) -> Motion:
    """The same motion with one more joint, which moves a prop.

    Args:
        motion: of a figure, without scaled joints.
        joint: name of the new joint.
        place_m: ``(3,)`` or ``(3, frames)`` where it is in the world, metres, Y up.
        turn: ``(4,)`` or ``(4, frames)`` from its axes to the world's, wxyz, unit.
        parent: name of the joint that it is to hang from in the file; "" makes it a root of its
            own. What it does in the world is the same.
        cue: what the clip is meant to be; None keeps what was said.
    """
    clip, figure = motion.clip, motion.figure
    place, q = _over_time(place_m, 3, clip.frames), _over_time(turn, 4, clip.frames)
    above = clip.skeleton.names.index(parent) if parent else -1
    if above >= 0:
        base = motion.orientations[above]
        place = rotations.unrotate(base, place - motion.positions_m[above])
        q = rotations.multiply(rotations.conjugate(base), q)
    else:
        place = rotations.unrotate(figure.to_y_up, place)
        q = rotations.multiply(rotations.conjugate(figure.to_y_up), q)
    made = _with_joint(clip, joint, above, place / figure.metres_per_unit, q)
    return replace(motion, clip=made, cue=cue or motion.cue, _derived={})


def carried(
    motion: Motion,
    part: str,
    place_m: ArrayLike,
    turn: ArrayLike = (1.0, 0.0, 0.0, 0.0),
) -> tuple[Floats, Floats]:
    """Where a thing is in the world that lies so in the axes of a part: place and turn.

    Args:
        motion: of the figure.
        part: whose proximal joint carries it.
        place_m: ``(3,)`` or ``(3, frames)`` in the axes of that joint, metres.
        turn: ``(4,)`` or ``(4, frames)`` to the axes of that joint, wxyz.
    """
    holder = motion.part(part)
    at, q = _over_time(place_m, 3, motion.frames), _over_time(turn, 4, motion.frames)
    place = holder.position_m + rotations.rotate(holder.orientation, at)
    return place, rotations.multiply(holder.orientation, q)


def _over_time(values: ArrayLike, rows: int, frames: int) -> Floats:
    given = np.asarray(values, dtype=np.float64)
    column = given if given.ndim == 2 else given[:, None]
    return np.array(np.broadcast_to(column, (rows, frames)))


def _with_joint(clip: Clip, name: str, parent: int, place: Floats, q: Floats) -> Clip:
    skeleton = clip.skeleton
    grown = Skeleton(
        names=(*skeleton.names, name),
        parents=np.append(skeleton.parents, parent),
        rest_translations=np.vstack((skeleton.rest_translations, place[:, 0])),
        rest_rotations=np.vstack((skeleton.rest_rotations, q[:, 0])),
        rest_scales=np.vstack((skeleton.rest_scales, np.ones(3))),
        tips=np.append(skeleton.tips, False),
        humanoid=skeleton.humanoid,
    )
    translations = clip.translations.reshape(len(clip.translated), 3, clip.frames)
    return replace(
        clip,
        skeleton=grown,
        rotations=np.concatenate((clip.rotations, q[None])),
        translated=np.append(clip.translated, len(skeleton)),
        translations=np.concatenate((translations, place[None])),
    )
