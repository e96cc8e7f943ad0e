"""The plan of a body: which pair of limbs are the legs, which the arms, and whether it is one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kinelint.anatomy.limbs import ARM, LEG, Limb, Pair, find_pairs, odds
from kinelint.anatomy.tree import Tree, cosine
from kinelint.anatomy.words import Reading
from kinelint.kinematics.arrays import Floats

# ln(leg / arm) of joint-centre lengths: de Leva 1996, .4954 H / .3163 H. ln(trunk / leg): mid hip
# to mid shoulder .2961 H / .4954 H. Spreads wide for stylised figures (common practice).
_LEG_TO_ARM = (0.45, 0.4)
_TRUNK_TO_LEG = (-0.5, 0.5)
# The most that `_score` adds to the scores of two pairs: what `_upright` can.
_MOST_FOR_SHAPE = 2.7


@dataclass(frozen=True, slots=True)
class Plan:
    """Legs and arms of a body; `plausible` in [0, 1] says how like a human's they are."""

    legs: Pair
    arms: Pair
    score: float
    plausible: float


def find_plan(tree: Tree, readings: Sequence[Reading]) -> Plan | None:
    """The likeliest plan of a human body; None if no two pairs of limbs make one."""
    legs = find_pairs(tree, readings, LEG)
    arms = find_pairs(tree, readings, ARM)
    scored = _promising(tree, legs, arms)
    best = _best(tree, sorted(scored, key=lambda one: -round(one[0], 2)))
    if best is None:
        return None
    a, b = (_central_hand(tree, readings, limb) for limb in (best.arms.a, best.arms.b))
    return replace(best, arms=replace(best.arms, a=a, b=b))


def _promising(
    tree: Tree, legs: Sequence[Pair], arms: Sequence[Pair]
) -> list[tuple[float, Pair, Pair]]:
    """Legs with arms and their score, without those that a better plan rules out already."""
    largest = max((pair.length for pair in (*legs, *arms)), default=0.0)
    ends = {id(pair): _end_score(tree, pair, True) for pair in legs}
    ends |= {id(pair): _end_score(tree, pair, False) for pair in arms}
    own = [
        (leg.score + arm.score + ends[id(leg)] + ends[id(arm)], leg, arm)
        for leg in legs
        for arm in arms
    ]
    found: list[tuple[int, float, Pair, Pair]] = []
    sure = -math.inf
    for number in sorted(range(len(own)), key=lambda one: -own[one][0]):
        rough, leg, arm = own[number]
        if rough + _MOST_FOR_SHAPE < sure - 0.05:
            break
        score = _score(tree, leg, arm, largest)
        if score is None:
            continue
        score += ends[id(leg)] + ends[id(arm)]
        found.append((number, score, leg, arm))
        if score > sure:
            sure = max(sure, score + _opposed(tree, leg, arm))
    return [(score, leg, arm) for _, score, leg, arm in sorted(found, key=lambda one: one[0])]


def _central_hand(tree: Tree, readings: Sequence[Reading], limb: Limb) -> Limb:
    """Of metacarpals that stand in one place at the wrist, the middle finger's or the first.

    Which of them scored best would depend on how the fingers are held.
    """
    hand = limb.joints[2]
    parent = int(tree.skeleton.parents[hand])
    here = [
        joint
        for joint in (tree.skeleton.children[parent] if parent >= 0 else (hand,))
        if tree.skeleton.children[joint]
        and not readings[joint].is_control
        and tree.apart(joint, hand) < 0.02 * limb.far
    ]
    if hand not in here:
        return limb
    central = [
        joint
        for joint in here
        if any(readings[one].best == "middle" for one in tree.subtrees[joint])
    ]
    return replace(limb, joints=(*limb.joints[:2], (central or here)[0]))


def _best(tree: Tree, scored: Sequence[tuple[float, Pair, Pair]]) -> Plan | None:
    """The best once the costly question has been asked, which can only lower a score."""
    best: Plan | None = None
    for score, legs, arms in scored:
        if best is not None and score <= best.score:
            break
        score += _opposed(tree, legs, arms)
        if best is None or round(score - best.score, 2) > 0:
            best = Plan(legs, arms, score, 1 / (1 + math.exp(-(score + 5.0))))
    return best


def _score(tree: Tree, legs: Pair, arms: Pair, largest: float) -> float | None:
    """How like a body two pairs are; None if they cannot belong to one."""
    if legs.hub == arms.hub or legs.joints() & arms.joints():
        return None
    meeting = tree.meeting(legs.hub, arms.hub)
    if meeting < 0 or _inside(tree, legs, arms.hub) or _inside(tree, arms, legs.hub):
        return None
    trunk = tree.way(meeting, legs.hub) + tree.way(meeting, arms.hub)
    if trunk <= 0:
        return None
    ratio = math.log(legs.length / arms.length)
    score = legs.score + arms.score
    shape = odds(ratio, *_LEG_TO_ARM) + odds(math.log(trunk / legs.length), *_TRUNK_TO_LEG)
    score += shape + 2.0 * math.log((legs.length + arms.length) / (2 * largest))
    return score + _upright(tree, legs, arms, meeting)


