"""FBX transforms to a chain of joints without FBX's rules about scale. Plain arrays in and out.

An FBX node may take its parent's scale wholly, not at all, or component by component; a `Clip`
knows the first only. So positions are laid out by FBX's rules and then expressed in the axes of
the joints above, where a scale that does not change becomes part of the offsets:

* a scale that is the same on all axes and at all times disappears into the offsets below it;
* any other scale stays where all children take it wholly, and disappears into moving offsets
  where they do not. Positions are exact either way.

Source: the rules are those of the binding (agreement 1e-14 on random trees with all three modes,
pivots, pre- and post-rotations), which follow the inherit types RSrs, Rrs and RrSs of FBX.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.kinematics.forward import CHUNK

WHOLLY, NOT_OWN, BY_COMPONENT = 0, 1, 2

_EVEN = 5e-7  # of size: float32 leaves 1e-7 to 3e-7 of a constant
_SEEN = 1e-4  # a scale nearer to even than that is noise of an exporter; only positions keep it
_LEAST, _MOST = 1e-3, 1e3  # a scale beyond these cannot be divided by for long


class Locals(NamedTuple):
    """Transforms to the parent over some frames.

    Attributes:
        shifts: ``(joints, 3)`` of joints that stay where they are.
        moving: ``(m,)`` joints that do not.
        moved: ``(m, 3, frames)`` of those.
        turns: ``(joints, 4, frames)`` scalar first.
        scales: ``(joints, 3, frames)``, or ``(joints, 3, 1)`` where none changes.
    """

    shifts: Floats
    moving: Ints
    moved: Floats
    turns: Floats
    scales: Floats

    @property
    def frames(self) -> int:
        """How many frames there are."""
        return int(self.turns.shape[-1])


@dataclass(frozen=True, eq=False)
class Tree:
    """What decides how scales are written.

    Attributes:
        parents: ``(joints,)``, parents before children.
        modes: ``(joints,)`` how each takes its parent's scale.
        even: ``(joints,)`` the even part of each joint's scale, which goes into offsets.
        stays: ``(joints,)`` joints whose scale without that part stays in the chain.
        plain: true if no joint has any other scale than its even part.
    """

    parents: Ints
    modes: Ints
    even: Floats
    stays: Bools
    plain: bool


def plan_scales(parents: Ints, modes: Ints, rest: Floats, over_time: list[Floats]) -> Tree:
    """Decide once for all takes of a file, which share one skeleton.

    Args:
        parents: ``(joints,)``.
        modes: ``(joints,)``.
        rest: ``(joints, 3)`` scales at rest.
        over_time: ``(joints, 3, frames)`` scales of each take.
    """
    even = np.cbrt(np.prod(rest, axis=1))
    even = np.where(np.abs(even) > _LEAST * np.abs(rest).max(axis=1, initial=0.0), even, 1.0)
    off, least = np.zeros(len(rest)), np.full(len(rest), np.inf)
    for scales in (rest[..., None], *over_time):
        ratio = scales / even[:, None, None]
        off = np.maximum(off, np.abs(ratio - 1.0).max(axis=(1, 2)))
        least = np.minimum(least, np.abs(ratio).min(axis=(1, 2)))
    # Written so that a NaN counts as uneven.
    uneven = ~(off <= _EVEN)
    stays = ~(off <= _SEEN) & (least > _LEAST) & (off < _MOST)
    for joint, parent in enumerate(parents.tolist()):
        if parent >= 0 and modes[joint] != WHOLLY:
            stays[parent] = False
    return Tree(parents, modes, np.where(uneven, even, rest.mean(axis=1)), stays, not uneven.any())


class Chain(NamedTuple):
    """The same without FBX's rules: offsets as in `Locals`, scales of joints that `Tree.stays`.

    Attributes:
        shifts: ``(joints, 3)`` of joints that stay where they are.
        moving: ``(m,)`` joints that do not.
        moved: ``(m, 3, frames)`` of those.
        scales: ``(s, 3, frames)`` of joints whose scale stays, ``(s, 3, 1)`` where none changes.
    """

    shifts: Floats
    moving: Ints
    moved: Floats
    scales: Floats


def chained(tree: Tree, local: Locals) -> Chain:
    """Offsets and scales of the chain. Rotations stay as they are."""
    stays = np.flatnonzero(tree.stays)
    scales = local.scales[stays] / tree.even[stays, None, None]
    if tree.plain:
        longer = _longer(tree)
        moved = local.moved * longer[local.moving, None, None]
        return Chain(local.shifts * longer[:, None], local.moving, moved, scales)
    frames, joints = local.frames, len(tree.parents)
    moved = np.empty((joints, 3, frames))
    for start in range(0, frames, CHUNK):
        span = slice(start, min(start + CHUNK, frames))
        moved[..., span] = _laid_out(tree, _part(local, span))
    return Chain(moved[..., 0], np.arange(joints), moved, scales)


def _part(local: Locals, span: slice) -> Locals:
    scales = local.scales if local.scales.shape[-1] == 1 else local.scales[..., span]
    moved, turns = local.moved[..., span], local.turns[..., span]
    return Locals(local.shifts, local.moving, moved, turns, scales)


def _longer(tree: Tree) -> Floats:
    """``(joints,)`` where every scale is even: the product of scales that each offset takes."""
    with_own, without = np.ones(len(tree.parents)), np.ones(len(tree.parents))
    longer = np.ones(len(tree.parents))
    for joint, parent in enumerate(tree.parents.tolist()):
        if parent >= 0:
            longer[joint] = with_own[parent]
            taken = without if tree.modes[joint] == NOT_OWN else with_own
            without[joint] = taken[parent]
        with_own[joint] = without[joint] * tree.even[joint]
    return longer


def _laid_out(tree: Tree, local: Locals) -> Floats:
    """``(joints, 3, frames)`` offsets, by way of where FBX's rules put each joint."""
    turned = rotations.to_matrix(local.turns)
    row = {int(joint): i for i, joint in enumerate(local.moving)}
    whole: dict[int, Floats] = {}
    bare: dict[int, Floats] = {}
    inherited: dict[int, Floats] = {}
    own: dict[int, Floats] = {}
    shifts = np.empty((len(tree.parents), 3, local.frames))
    for joint, parent in enumerate(tree.parents.tolist()):
        scale, even = local.scales[joint], tree.even[joint]
        shift = local.moved[row[joint]] if joint in row else local.shifts[joint][:, None]
        if parent < 0:
            bare[joint], inherited[joint] = turned[joint], np.ones((3, 1))
            own[joint], shifts[joint] = turned[joint], shift
        else:
            # How far the joint is from its parent, in the world's axes, then in the chain's.
            shifts[joint] = _solved(own[parent], _moved(whole[parent], shift))
            taken = whole if tree.modes[joint] == WHOLLY else bare
            bare[joint] = _product(taken[parent], turned[joint])
            more = local.scales[parent] * inherited[parent]
            inherited[joint] = more if tree.modes[joint] == BY_COMPONENT else np.ones((3, 1))
            own[joint] = _product(own[parent], turned[joint])
        if tree.stays[joint]:
            own[joint] = own[joint] * (scale / even)
        whole[joint] = bare[joint] * (scale * inherited[joint])
    return shifts


