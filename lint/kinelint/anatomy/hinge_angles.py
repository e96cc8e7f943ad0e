"""Flexion of knees, elbows and fingers over a motion, from positions, with its side."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy import segment_axes as seg
from kinelint.anatomy.parts import label
from kinelint.anatomy.zero import (
    NOBODY_STANDS,
    bends_of,
    frame_above,
    hinge_chain,
    hinge_lines,
)
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.hinge import bend, bend_about, bends_of_many, bends_of_rigid
from kinelint.motion import Motion

# Cosine between a learnt axis and the figure's right, below which they say nothing of each other.
LEAST_AGREEMENT = 0.3
_RIGHT: Floats = np.array([[0.0], [0.0], [1.0]])


@dataclass(frozen=True, eq=False)
class Flexion:
    """How far a hinge bends.

    Attributes:
        radians: ``(frames,)``, negative if it bends the wrong way; NaN where it cannot be told.
        signed: false if nothing tells the right way from the wrong: then never negative.
    """

    radians: Floats
    signed: bool


def flexion(motion: Motion, hinge: str) -> Flexion | None:
    """The flexion of "left_shank" (its knee), …; None if one of its joints is missing."""
    lines = hinge_lines(motion, hinge)
    if lines is None:
        return None
    axis = hinge_axis(motion, hinge)
    if axis is None:
        return Flexion(bend(*lines), signed=False)
    return Flexion(bend_about(axis, *lines), signed=True)


def flexions(motion: Motion, hinges: Sequence[str]) -> dict[str, Flexion]:
    """The same for many finger joints at once; those without all their joints are left out."""
    chains = {hinge: chain for hinge in hinges if (chain := hinge_chain(motion, hinge))}
    axes = {hinge: own_axis(motion, hinge) for hinge in chains}
    found: dict[str, Flexion] = {}
    rigid = [one for one in chains if axes[one] is not None and _is_rigid(motion, chains[one])]
    if rigid:
        bends = _bends_of_rigid(motion, rigid, chains, _stacked(axes[one] for one in rigid))
        found = {hinge: Flexion(row, True) for hinge, row in zip(rigid, bends, strict=True)}
    for signed in (True, False):
        some = [one for one in chains if one not in found and (axes[one] is not None) is signed]
        if not some:
            continue
        bends = bends_of_many(
            motion.positions_m,
            np.array([chains[hinge] for hinge in some]),
            _stacked(axes[hinge] for hinge in some),
            motion.orientations,
            np.array([frame_above(motion, hinge) for hinge in some]),
        )
        found |= {hinge: Flexion(row, signed) for hinge, row in zip(some, bends, strict=True)}
    return found


def _is_rigid(motion: Motion, chain: tuple[int, int, int]) -> bool:
    """Whether each joint hangs from the one before at a distance that never changes."""
    clip, (start, middle, end) = motion.clip, chain
    parents = clip.skeleton.parents
    if parents[end] != middle or parents[middle] != start or clip.is_scaled:
        return False
    return not np.isin((middle, end), clip.translated).any()


def _bends_of_rigid(
    motion: Motion,
    hinges: Sequence[str],
    chains: Mapping[str, tuple[int, int, int]],
    axes: Floats | None,
) -> Floats:
    skeleton = motion.clip.skeleton
    middle, end = np.array([chains[hinge][1:] for hinge in hinges]).T
    rest = skeleton.rest_translations
    assert axes is not None
    return bends_of_rigid(motion.clip.rotations, middle, rest[middle], rest[end], axes)


def _stacked(axes: Iterable[Floats | None]) -> Floats | None:
    known = [one[:, 0] for one in axes if one is not None]
    return np.array(known) if known else None


def hinge_axis(motion: Motion, hinge: str) -> Floats | None:
    """``(3, frames)`` the axis in the world about which the hinge bends the right way.

    From how it bends, over all clips of the skeleton or in this motion; where it hardly bends, or
    not about one axis, from the figure's right: the pelvis's for a knee, for an elbow that of an
    arm that hangs. None if neither is known.
    """
    learnt = learnt_axis(motion, hinge)
    fallback = _right_axis(motion, hinge)
    if learnt is None or fallback is None:
        return fallback if learnt is None else learnt
    # The figure's right tells the side: a joint may be bent the wrong way most of the time.
    agrees = float(np.nanmean(np.sum(learnt * fallback, axis=0)))
    return -learnt if agrees < -LEAST_AGREEMENT else learnt


def learnt_axis(motion: Motion, hinge: str) -> Floats | None:
    """``(3, frames)`` the axis that the hinge was seen to bend about; None if not clear."""
    own = own_axis(motion, hinge)
    if own is None:
        return None
    return rotations.rotate(motion.orientations[frame_above(motion, hinge)], own)


def own_axis(motion: Motion, hinge: str) -> Floats | None:
    """``(3, 1)`` that axis in the axes of the joint above; None if it is not clear."""
    zero = motion.figure.zero
    own = None if zero is None else zero.hinge_axes.get(hinge)
    # A zero has seen all clips of the skeleton: looking again at many fingers is not worth it.
    if own is not None or (zero is not None and hinge.endswith(("1", "2", "3"))):
        return own
    lines = hinge_lines(motion, hinge)
    return None if lines is None else bends_of(motion, hinge, *lines).axis()


def _right_axis(motion: Motion, hinge: str) -> Floats | None:
    side, _, part = hinge.partition("_")
    if part == "shank":
        hips, thigh = seg.right_line(motion, "thigh"), seg.segment_line(motion, f"{side}_thigh")
        return None if hips is None or thigh is None else -seg.across(hips, thigh)
    if part == "forearm":
        arm = segment_frame(motion, f"{side}_upper_arm")
        return None if arm is None else rotations.rotate(arm, _RIGHT)
    return None


def segment_frame(motion: Motion, segment: str) -> Floats | None:
    """A segment's anatomical axes in the world ``(4, frames)``; None without a zero for it."""
    zero, joint = motion.figure.zero, seg.segment_joint(motion, segment)
    if zero is None or joint is None or segment not in zero.axes:
        return None
    return rotations.multiply(motion.orientations[joint], zero.axes[segment])


def zero_lacks(motion: Motion, *segments: str) -> str:
    """Why there is no anatomical zero for one of `segments`."""
    zero = motion.figure.zero
    for segment in segments:
        if seg.segment_joint(motion, segment) is None:
            return f"no joint of this skeleton was recognised as the {label(segment)}"
        if zero is not None and segment in zero.missing:
            return f"no anatomical zero: {zero.missing[segment]}"
    return f"no anatomical zero: {NOBODY_STANDS}"