def _inside(tree: Tree, pair: Pair, joint: int) -> bool:
    """Whether a joint hangs from one of the pair's limbs."""
    return any(joint in tree.subtrees[limb.joints[0]] for limb in (pair.a, pair.b))


def _upright(tree: Tree, legs: Pair, arms: Pair, meeting: int) -> float:
    """What tells legs from arms: the root near the legs, a head above the arms, fingers, feet."""
    score = 1.5 if len(tree.down(meeting, legs.hub)) <= 2 else 0.0
    score += 1.2 if _third_chain(tree, arms, legs.hub) else 0.0
    score -= 0.8 if _third_chain(tree, legs, arms.hub) else 0.0
    return score


def _end_score(tree: Tree, pair: Pair, as_legs: bool) -> float:
    """What stands at the ends of a pair: hands divide into fingers, feet stand across."""
    divided = all(_branches(tree, limb.joints[2]) for limb in (pair.a, pair.b))
    feet = _feet(tree, pair, wanted=as_legs)
    return feet - 0.5 * divided if as_legs else 0.5 * divided - feet


def _opposed(tree: Tree, legs: Pair, arms: Pair) -> float:
    """Legs hang away from the trunk in the rest pose, or else in most poses of the motion."""
    angles = []
    for positions in (tree.rest[:, :, None], tree.poses):
        hip = middle(positions, legs.a.joints[0], legs.b.joints[0])
        trunk = middle(positions, arms.a.joints[0], arms.b.joints[0]) - hip
        leg = middle(positions, legs.a.joints[2], legs.b.joints[2]) - hip
        angles.append(float(np.median(cosine(trunk, leg))))
    return -2.0 * max(min(angles) + 0.5, 0.0)


def _third_chain(tree: Tree, pair: Pair, other_hub: int) -> bool:
    """Whether the pair's hub carries one more chain of some length, as thorax carries a head."""
    used = {*tree.subtrees[pair.a.joints[0]], *tree.subtrees[pair.b.joints[0]]}
    for child in tree.skeleton.children[pair.hub]:
        below = tree.subtrees[child]
        if other_hub in below or used & set(below):
            continue
        if tree.reach[child] + tree.lengths[child] > 0.08 * pair.length:
            return True
    return False


def _branches(tree: Tree, joint: int) -> bool:
    """Whether the subtree divides into two or more chains, as a hand does."""
    return any(len(tree.skeleton.children[one]) > 1 for one in tree.subtrees[joint])


def _feet(tree: Tree, pair: Pair, wanted: bool) -> float:
    """Positive if the part beyond the limb stands across it, as a foot on a shank."""
    scores = []
    for limb in (pair.a, pair.b):
        end = furthest(tree, limb.joints[2])
        if end == limb.joints[2]:
            scores.append(-0.8 if wanted else -0.3)
            continue
        shank = tree.poses[limb.joints[2]] - tree.poses[limb.joints[1]]
        foot = tree.poses[end] - tree.poses[limb.joints[2]]
        in_line = float(np.median(cosine(shank, foot)))
        scores.append(0.8 - 1.2 * min(max((in_line - 0.5) / 0.4, 0.0), 1.0))
    return float(np.mean(scores))


def furthest(tree: Tree, joint: int) -> int:
    """The point below a joint that is furthest from it."""
    return max(tree.subtrees[joint], key=lambda one: tree.apart(joint, one))


def middle(positions: Floats, a: int, b: int) -> Floats:
    """Halfway between two joints."""
    return np.asarray((positions[a] + positions[b]) / 2)


def four_legged(tree: Tree, plan: Plan) -> bool:
    """Whether trunk and limbs stand to each other as a quadruped's, at rest and in motion.

    A standing person's trunk points away from the legs, and the hands end above the knees unless
    they reach for the ground. Someone who crawls through a whole clip still rests upright.
    """
    if not _on_all_fours(tree, plan):
        return False
    hip, down, shoulder, _ = _stance(tree.poses, plan)
    return not (tree.has_motion and np.median(cosine(shoulder - hip, down)) < -0.6)


def _on_all_fours(tree: Tree, plan: Plan) -> bool:
    """In the rest pose: the trunk lies across the legs, the arms hang beside them as deep."""
    hip, down, shoulder, wrist = _stance(tree.rest[:, :, None], plan)
    level = abs(float(cosine(shoulder - hip, down)[0]))
    alike = float(cosine(wrist - shoulder, down)[0])
    # Legs of no length have no side: such a figure stands on nothing.
    reach = float(np.sum((wrist - hip) * down) / max(np.sum(down * down), 1e-30))
    return level < 0.6 and alike > 0.7 and reach > 0.6


def _stance(positions: Floats, plan: Plan) -> tuple[Floats, Floats, Floats, Floats]:
    """Middle of the hips, the way from there to the ankles, middle of shoulders, of wrists."""
    hip = middle(positions, plan.legs.a.joints[0], plan.legs.b.joints[0])
    ankle = middle(positions, plan.legs.a.joints[2], plan.legs.b.joints[2])
    shoulder = middle(positions, plan.arms.a.joints[0], plan.arms.b.joints[0])
    wrist = middle(positions, plan.arms.a.joints[2], plan.arms.b.joints[2])
    return hip, ankle - hip, shoulder, wrist