def _product(a: Floats, b: Floats) -> Floats:
    a, b = _same(a, b)
    return np.asarray(np.einsum("ijn,jkn->ikn", a, b))


def _moved(matrix: Floats, shift: Floats) -> Floats:
    matrix, shift = _same(matrix, shift)
    return np.asarray(np.einsum("ijn,jn->in", matrix, shift))


def _same(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Both with as many frames as the longer one: einsum does not stretch a last axis of 1."""
    frames = max(a.shape[-1], b.shape[-1])
    longer = [np.broadcast_to(one, (*one.shape[:-1], frames)) for one in (a, b)]
    return longer[0], longer[1]


def _solved(matrix: Floats, away: Floats) -> Floats:
    """``(3, frames)`` what `matrix` ``(3, 3, frames)`` takes to `away`; NaN where nothing is."""
    matrix, away = _same(matrix, away)
    turned = matrix.transpose(2, 0, 1)
    # Chains are made of rotations and scales near 1; only what is no number can be flat.
    with np.errstate(all="ignore"):
        size = np.abs(np.linalg.det(turned))
    lost = ~(np.isfinite(turned).all(axis=(1, 2)) & (size > 1e-200) & np.isfinite(size))
    if lost.any():
        turned, away = (
            np.where(lost[:, None, None], np.eye(3), turned),
            np.where(lost, np.nan, away),
        )
    found = np.linalg.solve(turned, away.T[..., None])
    return np.asarray(found[..., 0].T)
