"""A boathook put into the hands of real takes, with slips, turns, offsets and jumps of known size.

Run as a program (`python -m accuracy.seed_props [FOLDER]` with `tests` on the path) it prints, for
each kind and rate, how many were found by size, how far the measured sizes are off, how well the
frames agree, and what was said beside the seeds.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from accuracy.clips import Subject, data_folder, subjects
from accuracy.rig import Array, Rig, min_jerk, resampled
from kinelint.cue import Cue, Held, Kept, Prop, Rod
from kinelint.finding import Finding, Level
from kinelint.motion import Motion
from kinelint.synthetic_props import with_prop
from kinelint_rules.props.prop_grip import PropGrip
from kinelint_rules.props.prop_holder import PropHolder

HOOK = Prop("boathook", "boathook", Rod((0, 0, -0.9), (0, 0, 1.3), 0.017), (("fore", (0, 0, 0.3)),))
GRIP = np.array([0.0, 0.0, 0.3])
# ANSUR II, centre of grip beyond the wrist by stature: the mean of men's and women's.
GRIP_RATIO = (62.1 / 1756.2 + 58.9 / 1628.5) / 2.0
RATES = (24.0, 30.0, 60.0, 120.0)
FACTORS = (0.5, 0.8, 1.25, 1.5, 2.0, 3.0, 4.0)


@dataclass(frozen=True, eq=False)
class PropSeed:
    """A take with a boathook and one defect.

    `clean` is the same without the defect; `detail` the end of the finding's own detail.
    """

    motion: Motion
    clean: Motion
    rule: type
    detail: str
    first: int
    last: int
    size: float
    hand: str


@dataclass(frozen=True, eq=False)
class Carrying:
    """A hand's axes over the frames as SciPy has them, and where in them its fist is."""

    motion: Motion
    hand: str
    place: Array
    turn: Rotation
    along: Array
    fist: Array
    lay: Rotation

    @classmethod
    def of(cls, motion: Motion, hand: str, chance: np.random.Generator) -> Carrying | None:
        """None if the take has no such hand, or nothing tells which way it points."""
        body, joints = motion.figure.body, motion.figure.anatomy.joints
        if body is None or hand not in body.parts or motion.frames < 40:
            return None
        cap = body.parts.index(hand)
        along = body.capsules.offsets_m[cap, 1] - body.capsules.offsets_m[cap, 0]
        if motion.clip.is_scaled or not np.isfinite(motion.figure.stature_m):
            return None
        along = along / np.linalg.norm(along)
        rig = Rig.of(motion.clip, motion.figure)
        # The rod lies across the hand, at any angle about it.
        across = np.cross(along, chance.normal(size=3))
        across /= np.linalg.norm(across)
        lay = Rotation.from_matrix(np.stack((np.cross(along, across), along, across), axis=1))
        joint = joints[hand][0]
        fist = GRIP_RATIO * motion.figure.stature_m * along
        return cls(motion, hand, rig.places[joint], rig.turns[joint], along, fist, lay)

    def made(
        self, shift: Array | float = 0.0, tilt: Rotation | None = None, **cue: object
    ) -> Motion:
        """The take with the boathook in this hand: moved in the hand's axes, turned about it."""
        lay = self.lay if tilt is None else tilt * self.lay
        at = self.fist + shift - lay.apply(GRIP)
        place = self.place + self.turn.apply(at)
        return self.put(place, self.turn * lay, **cue)

    def put(self, place: Array, turn: Rotation, **cue: object) -> Motion:
        """The take with the boathook at a place in the world ``(frames, 3)``."""
        quats = turn.as_quat()[:, [3, 0, 1, 2]].T
        said = {"held": (Held("boathook", self.hand, "fore"),), **cue}
        parent = self.motion.clip.skeleton.names[self.motion.figure.anatomy.joints[self.hand][0]]
        hangs = self.motion.clip.skeleton.names.count(parent) == 1 and self.hand.startswith("left")
        told = Cue(props=(HOOK,), **said)  # type: ignore[arg-type]
        return with_prop(
            self.motion, "boathook", place.T, quats, parent=parent if hangs else "", cue=told
        )


def _bump(frames: int, first: int, last: int, edge: int) -> Array:
    """0 outside of first to last, 1 inside, smooth over `edge` frames at each end."""
    at = np.arange(frames, dtype=float)
    up = min_jerk((at - first) / max(edge, 1))
    return np.minimum(up, min_jerk((last - at) / max(edge, 1)))


