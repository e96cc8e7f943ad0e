"""Which joint of a clip's skeleton is which of the reference's."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from kinelint.clip import Skeleton
from kinelint.kinematics.arrays import Floats

# What a renamed joint's place may be off by, as a share of the skeleton's size.
_SAME_PLACE = 0.02


def bare(name: str) -> str:
    """A joint's name without the namespace before a colon or a bar."""
    return name.rsplit(":", 1)[-1].rsplit("|", 1)[-1]


@dataclass(frozen=True)
class Pairs:
    """Joints of both skeletons, as indices.

    Attributes:
        same: clip's joint to the reference's, of one name.
        renamed: the same of those that hang and stand alike under other names.
        missing: of the reference, without the ends of chains.
        extra: of the clip, without them.
    """

    same: dict[int, int]
    renamed: dict[int, int]
    missing: tuple[int, ...]
    extra: tuple[int, ...]


def paired(clip: Skeleton, reference: Skeleton, clip_m: Floats, reference_m: Floats) -> Pairs:
    """By bare name where it is the only one of both, then by path; the rest by their place.

    Args:
        clip: the clip's skeleton.
        reference: the project's.
        clip_m: ``(joints, 3)`` rest offsets, in the size of the reference.
        reference_m: the same of the reference.
    """
    same = _by_key(_names(clip), _names(reference))
    mine = {j: path for j, path in _paths(clip).items() if j not in same}
    taken = set(same.values())
    theirs = {j: path for j, path in _paths(reference).items() if j not in taken}
    same |= _by_key(mine, theirs)
    taken = set(same.values())
    extra = [j for j in range(len(clip)) if j not in same and not clip.tips[j]]
    missing = [j for j in range(len(reference)) if j not in taken and not reference.tips[j]]
    renamed: dict[int, int] = {}
    near_m = _SAME_PLACE * float(np.abs(reference_m).max(initial=0.0))
    for joint in extra:
        parent = int(clip.parents[joint])
        above = same.get(parent, renamed.get(parent, -2)) if parent >= 0 else -1
        for other in missing:
            beside = int(reference.parents[other]) == above and other not in renamed.values()
            off_m = np.linalg.norm(clip_m[joint] - reference_m[other])
            if beside and (above == -1 or off_m <= near_m):
                renamed[joint] = other
                break
    # Joints without a name, or with one that several bear, are told apart by their place alone.
    alike = {a for a, b in renamed.items() if bare(clip.names[a]) == bare(reference.names[b])}
    return Pairs(
        {**same, **{a: renamed[a] for a in alike}},
        {a: b for a, b in renamed.items() if a not in alike},
        tuple(one for one in missing if one not in renamed.values()),
        tuple(one for one in extra if one not in renamed),
    )


def _names(skeleton: Skeleton) -> dict[int, str]:
    return {joint: bare(name) for joint, name in enumerate(skeleton.names) if name}


def _paths(skeleton: Skeleton) -> dict[int, str]:
    """Bare names from the root on."""
    paths: dict[int, str] = {}
    for joint, parent in enumerate(skeleton.parents.tolist()):
        name = bare(skeleton.names[joint])
        paths[joint] = f"{paths[parent]}/{name}" if parent >= 0 else name
    return paths


def _by_key(mine: dict[int, str], theirs: dict[int, str]) -> dict[int, int]:
    """Joints whose key is the only one of its kind on both sides."""
    found: dict[str, tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
    for side, keys in enumerate((mine, theirs)):
        for joint, key in keys.items():
            found[key][side].append(joint)
    return {a[0]: b[0] for a, b in found.values() if len(a) == len(b) == 1}
