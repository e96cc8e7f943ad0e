"""The anatomical zero of a skeleton, calibrated on how it stands over all its clips.

A rest pose is not anatomical: rest spines lean, rest feet point down. So each segment's
anatomical axes are tied to its joint in the frames where the figure stands upright with its feet
planted; then they move with the joint. Joint axes may be turned at will: nothing changes.

Sampling is one pass over one clip and gives sums; settling merges the sums of all clips.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from kinelint.anatomy import segment_axes as seg
from kinelint.anatomy.parts import FINGERS, SIDES
from kinelint.anatomy.upright import (
    FLAT_LEGS,
    ankle_over_ball,
    ball_joint,
    leg_length,
    planted,
    upright,
)
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.kinematics.hinge import BendPlanes, bend, bend_planes, merged
from kinelint.kinematics.vectors import cross, unit
from kinelint.motion import Motion

# Clips longer than this many frames are thinned further.
MANY_FRAMES = 2000
# Less calibration than this is no zero.
LEAST_SECONDS = 0.1
# The mean of frames that differ by more than this (root mean square) is no zero either.
MOST_SPREAD_DEG = 25.0
NOBODY_STANDS = "no clip of this skeleton stands upright with its feet planted for long enough"
HANGING_ARM_RAD = float(np.radians(25.0))
# The hinges whose axis is learnt from how they bend, by the part that starts there.
HINGES = (
    "forearm",
    "shank",
    *(f"{finger}_{number}" for finger in FINGERS for number in (1, 2, 3)),
)


@dataclass(frozen=True, eq=False)
class Turns:
    """Rotations of one kind, summed so that sums of several clips add up.

    Attributes:
        outer: ``(4, 4)`` sum of the quaternions' outer products, each weighted by its seconds.
        seconds: in all.
    """

    outer: Floats
    seconds: float

    @property
    def mean(self) -> Floats:
        """``(4, 1)`` the rotation nearest to all (Markley et al. 2007)."""
        _, vectors = np.linalg.eigh(self.outer)
        return np.asarray(vectors[:, -1:])

    @property
    def spread_deg(self) -> float:
        """Root mean square angle from the mean: the eigenvalue's share is mean cos²(angle / 2)."""
        share = float(np.linalg.eigvalsh(self.outer)[-1]) / self.seconds
        return float(np.degrees(2 * np.arccos(np.sqrt(np.clip(share, 0.0, 1.0)))))


@dataclass(frozen=True, eq=False)
class ZeroSample:
    """What one clip says of its skeleton's zero.

    Attributes:
        standing, stride: segment ("pelvis", "left_foot") to turns from its anatomical axes to
            its joint's axes, in the frames that `upright` calls so.
        bends: hinge ("left_shank") to its bend planes, in the axes of the joint above.
        heels: side to how high its ankle is over the ball of the planted foot, in leg lengths:
            clips whose feet stand on their balls are left out where others stand flat.
    """

    standing: Mapping[str, Turns]
    stride: Mapping[str, Turns]
    bends: Mapping[str, BendPlanes]
    heels: Mapping[str, float] = field(default_factory=dict)

    def flat_against(self, lowest: Mapping[str, float]) -> ZeroSample:
        """Without the feet that stand higher on their balls than `lowest`."""
        raised = {
            f"{side}_{part}"
            for side, heel in self.heels.items()
            for part in ("foot", "toes", "shank")
            if heel > lowest[side] + FLAT_LEGS
        }
        kept = {name: turns for name, turns in self.standing.items() if name not in raised}
        return replace(self, standing=kept)


@dataclass(frozen=True, eq=False)
class Zero:
    """The anatomical zero of one skeleton.

    Attributes:
        axes: segment to ``(4, 1)``: from its anatomical axes to its joint's axes.
        hinge_axes: hinge to ``(3, 1)`` unit axis in the axes of the joint above, about which it
            bends in the positive sense.
        from_stride: whether some segment was calibrated on strides alone: nobody stood.
        missing: segment to the reason why it has no zero.
    """

    axes: Mapping[str, Floats] = field(default_factory=dict)
    hinge_axes: Mapping[str, Floats] = field(default_factory=dict)
    from_stride: bool = False
    missing: Mapping[str, str] = field(default_factory=dict)


