"""Clean loops cut out of real walks, and the same loops broken by a known amount."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.spatial.transform import Rotation

from accuracy.rig import Array, Rig, min_jerk
from accuracy.seed import Seed, arm_parts, leg_parts
from accuracy.two_bones import has_limb, reach_m, solve
from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip
from kinelint.cue import Cue

CYCLE_S = (0.7, 2.2)
BLEND_S = 0.25
# Poses of a cycle's two ends may differ by this much (root mean square) before they are closed.
ALIKE_M = 0.06
TURNED = ("left_upper_arm", "right_upper_arm", "left_forearm", "right_forearm", "thorax", "head")


@dataclass(frozen=True)
class Cycle:
    """Frames `first` to `last` of a clip look alike after `turn` (of the last, about Y)."""

    first: int
    last: int
    turn: Rotation
    off_m: float


def cycles(clip: Clip, figure: Figure) -> list[Cycle]:
    """The best cycles of a clip that travels, apart from one another, best first."""
    if clip not in _CYCLES:
        _CYCLES[clip] = _cycles(Rig.of(clip, figure))
    return _CYCLES[clip]


_CYCLES: dict[Clip, list[Cycle]] = {}


def _cycles(rig: Rig) -> list[Cycle]:
    parts = [joints[0] for joints in rig.figure.anatomy.joints.values()]
    step = max(round(rig.rate / 30.0), 1)
    points = np.swapaxes(rig.places[parts][:, ::step], 0, 1)
    root = rig.place("pelvis")[::step][:, [0, 2]]
    low, high = (round(s * rig.rate / step) for s in CYCLE_S)
    found = []
    for first in range(round(BLEND_S * rig.rate / step) + 1, len(points) - low - 2):
        lasts = np.arange(first + low, min(first + high, len(points) - 2))
        _, off = _aligned(points[first], points[lasts])
        # Alike now and a little later: the same pose while moving the same way.
        _, soon = _aligned(points[first + 2], points[lasts + 2])
        far = np.linalg.norm(root[lasts] - root[first], axis=1) > 0.4
        score = np.where(far, np.maximum(off, soon), np.inf)
        found += [(float(score[i]), first, int(lasts[i])) for i in np.argsort(score)[:3]]
    kept: list[Cycle] = []
    for off_m, first, last in sorted(found):
        alike = off_m < ALIKE_M * (rig.figure.leg_m / 0.88)
        if alike and all(abs(first * step - k.first) > 0.3 * rig.rate for k in kept):
            yaw, _ = _aligned(points[first], points[[last]])
            turn = Rotation.from_rotvec([0.0, float(yaw[0]), 0.0])
            kept.append(Cycle(first * step, last * step, turn, off_m))
    return kept[:3]


def _aligned(target: Array, points: Array) -> tuple[Array, Array]:
    """Yaws of poses ``(n, joints, 3)`` to one, and what is left (RMS, metres).

    The turn over the floor is that of the least squares, by complex numbers.
    """
    a, b = target - target.mean(axis=0), points - points.mean(axis=1, keepdims=True)
    flat_a, flat_b = a[:, 2] + 1j * a[:, 0], b[..., 2] + 1j * b[..., 0]
    yaw = np.angle(np.sum(flat_a * np.conj(flat_b), axis=1))
    over_floor = np.abs(flat_a - flat_b * np.exp(1j * yaw)[:, None])
    height = target[:, 1] - points[..., 1]
    return yaw, np.sqrt(np.mean(over_floor**2 + height**2, axis=1))


def closed(clip: Clip, figure: Figure, chance: np.random.Generator) -> Rig | None:
    """A walk's cycle whose last frame repeats its first, velocities and all.

    The last quarter of a second is blended into what went before the first frame.
    """
    rig = Rig.of(clip, figure)
    if not (has_limb(rig, "left_leg") and has_limb(rig, "right_leg")):
        return None
    every = cycles(clip, figure)
    if not every:
        return None
    cycle = every[int(chance.integers(len(every)))]
    one = Rig.of(replace(clip.cut(cycle.first, cycle.last), frame_offset=0, start_s=0.0), figure)
    blended = round(BLEND_S * rig.rate)
    end, came = slice(one.clip.frames - blended - 1, None), slice(cycle.first - blended, None)
    share = min_jerk(np.linspace(0.0, 1.0, blended + 1))
    back = cycle.turn.inv()
    for joint, parent in enumerate(clip.skeleton.parents.tolist()):
        goal = rig.local[joint][came][: blended + 1]
        if parent < 0:
            goal = one.up.inv() * back * one.up * goal
            path = rig.up.apply(rig.shift[joint])[came][: blended + 1]
            here = rig.up.apply(one.shift[joint])[end]
            wanted = back.apply(path - path[-1]) + here[-1]
            wanted[:, 1] = path[:, 1]
            moved = here + share[:, None] * (wanted - here)
            one.shift[joint, end] = rig.up.inv().apply(moved)
        elif joint in one.moved:
            gap = rig.shift[joint, came][: blended + 1] - one.shift[joint, end]
            one.shift[joint, end] += share[:, None] * gap
        old = one.local[joint][end]
        left = (goal * old.inv()).as_rotvec()
        mixed = Rotation.from_rotvec(share[:, None] * left) * old
        one.local[joint] = Rotation.concatenate([one.local[joint][: end.start], mixed])
    one.forward()
    return one


def clean_loop(
    clip: Clip, figure: Figure, chance: np.random.Generator, short: bool = False
) -> Seed | None:
    """No defect: nothing may be said of it."""
    rig = closed(clip, figure, chance)
    return None if rig is None else _seed(rig, "clean loop", (), 0.0, "deg", short, ())


def broken_loop(
    clip: Clip,
    figure: Figure,
    size: float,
    unit: str,
    chance: np.random.Generator,
    short: bool = False,
) -> Seed | None:
    """A joint comes back turned by `size` deg, or a hand or foot displaced by `size` mm."""
    rig = closed(clip, figure, chance)
    if rig is None:
        return None
    weight = min_jerk((rig.times / rig.times[-1] - 0.4) / 0.6)
    if unit == "deg":
        parts = [part for part in TURNED if rig.has(part)]
        part = str(chance.choice(parts))
        axis = chance.normal(size=3)
        turn = np.radians(size) * weight[:, None] * (axis / np.linalg.norm(axis))
        joint = rig.joint(part)
        rig.local[joint] = Rotation.from_rotvec(turn) * rig.local[joint]
        rig.forward()
        return _seed(rig, "broken loop, turned", (part,), size, unit, short, (part,))
    moved = _displace(rig, size, weight, chance)
    if moved is None:
        return None
    return _seed(rig, "broken loop, moved", moved, size, unit, short, moved)


def _displace(
    rig: Rig, size_mm: float, weight: Array, chance: np.random.Generator
) -> tuple[str, ...] | None:
    limbs = [
        (f"{side}_{limb}", end, parts(side))
        for side in ("left", "right")
        for limb, end, parts in (("arm", "hand", arm_parts), ("leg", "foot", leg_parts))
        if has_limb(rig, f"{side}_{limb}")
    ]
    for number in chance.permutation(len(limbs)):
        limb, end, parts = limbs[int(number)]
        way = chance.normal(size=3)
        by = 0.001 * size_mm * weight[:, None] * (way / np.linalg.norm(way))
        target = rig.place(f"{limb.partition('_')[0]}_{end}") + by
        if reach_m(rig, limb, target) <= 0.0:
            solve(rig, limb, target, weight > 0.0)
            return parts
    return None


def _seed(
    rig: Rig,
    kind: str,
    parts: tuple[str, ...],
    size: float,
    unit: str,
    short: bool,
    limb: tuple[str, ...],
) -> Seed:
    clip = rig.made()
    end = clip.duration_s
    return Seed(
        kind + (", a frame short" if short else ""),
        "loop-seam",
        parts,
        clip,
        end,
        end,
        size,
        unit,
        limb,
        Cue(loop=True),
        f"{end:.2f} s, {', '.join(parts[:1])}",
        drops_last=short,
    )
