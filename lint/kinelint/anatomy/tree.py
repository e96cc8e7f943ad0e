"""Paths and lengths in a skeleton: what identification asks of a tree of joints in poses."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from kinelint.clip import Clip, Skeleton
from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.kinematics.forward import forward, forward_scaled


def rest_positions(skeleton: Skeleton) -> Floats:
    """``(joints, 3)`` of all joints in the rest pose, file axes and units."""
    none, empty = np.empty(0, dtype=np.intp), np.empty((0, 3, 1))
    rotations = skeleton.rest_rotations[:, :, None]
    moved = (skeleton.parents, rotations, skeleton.rest_translations, none, empty)
    if np.all(skeleton.rest_scales == 1.0):
        return forward(*moved)[0][:, :, 0]
    return forward_scaled(*moved, skeleton.rest_scales, none, empty)[0][:, :, 0]


def at_frames(clip: Clip, frames: Ints) -> Clip:
    """The clip at some of its frames only: for statistics, its times no longer mean anything."""
    return replace(
        clip,
        rotations=clip.rotations[..., frames],
        translations=clip.translations[..., frames] if len(clip.translated) else clip.translations,
        scales=clip.scales[..., frames] if len(clip.scaled) else clip.scales,
        weights=np.empty((0, 0)),
        weight_names=(),
        source=replace(clip.source, frame_lines=None),
    )


def positions(clip: Clip) -> Floats:
    """``(joints, 3, frames)`` of all joints, file axes and units."""
    return placed(clip)[0]


def placed(clip: Clip) -> tuple[Floats, Floats]:
    """Positions as above, and orientations ``(joints, 4, frames)``."""
    skeleton = clip.skeleton
    offsets = skeleton.rest_translations
    moved = (skeleton.parents, clip.rotations, offsets, clip.translated, clip.translations)
    if not clip.is_scaled:
        return forward(*moved)
    return forward_scaled(*moved, skeleton.rest_scales, clip.scaled, clip.scales)


@dataclass(frozen=True, eq=False)
class Tree:
    """A skeleton with some poses of it.

    Attributes:
        skeleton: the joints.
        rest: ``(joints, 3)`` positions in the rest pose.
        poses: ``(joints, 3, poses)`` positions in poses of a clip, else the rest pose alone.
        turns: ``(joints,)`` whether the joint's own rotation changes over the poses.
        has_motion: whether `poses` come from a clip.
    """

    skeleton: Skeleton
    rest: Floats
    poses: Floats
    turns: Bools
    has_motion: bool
    _apart: dict[int, list[float]] = field(default_factory=dict, repr=False)

    @staticmethod
    def of(skeleton: Skeleton, clip: Clip | None = None, poses: int = 32) -> Tree:
        """From a skeleton, and up to `poses` frames of a clip, spread evenly."""
        rest = rest_positions(skeleton)
        if clip is None or clip.frames < 2:
            turns = np.ones(len(skeleton), dtype=np.bool_)
            return Tree(skeleton, rest, rest[:, :, None], turns, False)
        # Frame 0 may be a reference pose.
        chosen = np.unique(np.linspace(1, clip.frames - 1, poses).round().astype(np.intp))
        some = at_frames(clip, chosen)
        first = some.rotations[:, :, :1]
        same = np.abs(np.sum(some.rotations * first, axis=1))
        turns = np.any(same < np.cos(np.radians(0.25)), axis=1)
        return Tree(skeleton, rest, positions(some), turns, bool(turns.any()))

    @cached_property
    def lengths(self) -> Floats:
        """``(joints,)`` median distance from the parent over the poses; 0 for roots."""
        parents = self.skeleton.parents
        apart = self.poses - self.poses[np.maximum(parents, 0)]
        middle = np.median(np.linalg.norm(apart, axis=1), axis=1)
        return np.asarray(np.where(parents < 0, 0.0, middle))

    @cached_property
    def subtrees(self) -> tuple[tuple[int, ...], ...]:
        """Each joint with all below it."""
        below: list[list[int]] = [[joint] for joint in range(len(self.skeleton))]
        for joint in range(len(self.skeleton) - 1, -1, -1):
            parent = int(self.skeleton.parents[joint])
            if parent >= 0:
                below[parent].extend(below[joint])
        return tuple(tuple(sorted(one)) for one in below)

    @cached_property
    def reach(self) -> Floats:
        """``(joints,)`` longest way from the joint down to an end of its subtree."""
        reach = np.zeros(len(self.skeleton))
        for joint in range(len(self.skeleton) - 1, -1, -1):
            parent = int(self.skeleton.parents[joint])
            if parent >= 0:
                reach[parent] = max(reach[parent], reach[joint] + self.lengths[joint])
        return reach

    @cached_property
    def _ancestors(self) -> tuple[tuple[int, ...], ...]:
        lines: list[tuple[int, ...]] = []
        for joint, parent in enumerate(self.skeleton.parents.tolist()):
            lines.append((joint, *(lines[parent] if parent >= 0 else ())))
        return tuple(lines)

    @cached_property
    def _from_root(self) -> list[float]:
        ways: list[float] = []
        for joint, parent in enumerate(self.skeleton.parents.tolist()):
            ways.append(float(self.lengths[joint]) + (ways[parent] if parent >= 0 else 0.0))
        return ways

    @cached_property
    def straight(self) -> Bools:
        """``(joints,)`` whether the way from the grandparent to a joint goes on in one line."""
        parents = self.skeleton.parents
        step = self.poses - self.poses[np.maximum(parents, 0)]
        before = step[np.maximum(parents, 0)]
        dots = np.sum(step * before, axis=1)
        sizes = np.linalg.norm(step, axis=1) * np.linalg.norm(before, axis=1)
        return np.asarray(np.median(dots - 0.97 * sizes, axis=1) >= 0)

    def ancestors(self, joint: int) -> tuple[int, ...]:
        """The joint, its parent, and so on to the root."""
        return self._ancestors[joint]

    def meeting(self, *joints: int) -> int:
        """The nearest common ancestor; -1 if the joints hang from different roots."""
        lines = [set(self.ancestors(joint)) for joint in joints[1:]]
        common = (one for one in self.ancestors(joints[0]) if all(one in line for line in lines))
        return next(common, -1)

    def down(self, top: int, bottom: int) -> list[int]:
        """From `top` to its descendant `bottom`, both included; empty if it is none."""
        line = self.ancestors(bottom)
        return list(line[: line.index(top) + 1][::-1]) if top in line else []

    def way(self, top: int, bottom: int) -> float:
        """Length of the way down from `top` to its descendant `bottom`."""
        return self._from_root[bottom] - self._from_root[top]

    def apart(self, a: int, b: int) -> float:
        """Median distance of two joints over the poses."""
        if a not in self._apart and b in self._apart:
            return self._apart[b][a]
        if a not in self._apart:
            away = np.sqrt(np.sum(np.square(self.poses - self.poses[a]), axis=1))
            self._apart[a] = np.median(away, axis=1).tolist()
        return self._apart[a][b]


def cosine(a: Floats, b: Floats) -> Floats:
    """``(poses,)`` cosine of the angle between vectors ``(3, poses)``; 0 where one is zero."""
    length = np.linalg.norm(a, axis=0) * np.linalg.norm(b, axis=0)
    return np.asarray(np.sum(a * b, axis=0) / np.where(length > 0, length, 1.0))