def sample_zero(motion: Motion) -> ZeroSample | None:
    """What one clip says of the zero; None if it says nothing."""
    if motion.cue.additive or motion.frames < 1:
        return None
    motion = thinned(motion)
    frames = upright(motion)
    feet = {side: planted(motion, side) for side in SIDES}
    standing = dict(_sampled(motion, frames.standing, feet))
    standing |= {name: turns for side in SIDES for name, turns in _foot(motion, side, feet[side])}
    stride = dict(_sampled(motion, frames.stride, feet))
    bends = dict(_sample_bends(motion))
    heels = {
        side: float(np.mean(ankle_over_ball(motion, side)[mask])) / leg_length(motion, side)
        for side, mask in feet.items()
        if mask.any()
    }
    return ZeroSample(standing, stride, bends, heels) if standing or stride or bends else None


def thinned(motion: Motion) -> Motion:
    """The motion at about 25 Hz, a long one down to 10 Hz: enough for sums over its frames."""
    every = int(motion.sample_rate_hz // 25)
    if motion.frames > MANY_FRAMES * max(every, 1):
        every = min(motion.frames // MANY_FRAMES, int(motion.sample_rate_hz // 10))
    if every <= 1:
        return motion
    clip = motion.clip
    sparse = replace(
        clip,
        sample_rate_hz=clip.sample_rate_hz / every,
        rotations=clip.rotations[..., ::every],
        translations=clip.translations[..., ::every],
        scales=clip.scales[..., ::every],
        weights=clip.weights[..., ::every],
    )
    return Motion(sparse, motion.figure, motion.cue, motion.ground_m)


def settle_zero(samples: Sequence[ZeroSample]) -> Zero | None:
    """The zero of the skeleton that all `samples` are of; None if they say nothing."""
    axes: dict[str, Floats] = {}
    missing: dict[str, str] = {}
    from_stride = False
    lowest = {
        side: min((one.heels[side] for one in samples if side in one.heels), default=0.0)
        for side in SIDES
    }
    samples = [one.flat_against(lowest) for one in samples]
    for segment in sorted({name for one in samples for name in (*one.standing, *one.stride)}):
        for kind in ("standing", "stride"):
            turns = _summed(getattr(one, kind).get(segment) for one in samples)
            reason = _reason_against(turns)
            if not reason and turns is not None:
                axes[segment] = turns.mean
                from_stride |= kind == "stride"
                missing.pop(segment, None)
                break
            if turns is not None or segment not in missing:
                missing[segment] = reason
    hinges = {name: _axis_over(samples, name) for name in _hinges_of(samples)}
    known = {name: axis for name, axis in hinges.items() if axis is not None}
    return Zero(axes, known, from_stride, missing) if axes or known else None


def _hinges_of(samples: Sequence[ZeroSample]) -> list[str]:
    return sorted({name for one in samples for name in one.bends})


def _axis_over(samples: Sequence[ZeroSample], hinge: str) -> Floats | None:
    return merged(one.bends[hinge] for one in samples if hinge in one.bends).axis()


def _summed(several: Iterable[Turns | None]) -> Turns | None:
    present = [one for one in several if one is not None]
    if not present:
        return None
    outer = np.sum([one.outer for one in present], axis=0)
    return Turns(outer, sum(one.seconds for one in present))


def _reason_against(turns: Turns | None) -> str:
    if turns is None or turns.seconds < LEAST_SECONDS:
        return NOBODY_STANDS
    if turns.spread_deg > MOST_SPREAD_DEG:
        return f"it turns too much while the figure stands (by {turns.spread_deg:.0f} deg)"
    return ""


def _sampled(motion: Motion, mask: Bools, feet: Mapping[str, Bools]) -> Iterator[tuple[str, Turns]]:
    """Turns of trunk, arms and planted legs in the frames of `mask`."""
    hips = seg.right_line(motion, "thigh")
    if hips is None:
        return
    right = seg.level(hips)
    yield from _trunk(motion, mask, right)
    for side in SIDES:
        yield from _arm(motion, side, mask)
        yield from _leg(motion, side, mask & feet[side], right)


def _trunk(motion: Motion, mask: Bools, hips_right: Floats) -> Iterator[tuple[str, Turns]]:
    shoulders = seg.right_line(motion, "upper_arm")
    right = hips_right if shoulders is None else seg.level(shoulders)
    for segment, own_right in (("pelvis", hips_right), ("thorax", right), ("head", right)):
        yield from _turns(motion, segment, seg.axes(seg.UP, own_right), mask)


def _leg(motion: Motion, side: str, mask: Bools, right: Floats) -> Iterator[tuple[str, Turns]]:
    thigh = seg.segment_line(motion, f"{side}_thigh")
    if thigh is not None:
        yield from _turns(motion, f"{side}_thigh", seg.axes(-thigh, right), mask)


def _foot(motion: Motion, side: str, mask: Bools) -> Iterator[tuple[str, Turns]]:
    ankle, ball = seg.start_joint(motion, f"{side}_foot"), ball_joint(motion, side)
    if ankle is None or ball is None:
        return
    forward = seg.level(seg.line(motion, ankle, ball))
    right = cross(forward, np.broadcast_to(seg.UP, forward.shape))
    for part in ("foot", "toes"):
        yield from _turns(motion, f"{side}_{part}", seg.axes(seg.UP, right), mask)
    shank = seg.segment_line(motion, f"{side}_shank")
    if shank is not None:
        yield from _turns(motion, f"{side}_shank", seg.axes(-shank, right), mask)


def _arm(motion: Motion, side: str, mask: Bools) -> Iterator[tuple[str, Turns]]:
    """An arm that hangs: its elbow's axis lies about along the line of the shoulders."""
    part = f"{side}_upper_arm"
    arm, shoulders = seg.segment_line(motion, part), seg.right_line(motion, "upper_arm")
    if arm is None or shoulders is None:
        return
    hanging = bend(np.broadcast_to(-seg.UP, arm.shape), arm) < HANGING_ARM_RAD
    yield from _turns(motion, part, seg.axes(-arm, unit(shoulders)), mask & hanging)


def _turns(
    motion: Motion, segment: str, anatomical: Floats, mask: Bools
) -> Iterator[tuple[str, Turns]]:
    joint = seg.segment_joint(motion, segment)
    mask = mask & np.isfinite(anatomical).all(axis=0)
    if joint is None or not mask.any():
        return
    own = rotations.conjugate(motion.orientations[joint][:, mask])
    q = rotations.multiply(own, anatomical[:, mask])
    frame_s = 1.0 / motion.sample_rate_hz
    yield segment, Turns(q @ q.T * frame_s, float(mask.sum()) * frame_s)


def _sample_bends(motion: Motion) -> Iterator[tuple[str, BendPlanes]]:
    for side in SIDES:
        for name in HINGES:
            hinge = f"{side}_{name}"
            lines = hinge_lines(motion, hinge)
            if lines is None:
                continue
            planes = bends_of(motion, hinge, *lines)
            if planes.seconds > 0:
                yield hinge, planes


def bends_of(motion: Motion, hinge: str, proximal: Floats, distal: Floats) -> BendPlanes:
    """The bend planes of one hinge over one motion, in the axes of the joint above."""
    above = motion.orientations[frame_above(motion, hinge)]
    normals = rotations.unrotate(above, cross(proximal, distal))
    return bend_planes(normals, bend(proximal, distal), 1.0 / motion.sample_rate_hz)


def frame_above(motion: Motion, hinge: str) -> int:
    """The joint in whose axes a hinge's axis is fixed: the parent of the hinge's joint."""
    joint = motion.figure.anatomy.joints[hinge][0]
    above = int(motion.clip.skeleton.parents[joint])
    return joint if above < 0 else above


def hinge_lines(motion: Motion, hinge: str) -> tuple[Floats, Floats] | None:
    """Directions above and below a hinge, ``(3, frames)`` each; None if a joint is missing."""
    chain = hinge_chain(motion, hinge)
    if chain is None:
        return None
    start, middle, end = chain
    return unit(seg.line(motion, start, middle)), unit(seg.line(motion, middle, end))


def hinge_chain(motion: Motion, hinge: str) -> tuple[int, int, int] | None:
    """The joints above, at and below a hinge; None if one is missing."""
    middle, end = seg.start_joint(motion, hinge), seg.end_joint(motion, hinge)
    start = seg.start_joint(motion, part_above(hinge))
    if start is None or middle is None or end is None:
        return None
    return start, middle, end


def part_above(hinge: str) -> str:
    """The part whose segment lies above a hinge: its near end is where that begins."""
    side, _, rest = hinge.partition("_")
    finger, _, number = rest.rpartition("_")
    if number.isdigit():
        return f"{side}_{finger}_{int(number) - 1}" if int(number) > 1 else f"{side}_hand"
    return {"forearm": f"{side}_upper_arm", "shank": f"{side}_thigh"}[rest]