def _past(shape: Array, share: float) -> tuple[int, int]:
    """First and last frame in which a shape is above a share of its greatest."""
    past = np.flatnonzero(shape > share)
    return int(past[0]), int(past[-1])


def _span(frames: int, rate: float, chance: np.random.Generator) -> tuple[int, int, int]:
    """Where a passing defect is: less than half of the take, 0.25 to 0.6 s."""
    lasts = round(min(chance.uniform(0.25, 0.6) * rate, 0.4 * frames))
    first = int(chance.integers(2, frames - lasts - 2))
    return first, first + lasts, max(round(0.06 * rate), 1)


def offset(take: Carrying, size: float, chance: np.random.Generator) -> PropSeed:
    """Too far along the hand all the time, mm."""
    sign = chance.choice((-1.0, 1.0))
    moved = take.made(sign * size / 1000.0 * take.along)
    last = take.motion.frames - 1
    return PropSeed(moved, take.made(), PropGrip, "grip", 0, last, size, take.hand)


def slipped(take: Carrying, size: float, chance: np.random.Generator) -> PropSeed:
    """Slides through the fist and back, mm."""
    first, last, edge = _span(take.motion.frames, take.motion.sample_rate_hz, chance)
    shape = _bump(take.motion.frames, first, last, edge)
    way = take.lay.apply([0.0, 0.0, 1.0])
    moved = take.made(shape[:, None] * way * size / 1000.0)
    past = _past(shape, min(12.0 / size, 0.99))
    return PropSeed(moved, take.made(), PropGrip, "slips", *past, size, take.hand)


def turned(take: Carrying, size: float, chance: np.random.Generator) -> PropSeed:
    """Turns in the fist and back, about the hand, deg."""
    first, last, edge = _span(take.motion.frames, take.motion.sample_rate_hz, chance)
    shape = _bump(take.motion.frames, first, last, edge)
    tilt = Rotation.from_rotvec(shape[:, None] * take.along * np.radians(size))
    past = _past(shape, min(10.0 / size, 0.99))
    return PropSeed(take.made(tilt=tilt), take.made(), PropGrip, "turns", *past, size, take.hand)


def _racked(
    take: Carrying, rack_shift: Array, shift: Array | float = 0.0, tilt: Rotation | None = None
) -> tuple[Motion, int]:
    """Taken from a rack where the hand is slowest, in the second half of the take; that frame."""
    frames, rate = take.motion.frames, take.motion.sample_rate_hz
    speed = np.linalg.norm(np.gradient(take.place, axis=0), axis=1)
    low, high = frames // 2, frames - 8
    at = low + int(np.argmin(speed[low:high]))
    place = take.place + take.turn.apply(take.fist - take.lay.apply(GRIP))
    quats = (take.turn * take.lay).as_quat()
    rack, in_rack = place[at] + rack_shift, np.arange(frames) < at
    racked = Rotation.from_quat(quats[at])
    held = Rotation.from_quat(np.where(in_rack[:, None], quats[at], quats))
    place = np.where(in_rack[:, None], rack + shift, place)
    x, y, z, w = (float(value) for value in racked.as_quat())
    when = (at + take.motion.clip.frame_offset) / rate
    kept = Kept("boathook", "rack", "", tuple(map(float, rack)), (w, x, y, z), None, when)
    grip = Held("boathook", take.hand, "fore", when, None)
    turn = held if tilt is None else Rotation.from_quat(
        np.where(in_rack[:, None], (tilt * held).as_quat(), held.as_quat())
    )  # fmt: skip
    return take.put(place, turn, kept=(kept,), held=(grip,)), at


def jumped(take: Carrying, size: float, chance: np.random.Generator) -> PropSeed:
    """The rack has it elsewhere than where the hand takes it: it jumps, mm."""
    way = chance.normal(size=3)
    moved, at = _racked(take, way / np.linalg.norm(way) * size / 1000.0)
    clean, _ = _racked(take, np.zeros(3))
    return PropSeed(moved, clean, PropHolder, "jumps, mm", at - 1, at, size, take.hand)


def stirred(take: Carrying, size: float, chance: np.random.Generator) -> PropSeed:
    """Moves in its rack, mm."""
    clean, at = _racked(take, np.zeros(3))
    first, last, edge = _span(at, take.motion.sample_rate_hz, chance)
    shape = np.pad(_bump(at, first, last, edge), (0, take.motion.frames - at))
    way = chance.normal(size=3)
    shift = shape[:, None] * way / np.linalg.norm(way) * size / 1000.0
    moved, _ = _racked(take, np.zeros(3), shift)
    past = _past(shape, min(10.0 / size, 0.99))
    return PropSeed(moved, clean, PropHolder, "moves in holder", *past, size, "clip")


