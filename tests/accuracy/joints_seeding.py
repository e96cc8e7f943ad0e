"""Knees and elbows bent the wrong way by known degrees over known frames, in any clip.

    python tests/accuracy/joints_seeding.py

prints, for made and real clips, how many seeded spans `joint-limit` finds, how far off their size
is read, and what it says of the untouched clips.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from kinelint.anatomy.figure import Figure
from kinelint.anatomy.zero import sample_zero, settle_zero
from kinelint.assemble import figure_of
from kinelint.clip import Clip
from kinelint.errors import KinelintError
from kinelint.finding import Finding, FrameSpan, Level
from kinelint.intake import prepare
from kinelint.kinematics import rotations
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint.synthetic import bump
from kinelint_rules.joints.joint_limit import JointLimit, JointLimitSettings

# Hinge: the part above it and the part that ends it.
HINGES = {
    f"{side}_{hinge}": (f"{side}_{above}", f"{side}_{end}")
    for side in ("left", "right")
    for hinge, above, end in (("shank", "thigh", "foot"), ("forearm", "upper_arm", "hand"))
}


@dataclass(frozen=True)
class Seed:
    """One hinge bent `degrees` the wrong way, fully so in the middle half of the frames."""

    hinge: str
    first: int
    last: int
    degrees: float

    @property
    def plateau(self) -> FrameSpan:
        quarter = (self.last - self.first) / 4
        return FrameSpan(int(np.ceil(self.first + quarter)), int(self.last - quarter))


@dataclass(frozen=True)
class Outcome:
    """What the rule said of one seed: None where it said nothing at its place."""

    clip: str
    rate_hz: float
    seed: Seed
    finding: Finding | None

    @property
    def error_deg(self) -> float:
        return (self.finding.measured or 0.0) - self.seed.degrees if self.finding else np.nan


def joint(figure: Figure, part: str) -> int:
    return figure.anatomy.joints[part][0]


def directions(motion: Motion, hinge: str) -> tuple[np.ndarray, np.ndarray]:
    """``(3, frames)`` of length 1: the segment above the hinge and the one below."""
    above, end = HINGES[hinge]
    places = [motion.positions_m[joint(motion.figure, part)] for part in (above, hinge, end)]
    upper, lower = places[1] - places[0], places[2] - places[1]
    return upper / np.linalg.norm(upper, axis=0), lower / np.linalg.norm(lower, axis=0)


def axis_of_bends(motion: Motion, hinge: str) -> np.ndarray | None:
    """``(3, frames)``: the mean normal of the bends over 20 deg; None where there are few."""
    upper, lower = directions(motion, hinge)
    normal = np.cross(upper, lower, axis=0)
    clear = np.linalg.norm(normal, axis=0) > np.sin(np.radians(20))
    carrier = motion.orientations[motion.clip.skeleton.parents[joint(motion.figure, hinge)]]
    if clear.mean() < 0.05:
        return None
    mean = rotations.unrotate(carrier[:, clear], normal[:, clear]).mean(axis=1)
    return rotations.rotate(carrier, mean[:, None])


def axis_of_pelvis(motion: Motion, hinge: str) -> np.ndarray | None:
    """``(3, frames)``: the line of the hips, for knees."""
    sides = ("left_thigh", "right_thigh")
    left, right = (motion.positions_m[joint(motion.figure, part)] for part in sides)
    return left - right if hinge.endswith("shank") else None


def axis_of_joint(motion: Motion, hinge: str) -> np.ndarray | None:
    """``(3, frames)``: of the hinge's own X, Y and Z that which it mostly turns about."""
    bends = axis_of_bends(motion, hinge)
    if bends is None:
        return None
    own = np.eye(3)[:, :, None]
    carrier = motion.orientations[motion.clip.skeleton.parents[joint(motion.figure, hinge)]]
    along = np.mean(np.sum(rotations.rotate(carrier, own) * bends, axis=1), axis=-1)
    best = int(np.argmax(np.abs(along)))
    return rotations.rotate(carrier, own[best] * np.sign(along[best]))


AXES = {"bends": axis_of_bends, "pelvis": axis_of_pelvis, "joint": axis_of_joint}


def hinge_normal(motion: Motion, hinge: str, axis: str) -> np.ndarray | None:
    """``(3, frames)`` the axis to seed about, at right angles to the segment above."""
    found = AXES[axis](motion, hinge)
    if found is None:
        return None
    upper, _ = directions(motion, hinge)
    across = found - np.sum(found * upper, axis=0) * upper
    return across / np.linalg.norm(across, axis=0)


def seeded(motion: Motion, seeds: Sequence[Seed], axis: str = "bends") -> Clip:
    """The clip with hinges bent the wrong way, eased in and out."""
    local = np.array(motion.clip.rotations)
    for seed in seeds:
        upper, lower = directions(motion, seed.hinge)
        normal = hinge_normal(motion, seed.hinge, axis)
        if normal is None:
            continue
        back = np.full(motion.frames, -np.radians(seed.degrees))
        turn = rotations.from_axis_angle(normal, back)
        whole = rotations.between(lower, rotations.rotate(turn, upper))
        weight = bump(motion.frames, seed.first, seed.last)
        still = np.broadcast_to(rotations.IDENTITY, whole.shape)
        eased = rotations.slerp(still, whole, weight)
        moved = joint(motion.figure, seed.hinge)
        parent = motion.orientations[motion.clip.skeleton.parents[moved]]
        in_world = rotations.multiply(eased, motion.orientations[moved])
        local[moved] = rotations.multiply(rotations.conjugate(parent), in_world)
    return replace(motion.clip, rotations=local)


