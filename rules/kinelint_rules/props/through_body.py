"""Where a prop lies in the body of the figure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kinelint.anatomy.body import Body, capsule_ends
from kinelint.anatomy.parts import side_of
from kinelint.cue import Box, Rod
from kinelint.kinematics import rotations
from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.kinematics.distance import overlaps_of
from kinelint.motion import Motion
from kinelint_rules.props.box_depth import box_depths
from kinelint_rules.props.props import PropMotion, column


@dataclass(frozen=True, eq=False)
class Inside:
    """A prop in one part of the body.

    Attributes:
        part: of the body.
        depth_mm: ``(frames,)`` of the clip; 0 where it is clear or not to be judged.
        ways: ``(3, frames)`` along which the prop clears the part soonest.
    """

    part: str
    depth_mm: Floats
    ways: Floats


def inside(motion: Motion, prop: PropMotion, allowed: dict[str, Bools]) -> list[Inside]:
    """Parts that a prop lies in somewhere.

    Args:
        motion: with a body.
        prop: with a bulk.
        allowed: part to ``(frames,)`` where it may touch the prop; "" speaks for every part.
    """
    body = motion.figure.body
    if body is None or prop.prop.bulk is None:
        return []
    everywhere = allowed.get("", np.zeros(motion.frames, np.bool_))
    found = []
    for part in dict.fromkeys(body.parts):
        judged = ~(everywhere | allowed.get(part, np.zeros(motion.frames, np.bool_)))
        frames = np.flatnonzero(judged)
        if not frames.size:
            continue
        caps = [cap for cap, name in enumerate(body.parts) if name == part]
        depth, ways = np.zeros(motion.frames), np.zeros((3, motion.frames))
        for cap in caps:
            deep, way = _depths(motion, body, prop, cap, frames)
            more = deep > depth[frames]
            depth[frames[more]], ways[:, frames[more]] = deep[more], way[:, more]
        if depth.any():
            found.append(Inside(part, 1000.0 * depth, ways))
    return found


def _depths(
    motion: Motion, body: Body, prop: PropMotion, cap: int, frames: Ints
) -> tuple[Floats, Floats]:
    """``(n,)`` depth and ``(3, n)`` way out of one capsule, at some frames."""
    starts, ends = motion.derive(capsule_ends)
    start, end = starts[cap][:, frames], ends[cap][:, frames]
    radius = float(body.capsules.radii_m[cap])
    place, turn = prop.frame.place_m[:, frames], prop.frame.turn[:, frames]
    bulk = prop.prop.bulk
    if isinstance(bulk, Rod):
        tips = [place + rotations.rotate(turn, column(one)) for one in (bulk.from_m, bulk.to_m)]
        pairs = np.array([[0, 1]])
        told = overlaps_of(
            np.stack((tips[0], start)),
            np.stack((tips[1], end)),
            np.array([bulk.radius_m, radius]),
            pairs,
        )
        depth, way = np.zeros(start.shape[1]), np.zeros(start.shape)
        depth[told.frame], way[:, told.frame] = told.depth_m, told.direction
        return depth, way
    assert isinstance(bulk, Box)
    middle, half = column(bulk.middle_m), 0.5 * np.array(bulk.size_m)
    own = [rotations.unrotate(turn, one - place) - middle for one in (start, end)]
    depth, way = np.zeros(start.shape[1]), np.zeros(start.shape)
    # Only what its bounding sphere reaches.
    reach = float(np.linalg.norm(half)) + radius
    arm = 0.5 * np.linalg.norm(own[1] - own[0], axis=0)
    near = np.flatnonzero(np.linalg.norm(0.5 * (own[0] + own[1]), axis=0) <= reach + arm)
    if near.size:
        deep, out = box_depths(own[0][:, near], own[1][:, near], radius, half)
        depth[near] = np.maximum(deep, 0.0)
        way[:, near] = rotations.rotate(turn[:, near], out)
    return depth, way


def holding(hand: str) -> tuple[str, ...]:
    """The parts that a prop may touch while this hand holds it."""
    return hand, f"{side_of(hand)}_forearm"
