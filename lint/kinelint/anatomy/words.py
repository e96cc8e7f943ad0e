"""What the names of joints say about anatomy: general vocabulary, no product's list.

A name is split into words (at separators, digits, changes of case, and where lower-case words
are glued together), a prefix that all names share is dropped, and the anatomical words that
remain are evidence for kinds of part. Names alone decide nothing: structure may overrule them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

from kinelint.anatomy.parts import FINGERS

# A kind is a part without its side; "thumb", "index", … stand for the whole finger, "digit" for
# an unknown one, "face" and "animal" for what no part of ours covers.
_SIMPLE: dict[str, dict[str, float]] = {
    "pelvis": {"pelvis": 0.95},
    "hips": {"pelvis": 0.9},
    "sacrum": {"pelvis": 0.8},
    "sacroiliac": {"pelvis": 0.9},
    "waist": {"abdomen": 0.6, "pelvis": 0.4},
    "abdomen": {"abdomen": 0.95},
    "belly": {"abdomen": 0.8},
    "stomach": {"abdomen": 0.8},
    "lumbar": {"abdomen": 0.9},
    "spine": {"abdomen": 0.6, "thorax": 0.55},
    "back": {"abdomen": 0.6, "thorax": 0.55},
    "torso": {"thorax": 0.7, "abdomen": 0.5},
    "trunk": {"thorax": 0.6, "abdomen": 0.6},
    "chest": {"thorax": 0.95},
    "thorax": {"thorax": 0.95},
    "ribcage": {"thorax": 0.9},
    "ribs": {"thorax": 0.8},
    "sternum": {"thorax": 0.8},
    "neck": {"neck": 0.95},
    "cervical": {"neck": 0.8},
    "head": {"head": 0.95},
    "skull": {"head": 0.95},
    "cranium": {"head": 0.9},
    "clavicle": {"clavicle": 0.95},
    "collar": {"clavicle": 0.9},
    "collarbone": {"clavicle": 0.95},
    "scapula": {"clavicle": 0.85},
    "shoulder": {"clavicle": 0.6, "upper_arm": 0.55},
    "shldr": {"clavicle": 0.55, "upper_arm": 0.6},
    "arm": {"upper_arm": 0.7, "forearm": 0.25},
    "humerus": {"upper_arm": 0.95},
    "forearm": {"forearm": 0.95},
    "elbow": {"forearm": 0.9},
    "radius": {"forearm": 0.95},
    "ulna": {"forearm": 0.95},
    "hand": {"hand": 0.95},
    "wrist": {"hand": 0.9},
    "carpal": {"hand": 0.7},
    "palm": {"hand": 0.5, "digit": 0.3},
    "metacarpal": {"digit": 0.6},
    "knuckle": {"digit": 0.7},
    "finger": {"digit": 0.8},
    "fingers": {"digit": 0.8},
    "thumb": {"thumb": 0.95},
    "index": {"index": 0.9},
    "middle": {"middle": 0.85},
    "mid": {"middle": 0.7},
    "ring": {"ring": 0.85},
    "little": {"little": 0.8},
    "pinky": {"little": 0.95},
    "pinkie": {"little": 0.95},
    "buttock": {"pelvis": 0.4},
    "thigh": {"thigh": 0.95},
    "femur": {"thigh": 0.95},
    "leg": {"shank": 0.5, "thigh": 0.5},
    "knee": {"shank": 0.9},
    "shin": {"shank": 0.95},
    "calf": {"shank": 0.95},
    "shank": {"shank": 0.95},
    "tibia": {"shank": 0.95},
    "fibula": {"shank": 0.8},
    "foot": {"foot": 0.95},
    "feet": {"foot": 0.8},
    "ankle": {"foot": 0.95},
    "talus": {"foot": 0.8},
    "instep": {"foot": 0.7},
    "toe": {"toes": 0.95},
    "toes": {"toes": 0.95},
    "ball": {"toes": 0.8},
}
_FACE = frozenset(
    {"face", "eye", "eyes", "eyeball", "jaw", "tongue", "brow", "eyebrow", "lid", "eyelid"}
    | {"lip", "lips", "cheek", "mouth", "nose", "nostril", "ear", "ears", "teeth", "chin"}
    | {"hair", "beard"}
)
_ANIMAL = frozenset(
    {"tail", "wing", "wings", "fin", "paw", "hoof", "claw", "trotter", "snout", "beak", "mane"}
)
_UPPER = frozenset({"upper", "up", "proximal"})
_LOWER = frozenset({"lower", "low", "lo", "fore", "distal"})
_CONTROL = frozenset(
    {"ik", "control", "controller", "ctrl", "target", "pole", "helper", "slot", "socket"}
    | {"weapon", "prop", "attach", "attachment", "holster", "marker", "camera", "light"}
    | {"mesh", "geo"}
)
_TWIST = frozenset({"twist", "roll"})
_END = frozenset({"end", "tip", "top", "nub", "site", "effector"})
_SIDES = {"left": "left", "l": "left", "lft": "left", "right": "right", "r": "right", "rt": "right"}
_NEUTRAL = frozenset(
    {"joint", "bone", "base", "hip", "heel", "root", "body", "of", "the", "center", "centre"}
    | {"main", "left", "right", "intermediate"}
)

_GLUE = frozenset(_SIMPLE).union(_FACE, _ANIMAL, _UPPER, _LOWER, _CONTROL, _TWIST, _END, _NEUTRAL)
_PIECE = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+")


@dataclass(frozen=True, slots=True)
class Reading:
    """What one name says.

    Attributes:
        side: "left", "right" or "".
        kinds: kind of part to weight in [0, 1]; empty if the name says nothing of anatomy.
        number: the last number in the name.
        is_end, is_control, is_twist: words for a chain's end, for rigging, for twist joints.
        words: lower-case words without numbers and side.
    """

    side: str = ""
    kinds: dict[str, float] = field(default_factory=dict)
    number: int | None = None
    is_end: bool = False
    is_control: bool = False
    is_twist: bool = False
    words: tuple[str, ...] = ()

    def says(self, kind: str) -> float:
        """How much the name speaks for a kind, in [0, 1]."""
        return self.kinds.get(kind, 0.0)

    @property
    def best(self) -> str:
        """The kind the name speaks for most; "" if none."""
        return max(self.kinds, key=lambda kind: self.kinds[kind]) if self.kinds else ""


def read_names(names: Sequence[str]) -> tuple[Reading, ...]:
    """What each name says, after dropping the words that all names begin with."""
    split = [_words(name.rsplit(":", 1)[-1].rsplit("|", 1)[-1]) for name in names]
    spoken = [words for words in split if words]
    shared = 0
    if len(spoken) > 3:
        for column in zip(*spoken, strict=False):
            if len(set(column)) > 1 or column[0] in _SIDES:
                break
            shared += 1
    return tuple(_read(words[shared:] or words) for words in split)


def _words(name: str) -> list[str]:
    found: list[str] = []
    for piece in _PIECE.findall(name):
        found.extend([piece] if piece.isdigit() else _unglued(piece.lower()))
    return found


@lru_cache(maxsize=4096)
def _unglued(word: str) -> tuple[str, ...]:
    """Glued words apart: "upperleg" is ("upper", "leg"), "lfemur" ("l", "femur"), others whole."""
    if word in _GLUE or word in _SIDES:
        return (word,)
    parts = _segmented(word)
    if parts:
        return parts
    for side in ("l", "r"):
        for rest in (word[1:] if word[0] == side else "", word[:-1] if word[-1] == side else ""):
            inner = (rest,) if rest in _GLUE else _segmented(rest)
            if rest and inner:
                return (side, *inner)
    return (word,)


def _segmented(word: str) -> tuple[str, ...]:
    """The fewest known words that make up `word`; empty if none do."""
    best: list[tuple[str, ...] | None] = [()] + [None] * len(word)
    for stop in range(1, len(word) + 1):
        for start in range(max(0, stop - 12), stop):
            head, piece = best[start], word[start:stop]
            if head is not None and piece in _GLUE:
                current = best[stop]
                if current is None or len(head) + 1 < len(current):
                    best[stop] = (*head, piece)
    return best[-1] or ()


def _read(words: list[str]) -> Reading:
    numbers = [int(word) for word in words if word.isdigit()]
    letters = [word for word in words if not word.isdigit()]
    sides = [_SIDES[word] for word in letters if word in _SIDES]
    side = sides[0] if sides and len(set(sides)) == 1 else ""
    rest = tuple(word for word in letters if word not in _SIDES)
    return Reading(
        side=side,
        kinds=_kinds(rest, side),
        number=numbers[-1] if numbers else None,
        is_end=any(word in _END for word in rest),
        is_control=any(word in _CONTROL for word in rest),
        is_twist=any(word in _TWIST for word in rest),
        words=rest,
    )


def _kinds(words: tuple[str, ...], side: str) -> dict[str, float]:
    for finger in (*FINGERS, "little"):
        said = [word for word in words if _SIMPLE.get(word, {}).get(finger)]
        if said and not {"toe", "toes", "spine", "back"} & set(words):
            return dict(_SIMPLE[said[0]])
    if any(word in _FACE for word in words):
        return {"face": 0.9}
    if any(word in _ANIMAL for word in words):
        return {"animal": 0.9}
    if {"finger", "fingers"} & set(words):
        return {"digit": 0.8}
    upper, lower = (any(word in level for word in words) for level in (_UPPER, _LOWER))
    if "hip" in words:
        return {"thigh": 0.7, "pelvis": 0.3} if side else {"pelvis": 0.9}
    for limb, near, far in (("leg", "thigh", "shank"), ("arm", "upper_arm", "forearm")):
        if limb in words and (upper or lower):
            return {near if upper else far: 0.95}
    if ("back" in words or "spine" in words or "torso" in words) and upper != lower:
        return {"thorax" if upper else "abdomen": 0.85}
    # The most specific word last: "foot toe" is a toe, "head neck" is read by its first.
    known = [word for word in words if word in _SIMPLE]
    if not known:
        return {}
    if "toe" in known or "toes" in known:
        return dict(_SIMPLE["toes"])
    return dict(_SIMPLE[known[-1]])