# Kind: how it is made, limit of level warning, and how far a measured size may be off.
KINDS: dict[str, tuple[Callable[..., PropSeed], float, float]] = {
    "offset": (offset, 40.0, 2.0),
    "slip": (slipped, 25.0, 2.0),
    "turn": (turned, 20.0, 1.0),
    "jump at the rack": (jumped, 30.0, 2.0),
    "moves in the rack": (stirred, 25.0, 2.0),
}


def said(motion: Motion, rule: type) -> list[Finding]:
    """Findings of one of the two rules."""
    found = rule.check(motion, rule.settings_type())  # type: ignore[attr-defined]
    return [one for one in found if isinstance(one, Finding)]


@dataclass(frozen=True)
class Told:
    """What came of a seed: found at its level, size error, IoU, and findings beside it."""

    kind: str
    rate: float
    factor: float
    found: bool
    off: float
    iou: float
    beside: int


def judged(kind: str, seed: PropSeed, factor: float) -> Told:
    """The rule's word on a seed."""
    every = said(seed.motion, seed.rule)
    before = {(one.detail, one.parts) for one in said(seed.clean, seed.rule)}
    rate = seed.motion.sample_rate_hz
    mine = [
        one
        for one in every
        if one.detail == f"boathook: {seed.detail}"
        and seed.hand in one.parts
        and one.span.first <= seed.last
        and one.span.last >= seed.first
    ]
    best = max(mine, key=lambda one: one.measured or 0.0, default=None)
    # A rack elsewhere takes another way past the body: that is no word on the seed.
    beside = [
        one
        for one in every
        if one not in mine
        and (one.detail, one.parts) not in before
        and not one.detail.endswith("in the body")
    ]
    if best is None:
        return Told(kind, rate, factor, False, np.nan, np.nan, len(beside))
    both = min(best.span.last, seed.last) - max(best.span.first, seed.first) + 1
    union = max(best.span.last, seed.last) - min(best.span.first, seed.first) + 1
    at_level = best.level is not None and best.level.rank >= Level.WARNING.rank
    off = (best.measured or 0.0) - seed.size
    return Told(kind, rate, factor, at_level, off, both / union, len(beside) + len(mine) - 1)


def trials(
    some: Sequence[Subject], rates: Sequence[float] = RATES, factors: Sequence[float] = FACTORS
) -> Iterator[Told]:
    """Every kind in every take at every rate and size, in one of its hands."""
    for number, subject in enumerate(some):
        for rate in rates:
            clip = subject.motion.clip
            if clip.is_scaled or clip.duration_s < 1.5:
                continue
            motion = replace(subject.motion, clip=resampled(clip, rate), _derived={})
            for which, (kind, (make, limit, _)) in enumerate(KINDS.items()):
                chance = np.random.default_rng((number, which, round(rate)))
                hand = ("left_hand", "right_hand")[(number + which) % 2]
                take = Carrying.of(motion, hand, chance)
                if take is None:
                    continue
                for factor in factors:
                    yield judged(kind, make(take, factor * limit, chance), factor)


def main(argument: Sequence[str]) -> None:
    """Prints the table."""
    told = list(trials([one for one in subjects(data_folder(argument)) if one.minutes < 0.5]))
    head = "  ".join(f"{factor:5.2f}" for factor in FACTORS)
    print(f"{'kind':18} {'Hz':>4}   recall at {head}   size off, 95 %   IoU   beside")
    for kind in KINDS:
        for rate in RATES:
            rows = [one for one in told if one.kind == kind and round(one.rate) == rate]
            if not rows:
                continue
            recall = [
                np.mean([one.found for one in rows if one.factor == factor]) for factor in FACTORS
            ]
            big = [one for one in rows if one.factor >= 1.25 and one.found]
            off = np.nanquantile(np.abs([one.off for one in big]), 0.95) if big else np.nan
            iou = np.nanmean([one.iou for one in big]) if big else np.nan
            shares = "  ".join(f"{value:5.2f}" for value in recall)
            beside = sum(one.beside for one in rows)
            print(f"{kind:18} {rate:4.0f}   {'':9} {shares}   {off:14.2f}  {iou:5.2f} "
                  f"{beside:4d} of {len(rows)}")  # fmt: skip


if __name__ == "__main__":
    main(sys.argv[1:])
