"""Words of the cue sheet for parts of the body: one part, both sides, a finger, all of them."""

from __future__ import annotations

from kinelint.anatomy.parts import ARM, DIGITS, FINGERS, LEG, PARTS, SIDES

# Words for both sides of a part ("hand"), which wanted contacts keep as they are.
PAIRS = (*ARM, *DIGITS, *LEG)
HINT = "Parts are as left_hand; hand means both, fingers all of them."


def families() -> tuple[str, ...]:
    """Every word that stands for parts."""
    sided = tuple(f"{side}_fingers" for side in SIDES)
    return (*PARTS, *PAIRS, "fingers", *sided, *FINGERS)


def expanded(word: str) -> tuple[str, ...]:
    """The parts that a word stands for: itself, both sides, or fingers; none if unknown."""
    if word in PARTS:
        return (word,)
    side, _, rest = word.partition("_")
    sides = (side,) if side in SIDES else SIDES
    name = rest if side in SIDES else word
    if name in PAIRS:
        return tuple(f"{one}_{name}" for one in sides)
    if name == "fingers" or name in FINGERS:
        digits = [one for one in DIGITS if name == "fingers" or one.startswith(name)]
        return tuple(f"{one}_{digit}" for one in sides for digit in digits)
    return ()
