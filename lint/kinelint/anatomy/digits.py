"""The hand beyond the wrist: which chain is which finger."""

from __future__ import annotations

import numpy as np

from kinelint.anatomy.draft import Draft
from kinelint.anatomy.parts import FINGERS

_METACARPAL = {"palm", "metacarpal"}


def assign_hand(draft: Draft, wrist: int, hand: str, structure: float) -> None:
    """Fingers by name where names speak of them, else by the shape of the hand."""
    side = hand.removesuffix("hand")
    chains = _chains(draft, wrist)
    named = {i: _finger_named(draft, chain) for i, chain in enumerate(chains)}
    if not any(named.values()) and len(chains) >= 4:
        named = _by_shape(draft, wrist, chains)
    for i, chain in enumerate(chains):
        finger = named.get(i)
        if finger:
            _number(draft, chain, f"{side}{finger}", structure)
    _palm(draft, wrist, hand, structure, len(chains))


def _chains(draft: Draft, wrist: int) -> list[list[int]]:
    """The unbranched chains that end the hand, each from where it parts from the others."""
    chains = []
    roots = [wrist, *_beside(draft, wrist)]
    for joint in [one for root in roots for one in draft.tree.subtrees[root]]:
        if joint == wrist or draft.bodies(joint) or draft.is_end(joint):
            continue
        if draft.readings[joint].is_control:
            continue
        chain = [joint]
        while True:
            parent = int(draft.tree.skeleton.parents[chain[0]])
            alone = len(draft.bodies(parent)) == 1
            says = _in_finger(draft, parent) or not _says_finger(draft, chain[0])
            if parent == wrist or chain[0] in roots or not alone or not says:
                break
            chain.insert(0, parent)
        chains.append(chain)
    return chains


def _in_finger(draft: Draft, joint: int) -> bool:
    return bool(_says_finger(draft, joint) or _METACARPAL & set(draft.readings[joint].words))


def _beside(draft: Draft, wrist: int) -> list[int]:
    """Metacarpals that hang from the forearm in the same place as the hand."""
    tree = draft.tree
    forearm = int(tree.skeleton.parents[wrist])
    if forearm < 0:
        return []
    near = 0.3 * tree.lengths[wrist]
    return [
        joint
        for joint in draft.bodies(forearm)
        if joint != wrist and tree.apart(joint, wrist) <= near and draft.bodies(joint)
    ]


def _says_finger(draft: Draft, joint: int) -> str:
    best = draft.readings[joint].best
    return best if best in FINGERS else ""


def _finger_named(draft: Draft, chain: list[int]) -> str:
    said = [name for name in (_says_finger(draft, joint) for joint in chain) if name]
    return max(set(said), key=said.count) if said else ""


def _by_shape(draft: Draft, wrist: int, chains: list[list[int]]) -> dict[int, str]:
    """The thumb parts from the others nearest the wrist; the rest follow in a row from it."""
    p = draft.tree.rest
    # Three phalanges from the end is the knuckle, whatever stands before it.
    bases = np.array([p[chain[max(len(chain) - 3, 0)]] - p[wrist] for chain in chains])
    ends = np.array([p[_last(draft, chain)] - p[wrist] for chain in chains])
    ahead = ends.mean(axis=0)
    along = ends @ ahead / np.linalg.norm(ahead)
    thumb = int(np.argmin(along))
    others = [i for i in range(len(chains)) if i != thumb]
    away = [float(np.linalg.norm(bases[i] - bases[thumb])) for i in others]
    row = [i for _, i in sorted(zip(away, others, strict=True))]
    return {thumb: "thumb", **dict(zip(row, FINGERS[1:], strict=False))}


def _last(draft: Draft, chain: list[int]) -> int:
    end = draft.ending(chain[-1])
    return chain[-1] if end is None else end


def _number(draft: Draft, chain: list[int], finger: str, structure: float) -> None:
    """Numbers from the knuckle on; a metacarpal is 0. A thumb's metacarpal joint is its first."""
    chain = _without_connectors(draft, chain)
    words = draft.readings[chain[0]].words
    number = draft.readings[chain[0]].number
    metacarpal = len(chain) >= 4 or bool(_METACARPAL & set(words)) or number == 0
    start = 0 if metacarpal and not finger.endswith("thumb") else 1
    for i, joint in enumerate(chain):
        part = f"{finger}_{min(start + i, 3)}"
        draft.take(joint, part, 0.8 * structure, "in the order of the finger's joints")
    draft.tip(f"{finger}_{min(start + len(chain) - 1, 3)}", draft.ending(chain[-1]))


def _without_connectors(draft: Draft, chain: list[int]) -> list[int]:
    kept = []
    for i, joint in enumerate(chain):
        mine = draft.readings[joint]
        after = draft.readings[chain[i + 1]] if i + 1 < len(chain) else None
        if after and mine.words and (mine.words, mine.number) == (after.words, after.number):
            continue
        still = draft.tree.has_motion and not draft.tree.turns[joint]
        if i == 0 and len(chain) > 3 and still and not mine.kinds:
            continue
        kept.append(joint)
    return kept


def _palm(draft: Draft, wrist: int, hand: str, structure: float, chains: int) -> None:
    """Joints of the hand between wrist and fingers, and the hand's end where it has no fingers."""
    chain = [wrist]
    while True:
        onward = [one for one in draft.bodies(chain[-1]) if one not in draft.taken]
        if len(onward) != 1:
            break
        chain.append(onward[0])
    for joint in chain[1:]:
        draft.take(joint, hand, 0.8 * structure, "beyond the wrist")
    draft.tip(hand, draft.ending(chain[-1]))
