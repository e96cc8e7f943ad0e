"""Candidates for limbs: two long segments in a row, and a mirror image of them.

A limb is three joints down one way of the tree: hip, knee, ankle or shoulder, elbow, wrist.
Scores are log-likelihoods with heavy tails, so that one odd proportion of a stylised figure
costs little and many odd ones cost a lot.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from kinelint.anatomy.tree import Tree
from kinelint.anatomy.words import Reading

LEG = ("thigh", "shank", "foot")
ARM = ("upper_arm", "forearm", "hand")
# Mean and spread of ln(distal / proximal). Means from the joint-centre lengths of de Leva 1996
# (thigh .2425 H, shank .2529 H, upper arm .1618 H, forearm .1545 H); spreads are wide enough for
# stylised figures (common practice, no source).
_RATIO = {LEG: (0.04, 0.25), ARM: (-0.05, 0.30)}
# Least distance of the two sides over the limb's length, half of what people have: shoulder joints
# .24 H apart (ANSUR II biacromial breadth) on arms of .316 H, hip joints .1 H on legs of .495 H.
_APART = {LEG: 0.10, ARM: 0.36}
_KEPT = 14
# Bounds on the search, far beyond real bodies, so that odd skeletons do not take minutes.
_DEEPEST = 14
_BRANCHES = 12
_PER_HUB = 12
_PAIRS = 40


@dataclass(frozen=True, slots=True)
class Limb:
    """Proximal, middle and distal joint of a limb, with the lengths of its two segments."""

    joints: tuple[int, int, int]
    near: float
    far: float

    @property
    def length(self) -> float:
        """Of both segments."""
        return self.near + self.far


@dataclass(frozen=True, slots=True)
class Pair:
    """Two limbs, mirror images of each other, and the joint from which both hang.

    `mirrored` is how alike they are, in [0, 1]; `name_score` what their names add to `score`.
    """

    hub: int
    a: Limb
    b: Limb
    score: float
    name_score: float
    mirrored: float

    @property
    def length(self) -> float:
        """Mean length of the two limbs."""
        return (self.a.length + self.b.length) / 2

    def joints(self) -> set[int]:
        """All six joints."""
        return {*self.a.joints, *self.b.joints}


def odds(value: float, mean: float, spread: float, weight: float = 1.5) -> float:
    """Heavy-tailed log-likelihood of a value, 0 at the mean."""
    return -weight * math.log1p(((value - mean) / spread) ** 2 / 3)


def name_score(reading: Reading, kind: str) -> float:
    """What a name says for or against a joint being a kind of part."""
    if reading.is_control:
        return -2.5
    said = reading.says(kind)
    if said:
        return 2.0 * said - (1.5 if reading.is_end or reading.is_twist else 0.0)
    return -2.0 if reading.kinds else 0.0


def find_pairs(tree: Tree, readings: Sequence[Reading], roles: tuple[str, str, str]) -> list[Pair]:
    """Pairs of mirrored limbs that could play the roles, likeliest and largest first.

    Hair, cloth and fingers are mirrored too: limbs are the largest pairs of a body.
    """
    children = tree.skeleton.children

    @cache
    def below(child: int) -> tuple[tuple[float, Limb], ...]:
        return tuple(_limbs(tree, readings, child, roles))

    found: list[Pair] = []
    for hub, branches in enumerate(children):
        limbs = [below(child) for child in branches] if len(branches) > 1 else []
        limbs = sorted((one for one in limbs if one), key=_promise, reverse=True)[:_BRANCHES]
        here: list[Pair] = []
        for i, first in enumerate(limbs):
            for second in limbs[i + 1 :]:
                here.extend(_matched(tree, readings, hub, first, second, roles))
        found.extend(sorted(here, key=_size_and_score, reverse=True)[:_PER_HUB])
    return sorted(found, key=_size_and_score, reverse=True)[:_PAIRS]


def _promise(limbs: Sequence[tuple[float, Limb]]) -> float:
    """Of the best limb of a branch."""
    return max(score + 2.0 * math.log(limb.length) for score, limb in limbs)


def _size_and_score(pair: Pair) -> float:
    return round(pair.score + 2.0 * math.log(pair.length), 2)


def _limbs(
    tree: Tree, readings: Sequence[Reading], child: int, roles: tuple[str, str, str]
) -> list[tuple[float, Limb]]:
    """The likeliest limbs in the subtree of a hub's child, with their scores."""
    mean, spread = _RATIO[roles]
    found = []
    hub = int(tree.skeleton.parents[child])
    above = len(tree.ancestors(child)) - 1
    for distal in tree.subtrees[child]:
        # Counted first: in a tree of thousands of joints most ways are far too long.
        if not 3 <= len(tree.ancestors(distal)) - above <= _DEEPEST:
            continue
        line = tree.down(child, distal)
        foot = distal
        if tree.skeleton.tips[distal]:
            foot = _loose_foot(tree, hub, distal) if roles == LEG else -1
        if foot < 0:
            continue
        down = [tree.way(hub, joint) for joint in line]
        for i in range(len(line) - 2):
            for j in range(i + 1, len(line) - 1):
                near, far = down[j] - down[i], down[-1] - down[j]
                if near <= 0 or far <= 0 or not 0.3 < far / near < 3.3:
                    continue
                score = odds(math.log(far / near), mean, spread)
                offset = down[i] / (near + far)
                score += odds(max(offset - 0.45, 0.0), 0.0, 0.3)
                score += _between(tree, line, i, j) + _beyond(tree, foot, near + far)
                limb = Limb((line[i], line[j], foot), near, far)
                found.append((score, limb))
    named = [(score + _named(readings, limb, roles), score, limb) for score, limb in found]
    # Rounded, so that of joints in one place the first in the file wins, not the last digit.
    named.sort(key=lambda one: -round(one[0], 2))
    return [(score, limb) for score, _, limb in named[:_KEPT]]


