"""The volume of a body: capsules on its joints, and which of them may not lie in each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from kinelint.anatomy.hints import GIRTH_RATIO
from kinelint.anatomy.neighbours import limb, may_collide, reach
from kinelint.anatomy.parts import SIDES, label
from kinelint.anatomy.skin_fit import measured
from kinelint.anatomy.skin_soles import sole_points
from kinelint.anatomy.volume import bones
from kinelint.anatomy.volume_build import Bone, Build, RestPose
from kinelint.clip import Skeleton, Skin
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats, Ints
from kinelint.kinematics.distance import Capsules, Overlaps, end_points, overlaps

if TYPE_CHECKING:
    from kinelint.anatomy.figure import Figure
    from kinelint.anatomy.scale import BodyHints
    from kinelint.motion import Motion

# Biacromial breadth by stature: the smallest of 6,068 people is .82 of the mean (ANSUR II).
_NARROW = 0.8
# Radius by length: people's thickest limb, the thigh, has about .2.
_STOUT = 0.35
_EXPECTED = (
    "pelvis",
    "head",
    *(f"{side}_{part}" for side in SIDES for part in ("upper_arm", "forearm", "hand")),
    *(f"{side}_{part}" for side in SIDES for part in ("thigh", "shank", "foot")),
)


@dataclass(frozen=True, eq=False)
class Body:
    """The volume of one figure.

    Attributes:
        capsules: fixed to the joints.
        parts: ``(caps,)`` the part each capsule belongs to.
        pairs: ``(pairs, 2)`` capsules of parts that may not lie in each other; of the two, the
            one that moves more freely comes first.
        allowed_m: ``(pairs,)`` depth that the two have at rest already.
        radii_from: part to where its radius comes from: "girth", "skin" or "policy".
        doubts: part to why its volume is a guess: the skeleton's proportions are not a person's.
        missing: why there is no volume, or parts that have none; empty if all is well.
        soles_m: foot or toes to the outermost points ``(3, n)`` of its skin, in its joint's axes;
            empty without a skin.
    """

    capsules: Capsules
    parts: tuple[str, ...]
    pairs: Ints
    allowed_m: Floats
    radii_from: dict[str, str] = field(default_factory=dict)
    doubts: Mapping[str, str] = field(default_factory=dict)
    missing: str = ""
    soles_m: Mapping[str, Floats] = field(default_factory=dict)

    def pair_parts(self, pair: int) -> tuple[str, str]:
        """The two parts of a pair."""
        first, second = self.pairs[pair]
        return self.parts[first], self.parts[second]


def capsule_ends(motion: Motion) -> tuple[Floats, Floats]:
    """Both ends of every capsule in the world, ``(caps, 3, frames)`` twice.

    To be asked for through `motion.derive(capsule_ends)`.
    """
    body = motion.figure.body
    if body is None:
        none = np.empty((0, 3, motion.frames))
        return none, none
    return end_points(body.capsules, motion.positions_m, motion.orientations)


def body_overlaps(motion: Motion) -> Overlaps | None:
    """All overlaps that are deeper than at rest; None without a body.

    To be asked for through `motion.derive(body_overlaps)`.
    """
    body = motion.figure.body
    if body is None or not len(body.capsules):
        return None
    return overlaps(
        body.capsules, body.pairs, motion.positions_m, motion.orientations, body.allowed_m
    )


def build_body(
    figure: Figure,
    skeleton: Skeleton,
    skins: Sequence[Skin] = (),
    hints: BodyHints | None = None,
) -> Body:
    """The volume of a figure.

    Args:
        figure: with its parts, scale and axes.
        skeleton: its joints at rest.
        skins: meshes bound to the skeleton's joints; where there are any, radii come from them.
        hints: the policy's sex, share of girth and radii.
    """
    stature_m = _stature(figure)
    if stature_m is None:
        return _empty("the stature of the figure cannot be told")
    rest = RestPose.of(skeleton, figure.metres_per_unit, figure.to_y_up)
    build = Build(
        figure.anatomy,
        rest,
        stature_m,
        hints.girth_ratio if hints else GIRTH_RATIO,
        hints.sex if hints else None,
        skin=measured(skins, skeleton, figure.anatomy, rest.positions_m),
        radii_m={part: mm / 1000.0 for part, mm in (hints.radii_mm if hints else {}).items()},
        mid_depths_m=figure.mid_depths_m,
    )
    made = bones(build)
    if not made:
        return _empty("no part of the skeleton could be given a volume")
    return replace(_assembled(made, build), soles_m=sole_points(skins, figure.anatomy, rest))


def _stature(figure: Figure) -> float | None:
    # The leg between joint centres is 0.4954 of stature: de Leva 1996 (thigh .2425, shank .2529).
    for value in (figure.stature_m, figure.leg_m / 0.4954):
        if np.isfinite(value) and value > 0.0:
            return float(value)
    return None


def _empty(why: str) -> Body:
    none = Capsules(np.empty((0, 2), np.intp), np.empty((0, 2, 3)), np.empty(0))
    return Body(none, (), np.empty((0, 2), np.intp), np.empty(0), missing=why)


def _assembled(made: Sequence[Bone], build: Build) -> Body:
    parts = tuple(bone.part for bone in made)
    capsules = Capsules(
        np.array([[bone.start[0], bone.end[0]] for bone in made]),
        np.array([[bone.start[1], bone.end[1]] for bone in made]),
        np.array([bone.radius_m for bone in made]),
    )
    radii_from = {part: build.origin(part) for part in parts}
    pairs = np.array(_pairs(parts), dtype=np.intp).reshape(-1, 2)
    return Body(
        capsules,
        parts,
        pairs,
        _allowed(capsules, pairs, build),
        radii_from,
        _doubts(build, made),
        _missing(parts),
    )


def _doubts(build: Build, made: Sequence[Bone]) -> dict[str, str]:
    """Part to why its volume is a guess."""
    parts = [bone.part for bone in made]
    if _is_stout(build, made):
        return dict.fromkeys(parts, "its limbs are so thick and short that capsules fit badly")
    if build.shoulders_ratio >= _NARROW or "thorax" in build.skin:
        return {}
    why = (
        f"the shoulders of this skeleton are {100.0 * build.shoulders_ratio:.0f} % as far apart "
        "as those of a person of its height"
    )
    return {part: why for part in parts if limb(part).endswith("arm")}


def _is_stout(build: Build, made: Sequence[Bone]) -> bool:
    """Whether half of the limbs are thicker by length than any person's, or one is like a ball."""
    thick = []
    for bone in made:
        if bone.part.partition("_")[2] in ("upper_arm", "forearm", "thigh", "shank"):
            ends = [
                build.place(joint) + rotations.rotate(build.turn(joint), point[:, None])[:, 0]
                for joint, point in (bone.start, bone.end)
            ]
            # A capsule may be half of its bone.
            share = sum(other.part == bone.part for other in made)
            length = share * float(np.linalg.norm(ends[1] - ends[0]))
            thick.append(bone.radius_m / length if length > 0.0 else np.inf)
    shares = np.array(thick)
    return bool(thick) and bool(np.mean(shares > _STOUT) >= 0.5 or np.any(shares > 2.0 * _STOUT))


def _missing(parts: Sequence[str]) -> str:
    lacking = [part for part in _EXPECTED if part not in parts]
    return f"no volume for the {', '.join(label(part) for part in lacking)}" if lacking else ""


def _pairs(parts: Sequence[str]) -> list[tuple[int, int]]:
    found = []
    for i, part in enumerate(parts):
        for j in range(i + 1, len(parts)):
            if may_collide(part, parts[j]):
                found.append((j, i) if reach(parts[j]) > reach(part) else (i, j))
    return found


def _allowed(capsules: Capsules, pairs: Ints, build: Build) -> Floats:
    """``(pairs,)`` depth at rest, where the rest pose is one that a person can take."""
    allowed = np.zeros(len(pairs))
    if not build.rest_is_plausible:
        return allowed
    rest = build.rest
    at_rest = overlaps(capsules, pairs, rest.positions_m[..., None], rest.orientations[..., None])
    allowed[at_rest.pair] = at_rest.depth_m
    return allowed