def places(frames: int, rate_hz: float, seconds: float = 0.4) -> list[tuple[int, int]]:
    """Two spans of a clip, at a quarter and at two thirds."""
    length = round(seconds * rate_hz)
    return [(at, at + length) for at in (frames // 4, frames * 2 // 3) if at + length < frames]


def decimated(clip: Clip, every: int) -> Clip:
    """Every n-th frame."""
    return replace(
        clip,
        sample_rate_hz=clip.sample_rate_hz / every,
        rotations=clip.rotations[..., ::every],
        translations=clip.translations[..., ::every],
        scales=clip.scales[..., ::every],
        source=replace(clip.source, frame_lines=None),
    )


def check(motion: Motion) -> list[Finding]:
    said = JointLimit.check(motion, JointLimitSettings())
    return [one for one in said if isinstance(one, Finding)]


def outcomes(
    name: str,
    clip: Clip,
    figure: Figure,
    others: Sequence[Clip],
    degrees: dict[str, float],
    axis: str,
) -> Iterator[Outcome]:
    """Seeds every hinge of a clip at two places, learns the zero anew with the defects in."""
    motion = Motion(clip, figure)
    hinges = [
        hinge
        for hinge in HINGES
        if figure.anatomy.has(hinge, *HINGES[hinge])
        and hinge_normal(motion, hinge, axis) is not None
    ]
    for place in places(clip.frames, clip.sample_rate_hz):
        seeds = [Seed(h, *place, degrees[h.partition("_")[2]]) for h in hinges]
        bent = seeded(motion, seeds, axis)
        samples = [sample_zero(Motion(one, figure)) for one in (bent, *others)]
        zero = settle_zero([one for one in samples if one is not None])
        said = check(Motion(bent, figure.with_zero(zero)))
        for seed in seeds:
            yield Outcome(name, clip.sample_rate_hz, seed, at(seed, said))


def at(seed: Seed, said: Sequence[Finding]) -> Finding | None:
    """The finding on the seeded part that covers four fifths of the plateau and little else."""
    for one in said:
        covered = min(one.span.last, seed.plateau.last) - max(one.span.first, seed.plateau.first)
        right_part = one.parts == (seed.hinge,) and "hyperextended" in one.message
        inside = one.span.first >= seed.first - 2 and one.span.last <= seed.last + 2
        if right_part and inside and covered + 1 >= 0.8 * seed.plateau.frames:
            return one
    return None


def real_clips(folder: Path) -> Iterator[list[tuple[str, Clip]]]:
    """The BVH clips of a folder, those of one skeleton together."""
    groups: dict[str, list[tuple[str, Clip]]] = {}
    for path in sorted(folder.glob("*.bvh")):
        for clip in read(path).clips:
            prepared = prepare(clip).clip
            groups.setdefault(prepared.skeleton.signature, []).append((path.stem, prepared))
    yield from groups.values()


def seed_real(folder: Path, degrees: dict[str, float], axis: str = "bends") -> Iterator[Outcome]:
    for group in real_clips(folder):
        figure = figure_of([clip for _, clip in group])
        for name, clip in group:
            others = [other for known, other in group if known != name]
            rates = (1, 2, 4) if clip.sample_rate_hz > 100 else (1,)
            for every in rates:
                yield from outcomes(name, decimated(clip, every), figure, others, degrees, axis)


def untouched(folder: Path) -> Iterator[tuple[str, float, list[Finding]]]:
    """Name, minutes and findings of each clip as it is."""
    for group in real_clips(folder):
        figure = figure_of([clip for _, clip in group])
        for name, clip in group:
            try:
                yield name, clip.duration_s / 60, check(Motion(clip, figure))
            except KinelintError as reason:
                print(f"  {name}: {reason}")


def print_outcomes(every: list[Outcome]) -> None:
    print(f"{'joint':8} {'Hz':>4} {'seeds':>6} {'found':>6}  size error deg: median, worst")
    for hinge in ("shank", "forearm"):
        for low, high in ((0, 45), (45, 90), (90, 999)):
            mine = [o for o in every if o.seed.hinge.endswith(hinge) and low < o.rate_hz < high]
            errors = np.array([o.error_deg for o in mine if o.finding])
            if errors.size:
                print(
                    f"{hinge:8} {mine[0].rate_hz:4.0f} {len(mine):6} {len(errors):6}  "
                    f"{np.median(errors):6.2f} {errors[np.argmax(np.abs(errors))]:6.2f}"
                )
    for o in every:
        if o.finding is None:
            s = o.seed
            print(f"  missed {o.clip} at {o.rate_hz:.0f} Hz: {s.hinge} {s.first} to {s.last}")


def main() -> None:
    from real_data import folder

    bvh = folder() / "bvh"
    for degrees in ({"shank": 12.5, "forearm": 19.0}, {"shank": 20.0, "forearm": 30.0}):
        for axis in AXES:
            print(f"\nseeded: knees {degrees['shank']}, elbows {degrees['forearm']} deg", end="")
            print(f", about the axis of the {axis}")
            print_outcomes(list(seed_real(bvh, degrees, axis)))
    print("\nuntouched")
    minutes, levels = 0.0, dict.fromkeys(Level, 0)
    for name, length, said in untouched(bvh):
        minutes += length
        for one in said:
            levels[one.level or Level.WARNING] += 1
            print(f"  {one.level} {name} {one.span.first} to {one.span.last}: {one.message}")
    print(f"{minutes:.2f} minutes: " + ", ".join(f"{n} {level}s" for level, n in levels.items()))


if __name__ == "__main__":
    import sys

    sys.path.insert(0, str(Path(__file__).parents[1]))
    main()