def _loose_foot(tree: Tree, hub: int, tip: int) -> int:
    """A joint from elsewhere in the tree that stays at a chain's end point, as feet under IK do."""
    near = 0.35 * tree.lengths[tip]
    skeleton = tree.skeleton
    related = {*tree.subtrees[hub], *tree.ancestors(hub)}
    others = np.setdiff1d(np.flatnonzero(~skeleton.tips), list(related)).tolist()
    tree.apart(tip, tip)  # the distances of the tip serve all of them
    found = min(others, key=lambda joint: tree.apart(joint, tip), default=-1)
    return found if found >= 0 and tree.apart(found, tip) <= near else -1


def _named(readings: Sequence[Reading], limb: Limb, roles: tuple[str, str, str]) -> float:
    return sum(
        name_score(readings[joint], kind) for joint, kind in zip(limb.joints, roles, strict=True)
    )


def _between(tree: Tree, line: list[int], i: int, j: int) -> float:
    """Joints passed over inside a segment: twist joints are cheap, joints that bend are not."""
    cost = 0.0
    for k in (*range(i + 1, j), *range(j + 1, len(line) - 1)):
        if not tree.skeleton.tips[line[k]] and tree.lengths[line[k]] > 0:
            cost -= 0.9 if tree.turns[line[k]] else 0.2
            cost -= 0.0 if tree.straight[line[k + 1]] else 1.5
    # A joint in the same place as the one before it, further down, is the one that carries on.
    for k in (i, j, len(line) - 1):
        if k + 1 < len(line) and tree.lengths[line[k + 1]] <= 1e-6 * tree.reach[line[0]]:
            cost -= 0.3
    return cost


def _beyond(tree: Tree, distal: int, length: float) -> float:
    """A hand is some .34 of its arm, a foot some .35 of its leg (de Leva 1996): more is odd.

    Of several joints in one place those with a much longer chain are a little likelier.
    """
    rest = float(tree.reach[distal]) / length
    return odds(max(rest - 0.5, 0.0), 0.0, 0.25) + 0.2 * math.floor(5 * min(rest, 0.5)) / 5


def _matched(
    tree: Tree,
    readings: Sequence[Reading],
    hub: int,
    first: Sequence[tuple[float, Limb]],
    second: Sequence[tuple[float, Limb]],
    roles: tuple[str, str, str],
) -> list[Pair]:
    found = []
    for score_a, a in first:
        for score_b, b in second:
            near, far = abs(math.log(a.near / b.near)), abs(math.log(a.far / b.far))
            if near > 0.4 or far > 0.4:
                continue
            alike = odds(near, 0.0, 0.08, 0.8) + odds(far, 0.0, 0.08, 0.8)
            depth_a, depth_b = (len(tree.down(hub, limb.joints[2])) for limb in (a, b))
            alike -= 1.2 * abs(depth_a - depth_b)
            sides = _sides(readings, a, b)
            score = (score_a + score_b) / 2 + alike + sides + _between_sides(tree, a, b, roles)
            found.append(Pair(hub, a, b, score, sides, math.exp(-(near + far) * 4)))
    return found


def _between_sides(tree: Tree, a: Limb, b: Limb, roles: tuple[str, str, str]) -> float:
    """Hips and shoulders stand apart: joints that meet at the hub are not them."""
    least = _APART[roles]
    apart = tree.apart(a.joints[0], b.joints[0]) / (a.length + b.length) * 2
    return odds(max(least - apart, 0.0), 0.0, least / 3)


def _sides(readings: Sequence[Reading], a: Limb, b: Limb) -> float:
    """Names of a pair: opposite sides and otherwise the same words are expected."""
    score = 0.0
    for one, other in zip(a.joints, b.joints, strict=True):
        mine, its = readings[one], readings[other]
        sides = mine.side, its.side
        if all(sides):
            score += 0.3 if sides[0] != sides[1] else -1.0
        if mine.kinds and its.kinds and (mine.words, mine.number) != (its.words, its.number):
            score -= 0.8
    return score
