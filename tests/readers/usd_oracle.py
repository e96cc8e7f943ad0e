"""Where UsdSkel itself has the joints: the second reading that the reader is held to."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from pxr import Usd, UsdGeom, UsdSkel

from kinelint.anatomy.tree import positions as clip_positions
from kinelint.clip import Clip
from kinelint.kinematics.arrays import Floats


def skeleton_query(stage: Usd.Stage, path: str) -> UsdSkel.SkeletonQuery:
    """UsdSkel's query for the skeleton at `path`."""
    cache = UsdSkel.Cache()
    for prim in Usd.PrimRange.Stage(stage, Usd.TraverseInstanceProxies()):
        if prim.IsA(UsdSkel.Root):
            cache.Populate(UsdSkel.Root(prim), Usd.TraverseInstanceProxies())
    query = cache.GetSkelQuery(UsdSkel.Skeleton(stage.GetPrimAtPath(path)))
    assert query, f"UsdSkel plays nothing on {path}"
    return query


def world_positions(stage: Usd.Stage, path: str, codes: Floats) -> dict[str, Floats]:
    """Token to ``(3, frames)`` world positions, in stage units."""
    query, prim = skeleton_query(stage, path), stage.GetPrimAtPath(path)
    frames = []
    for code in codes:
        time = Usd.TimeCode(float(code))
        # Not ComputeJointWorldTransforms: of an instance it gives the world of the prototype.
        space = np.asarray(UsdGeom.XformCache(time).GetLocalToWorldTransform(prim))
        posed = np.asarray(query.ComputeJointSkelTransforms(time)) @ space
        frames.append(posed[:, 3, :3])
    positions = np.stack(frames, axis=-1)
    return dict(zip(map(str, query.GetJointOrder()), positions, strict=True))


def furthest_mm(file: Path, clip: Clip, skeleton: str = "/Crew/Skel") -> float:
    """How far the clip's joints ever are from where UsdSkel has them, millimetres."""
    stage = Usd.Stage.Open(str(file))
    rate = stage.GetTimeCodesPerSecond()
    codes = (clip.start_s + clip.times_s) * rate
    wanted = world_positions(stage, skeleton, codes)
    ours = clip_positions(clip)
    unit = UsdGeom.GetStageMetersPerUnit(stage)
    joint_of = {handle: joint for joint, handle in enumerate(clip.skeleton.handles)}
    far = [
        np.linalg.norm(ours[joint_of[f"{skeleton}/{token}"]] - positions, axis=0).max()
        for token, positions in wanted.items()
    ]
    return float(max(far)) * unit * 1000.0
