"""Left and right: from names, and from which way feet and knees point."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.limbs import Pair
from kinelint.anatomy.structure import Plan, furthest, middle
from kinelint.anatomy.tree import Tree, cosine
from kinelint.anatomy.words import Reading
from kinelint.kinematics.arrays import Floats


@dataclass(frozen=True, slots=True)
class Sides:
    """Whether limb `a` of a pair is the left one; how sure that is; what speaks against it."""

    legs_a_left: bool
    arms_a_left: bool
    confidence: float
    notes: tuple[str, ...] = ()


def find_sides(
    tree: Tree, readings: Sequence[Reading], plan: Plan, declared: bool = False
) -> Sides:
    """Names decide where they are clear; geometry decides otherwise, and is always asked.

    With `declared`, a standard already says that limbs `a` are the left ones.
    """
    order, seen = _order(tree, plan), _facing(tree, plan)
    same = order >= 0
    legs, arms = (
        1.0 if declared else _named(tree, readings, pair) for pair in (plan.legs, plan.arms)
    )
    if abs(legs) < 0.5 and abs(arms) < 0.5:
        left = seen >= 0
        note = () if abs(seen) > 0.25 else ("left and right could not be told apart for sure",)
        return Sides(left, left == same, 0.5 + 0.45 * min(abs(seen), 1.0), note)
    legs_left = legs > 0 if abs(legs) >= 0.5 else (arms > 0) == same
    arms_left = arms > 0 if abs(arms) >= 0.5 else legs_left == same
    notes = []
    confidence = 1.0
    if (legs_left == arms_left) != same and abs(order) > 0.3:
        notes.append("the names put left arm and left leg on opposite sides of the body")
        confidence = 0.4
    elif seen and (seen > 0) != legs_left and abs(seen) > 0.35:
        notes.append(
            "feet and knees point as if left and right were exchanged in the names: "
            "the names were followed"
        )
        confidence = 0.5
    return Sides(legs_left, arms_left, confidence, tuple(notes))


def _named(tree: Tree, readings: Sequence[Reading], pair: Pair) -> float:
    """1 if all names say that `a` is left, -1 if all say right, 0 if none says anything."""
    votes = []
    for limb, sign in ((pair.a, 1), (pair.b, -1)):
        for joint in tree.subtrees[limb.joints[0]]:
            side = readings[joint].side
            votes += [sign if side == "left" else -sign] if side else []
    return float(np.mean(votes)) if votes else 0.0


def _order(tree: Tree, plan: Plan) -> float:
    """Cosine of the lines across hips and shoulders: positive if arm `a` is on leg `a`'s side.

    Of poses and rest pose the one that speaks more for the same side: single poses of a bad solve
    may cross the shoulders.
    """
    found = []
    for positions in (tree.poses, tree.rest[:, :, None]):
        hips = positions[plan.legs.a.joints[0]] - positions[plan.legs.b.joints[0]]
        shoulders = positions[plan.arms.a.joints[0]] - positions[plan.arms.b.joints[0]]
        found.append(float(np.median(cosine(hips, shoulders))))
    return found[0] if tree.has_motion else max(found, key=abs)


def _facing(tree: Tree, plan: Plan) -> float:
    """In [-1, 1]: positive if leg `a` is the left one by the way that feet and knees point."""
    a, b = plan.legs.a.joints, plan.legs.b.joints
    p = tree.poses
    across = _unit(p[a[0]] - p[b[0]])
    shoulders = middle(p, plan.arms.a.joints[0], plan.arms.b.joints[0])
    up = _unit(shoulders - middle(p, a[0], b[0]))
    votes = 0.0
    for hip, knee, ankle in (a, b):
        shank = np.linalg.norm(p[knee] - p[ankle], axis=0)
        if not np.all(shank > 0):
            return 0.0
        end = furthest(tree, ankle)
        bent = p[knee] - (p[hip] + p[ankle]) / 2
        for forward, weight in ((p[end] - p[ankle], 1.0), (bent, 0.7)):
            left = np.cross(_unit(p[knee] - p[ankle] + 1e-9 * up), forward / shank, axis=0)
            turned = np.sum(left * across, axis=0) + np.sum(
                np.cross(up, forward / shank, axis=0) * across, axis=0
            )
            votes += weight * float(np.median(turned))
    return float(np.tanh(4.0 * votes))


def _unit(v: Floats) -> Floats:
    length = np.linalg.norm(v, axis=0)
    return np.asarray(v / np.where(length > 0, length, 1.0))
