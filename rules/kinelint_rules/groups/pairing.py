"""Which joint of one clip answers to which of another, and whether the two bodies are one build."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.parts import DIGITS, label, mirrored
from kinelint.errors import NotApplicable
from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.motion import Motion

# Lengths of one build are this near: rounding of exporters, not another person.
_SAME_SHARE, _SAME_M = 0.03, 0.005


@dataclass(frozen=True, eq=False)
class Pairs:
    """Joints of two clips that answer to each other.

    Attributes:
        first, second: ``(m,)`` joints.
        parts: what each is in the second clip: its part, or its name where none was recognised.
        large: ``(m,)`` false for fingers, which must not steer an alignment.
        alone: parts that only one of the two has.
    """

    first: Ints
    second: Ints
    parts: tuple[str, ...]
    large: Bools
    alone: tuple[str, ...]


def pairs(first: Motion, second: Motion, mirror: bool = False) -> Pairs:
    """Joints by their part; by their name where neither skeleton has any parts.

    Args:
        first: one clip.
        second: the other.
        mirror: left of the first answers to right of the second.

    Raises:
        NotApplicable: the two have nothing in common.
    """
    one, other = _named(first), _named(second)
    if not one and not other:
        one, other = _by_name(first), _by_name(second)
    answer = {mirrored(name) if mirror else name: joints for name, joints in one.items()}
    both = [name for name in other if name in answer]
    rows = [(a, b, name) for name in both for a, b in _matched(answer[name], other[name])]
    if not rows:
        raise NotApplicable("no joint of the one skeleton was recognised in the other")
    rows.sort(key=lambda row: row[1])
    names = tuple(name for _, _, name in rows)
    return Pairs(
        np.array([a for a, _, _ in rows], dtype=np.intp),
        np.array([b for _, b, _ in rows], dtype=np.intp),
        names,
        np.array([not name.endswith(DIGITS) for name in names], np.bool_),
        tuple(sorted(set(answer) ^ set(other))),
    )


def _named(motion: Motion) -> dict[str, tuple[int, ...]]:
    only = motion.cue.only_parts
    return {
        part: joints
        for part, joints in motion.figure.anatomy.joints.items()
        if motion.has(part) and (not only or part in only)
    }


def _by_name(motion: Motion) -> dict[str, tuple[int, ...]]:
    return {name: (joint,) for joint, name in enumerate(motion.clip.skeleton.names) if name}


def _matched(one: tuple[int, ...], other: tuple[int, ...]) -> list[tuple[int, int]]:
    """All joints of a part where both have as many, else the first of each."""
    if len(one) != len(other):
        return [(one[0], other[0])]
    return list(zip(one, other, strict=True))


def refuse_other_builds(first: Motion, second: Motion, found: Pairs) -> None:
    """Poses of two builds cannot be laid over each other joint by joint.

    What a joint rests at, in its parent's axes, tells lengths and axes at once, and does not
    hang on the rest pose.

    Raises:
        NotApplicable: the skeletons differ, and where.
    """
    rows = [row for row in range(len(found.first)) if _inner(first, second, found, row)]
    if not rows:
        return
    one = _rest_m(first)[found.first[rows]]
    other = _rest_m(second)[found.second[rows]]
    off = np.linalg.norm(one - other, axis=1)
    length = np.linalg.norm(other, axis=1)
    over = off - np.maximum(_SAME_SHARE * length, _SAME_M)
    worst = int(np.argmax(over))
    if over[worst] > 0.0:
        raise NotApplicable(
            f"the two skeletons differ: the {label(found.parts[rows[worst]])} rests "
            f"{1000.0 * off[worst]:.0f} mm from where the other has it"
        )


def _inner(first: Motion, second: Motion, found: Pairs, row: int) -> bool:
    """Whether the pair hangs from a pair: joints between could be cut in another way."""
    above = first.clip.skeleton.parents[found.first[row]]
    other = second.clip.skeleton.parents[found.second[row]]
    hits = np.flatnonzero(found.first == above)
    return bool(len(hits)) and int(found.second[hits[0]]) == int(other)


def _rest_m(motion: Motion) -> Floats:
    rest: Floats = motion.clip.skeleton.rest_translations * motion.figure.metres_per_unit
    return rest


def frame_named(motion: Motion, frame: int) -> int:
    """A frame as the file counts it: what was cut off at the head counts too."""
    return frame + motion.clip.frame_offset


def listed(parts: tuple[str, ...]) -> str:
    """Parts for people."""
    names = [f"the {label(part)}" for part in parts]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
