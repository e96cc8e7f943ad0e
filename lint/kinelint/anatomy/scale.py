"""How large a figure is and what its file's unit means."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.axes import AXES, axis_name, floor_spreads, to_y_up, votes
from kinelint.anatomy.figure import Figure
from kinelint.anatomy.hints import BodyHints
from kinelint.anatomy.mid_depth import merged, mid_depths
from kinelint.anatomy.tree import at_frames, placed, rest_positions
from kinelint.clip import Clip, Skeleton
from kinelint.finding import Note
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Floats

__all__ = ["BodyHints", "BodySample", "sample_body", "settle_figure"]

_FRAMES = 200
# Shares of stature, joint centre to joint centre: ANSUR II landmark means (4,082 men, 1,986
# women) moved to joint centres by the offsets of de Leva 1996 (shoulder 34.5 mm below acromion,
# elbow 15.5 above radiale, wrist 2 beyond stylion, hip 3.2 above trochanterion, knee 34 above
# tibiale, ankle 6.3 below the lateral malleolus); mean of the shares of men and women.
STATURE_SHARES: Mapping[str, float] = {"leg": 0.4812, "arm": 0.3222, "trunk": 0.2820}
_UNITS = (
    ("metre", 1.0),
    ("centimetre", 0.01),
    ("inch", 0.0254),
    ("foot", 0.3048),
    ("decimetre", 0.1),
    ("millimetre", 0.001),
)
_ADULT_M = (1.45, 2.15)
# Five-year-olds are 1.10 m tall on average (from memory): younger performers are rare, and a
# wider band would take files in units of their own for inches.
_CHILD_M = (1.05, 1.45)
_USUAL_STATURE_M = 1.70
_LEG_TO_REST = (0.8, 1.3)
_BELIEVABLE_M = (0.3, 3.0)
# Neither doll nor giant: some exporters write one unit and lengths in another.
_POSSIBLE_M = (0.1, 10.0)
_NEARLY_ALL = 0.9


@dataclass(frozen=True)
class BodySample:
    """What one clip says of a body's size and posture, in file units; small and picklable.

    Attributes:
        frames: poses looked at.
        up_votes: for each of `axes.AXES`, poses that stand along it.
        floor_spreads: for each of `axes.AXES`, how far the lowest point of the body wanders along
            it, as a share of leg, arm and trunk together: little along the true one, since
            something always touches the floor.
        lengths: median lengths: "leg" (hip to ankle along the bones), "arm", "trunk".
        mid_depths: as `mid_depth.mid_depths` gives them.
    """

    frames: int = 0
    up_votes: tuple[float, ...] = (0.0,) * 6
    floor_spreads: tuple[float, ...] = (math.inf,) * 6
    lengths: Mapping[str, float] = field(default_factory=dict)
    mid_depths: Mapping[str, tuple[float, ...]] = field(default_factory=dict)


def sample_body(clip: Clip, anatomy: Anatomy) -> BodySample:
    """Size and posture over up to 200 poses of a clip, without a leading reference pose."""
    first = 1 if _opens_with_reference_pose(clip) else 0
    if clip.frames <= first:
        return BodySample()
    count = min(_FRAMES, clip.frames - first)
    chosen = np.unique(np.linspace(first, clip.frames - 1, count).round().astype(np.intp))
    places, orientations = placed(at_frames(clip, chosen))
    lengths = body_lengths(places, anatomy)
    spreads = floor_spreads(places) / (sum(lengths.values()) or math.nan)
    held = votes(places, anatomy)
    ways = mid_depths(places, orientations, anatomy, clip.skeleton.parents)
    depths = {part: tuple(way.tolist()) for part, way in ways.items()}
    return BodySample(len(chosen), tuple(held.tolist()), tuple(spreads.tolist()), lengths, depths)


def _opens_with_reference_pose(clip: Clip) -> bool:
    """Whether frame 0 is far from frame 1 and the clip then goes on smoothly."""
    if clip.frames < 3:
        return False
    head = clip.rotations[:, :, : min(clip.frames, 12)]
    steps = np.max(rotations.angle_between(head[..., :-1], head[..., 1:]), axis=0)
    return bool(steps[0] > math.radians(20.0) and steps[0] > 3.0 * np.median(steps[1:]))


def body_lengths(placed: Floats, anatomy: Anatomy) -> dict[str, float]:
    """Leg, arm and trunk in ``(joints, 3, frames)``: medians over frames, means over sides."""
    found = {}
    for name, chain in (
        ("leg", ("thigh", "shank", "foot")),
        ("arm", ("upper_arm", "forearm", "hand")),
    ):
        sides = [
            length
            for side in ("left", "right")
            if (length := _chain_length(placed, anatomy, [f"{side}_{one}" for one in chain]))
        ]
        if sides:
            found[name] = float(np.mean(sides))
    ends = [f"{side}_{part}" for part in ("thigh", "upper_arm") for side in ("left", "right")]
    if anatomy.has(*ends):
        a, b, c, d = (placed[anatomy.joints[end][0]] for end in ends)
        found["trunk"] = float(np.median(np.linalg.norm((c + d - a - b) / 2, axis=0)))
    return {name: length for name, length in found.items() if length > 0}


def _chain_length(placed: Floats, anatomy: Anatomy, parts: Sequence[str]) -> float:
    if not anatomy.has(*parts):
        return 0.0
    joints = [anatomy.joints[part][0] for part in parts]
    steps = [placed[b] - placed[a] for a, b in pairwise(joints)]
    return float(sum(np.median(np.linalg.norm(step, axis=0)) for step in steps))


def settle_figure(
    skeleton: Skeleton,
    anatomy: Anatomy,
    samples: Sequence[BodySample],
    hints: BodyHints,
    metres_per_unit: float | None,
    up_axis: str | None,
) -> Figure:
    """Scale and axes of a body: what the policy says, else the format, else its proportions.

    Args:
        skeleton: of the figure.
        anatomy: of the skeleton.
        samples: of the clips that share the skeleton; may be empty.
        hints: what the policy says.
        metres_per_unit: what the file format says; None where it says nothing.
        up_axis: the same.
    """
    rest = rest_positions(skeleton)[:, :, None]
    lengths = _merged_lengths(samples) or body_lengths(rest, anatomy)
    stature = stature_of(lengths)
    unit, height_m, unit_note = _unit(stature, hints, metres_per_unit)
    axis, axis_note = _axis(rest, anatomy, samples, hints, up_axis)
    return Figure(
        anatomy=anatomy,
        metres_per_unit=unit,
        to_y_up=to_y_up(axis),
        stature_m=height_m,
        leg_m=lengths.get("leg", math.nan) * unit,
        mid_depths_m={
            part: unit * way for part, way in merged([one.mid_depths for one in samples]).items()
        },
        sex=hints.sex,
        notes=tuple(note for note in (unit_note, axis_note) if note is not None),
    )


def _merged_lengths(samples: Sequence[BodySample]) -> dict[str, float]:
    names = {name for sample in samples for name in sample.lengths}
    return {
        name: float(np.median([one.lengths[name] for one in samples if name in one.lengths]))
        for name in sorted(names)
    }


def stature_of(lengths: Mapping[str, float]) -> float:
    """Stature in file units, from leg, arm and trunk; NaN if there is none of them.

    The leg decides: rigs shorten trunks and arms, and on 25 real clips the leg came nearest to
    the height of the head. Where it is far from the others (a stylised figure), their median.
    """
    said = {
        name: lengths[name] / share for name, share in STATURE_SHARES.items() if name in lengths
    }
    if not said:
        return math.nan
    usual = float(np.median(list(said.values())))
    leg = said.get("leg", math.nan)
    return leg if _LEG_TO_REST[0] < leg / usual < _LEG_TO_REST[1] else usual


def _unit(
    stature: float, hints: BodyHints, stated: float | None
) -> tuple[float, float, Note | None]:
    """Metres per unit, stature in metres, and what to tell people."""
    set_it = "set metres_per_unit or stature_m for this body in the policy if that is wrong"
    if hints.metres_per_unit is not None:
        unit = hints.metres_per_unit
        doubt = _unbelievable(stature * unit, f"metres_per_unit = {unit:g} of the policy", "")
        return unit, hints.stature_m or stature * unit, doubt
    impossible = stated is not None and _impossible(stature * stated)
    if stated is not None and not impossible:
        height_m = hints.stature_m or stature * stated
        return stated, height_m, _unbelievable(height_m, "the format's unit", f": {set_it}")
    if math.isnan(stature):
        text = f"no unit is stated and no stature can be told: 1 unit was taken as 1 m; {set_it}"
        return 1.0, math.nan, Note("units", text)
    if hints.stature_m is not None:
        unit = hints.stature_m / stature
        text = f"1 unit is {unit:.4g} m by the stature of {hints.stature_m:.2f} m in the policy"
        return unit, hints.stature_m, Note("units", text)
    name, unit = _likeliest_unit(stature)
    taken = f"1 unit was taken as 1 {name}" if name else f"1 unit was taken as {unit:.4g} m"
    why = "" if name else " because no common unit gives a human size"
    if stated is not None:
        why = f" because the format's unit would make the figure {stature * stated:.3g} m tall"
    text = f"{taken}{why}: stature {stature * unit:.2f} m; {set_it}"
    return unit, stature * unit, Note("units", text)


def _impossible(height_m: float) -> bool:
    low, high = _POSSIBLE_M
    return not math.isnan(height_m) and not low <= height_m <= high


def _unbelievable(height_m: float, what: str, mend: str) -> Note | None:
    low, high = _BELIEVABLE_M
    if math.isnan(height_m) or low <= height_m <= high:
        return None
    return Note("units", f"{what} makes the figure {height_m:.3g} m tall{mend}")


def _likeliest_unit(stature: float) -> tuple[str, float]:
    for low, high in (_ADULT_M, _CHILD_M):
        fitting = [(name, unit) for name, unit in _UNITS if low <= stature * unit <= high]
        if fitting:
            usual = math.log(_USUAL_STATURE_M)
            return min(fitting, key=lambda one: abs(math.log(stature * one[1]) - usual))
    return "", _USUAL_STATURE_M / stature


def _steadiness(samples: Sequence[BodySample]) -> Floats:
    """``(6,)`` in [0, 1]: how like a floor the lowest points are along each axis."""
    moving = [one for one in samples if one.frames > 1 and np.all(np.isfinite(one.floor_spreads))]
    if not moving:
        return np.zeros(6)
    weights = np.array([one.frames for one in moving], dtype=np.float64)
    steady = np.exp(-np.array([one.floor_spreads for one in moving]) / 0.08)
    return np.asarray(weights @ steady / weights.sum())


def _contradicted(declared: str, samples: Sequence[BodySample]) -> Note | None:
    """Figures that stand along another axis than the policy's nearly all the time."""
    frames = sum(sample.frames for sample in samples)
    held = np.array([sample.up_votes for sample in samples]).reshape(-1, 6).sum(axis=0)
    best = int(np.argmax(held))
    if AXES[best] == declared or held[best] < _NEARLY_ALL * max(frames, 1):
        return None
    return Note(
        "up-axis",
        f"the policy says that {declared} is up, but ankles to head lie along {AXES[best]} in "
        f"{held[best] / frames:.0%} of {frames} poses",
    )


def _axis(
    rest: Floats,
    anatomy: Anatomy,
    samples: Sequence[BodySample],
    hints: BodyHints,
    stated: str | None,
) -> tuple[str, Note | None]:
    if hints.up_axis is not None:
        declared = axis_name(hints.up_axis)
        return declared, _contradicted(declared, samples)
    if stated is not None:
        return axis_name(stated), None
    set_it = "set up_axis for this body in the policy if that is wrong"
    frames = sum(sample.frames for sample in samples)
    held = np.array([sample.up_votes for sample in samples]).reshape(-1, 6).sum(axis=0)
    at_rest = votes(rest, anatomy)
    total = held / max(frames, 1) + 0.4 * at_rest
    if np.any(total > 0):
        total = total + 0.6 * _steadiness(samples)
    else:
        return "y", Note("up-axis", f"no pose tells which way is up: y was taken; {set_it}")
    best = int(np.argmax(total))
    share = float(held[best]) / frames if frames else 0.0
    why = f"ankles to head lie along it in {share:.0%} of {frames} poses"
    if share < 0.5:
        why = "by the rest pose" + (" and by the steadiest floor over the poses" if frames else "")
    return AXES[best], Note("up-axis", f"{AXES[best]} was taken as up: {why}; {set_it}")
