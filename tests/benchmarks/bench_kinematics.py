"""Forward kinematics and capsule depths against MuJoCo's loop, in one run on one core.

    python tests/benchmarks/bench_kinematics.py [frames]

Both are given the same tree of 60 joints, the same motion, and the same explicit pairs of
capsules. MuJoCo steps through the frames from Python: `mj_kinematics`, then `mj_collision`.
"""

import os
import statistics
import sys
import time

import numpy as np

from kinelint import synthetic
from kinelint.anatomy.body import Body
from kinelint.clip import Clip
from kinelint.kinematics import rotations
from kinelint.kinematics.distance import overlaps
from kinelint.kinematics.forward import forward

FRAMES = 100_000
PAIRS = 130
REPEATS = 3


def walk(frames: int) -> tuple[Clip, Body]:
    """A person with fingers who walks and swings the arms, 60 joints that turn, and its volume."""
    t = np.arange(frames) / 60.0
    swing = np.sin(2.0 * np.pi * 0.9 * t)
    turns = {}
    for side, sign in (("left", 1.0), ("right", -1.0)):
        turns[f"{side}_thigh"] = [("X", -25.0 * sign * swing)]
        turns[f"{side}_shank"] = [("X", 30.0 + 25.0 * sign * swing)]
        turns[f"{side}_upper_arm"] = [("X", 25.0 * sign * swing), ("Z", sign * (6.0 * swing - 6.0))]
        turns[f"{side}_forearm"] = [("X", -45.0 - 40.0 * swing), ("Y", 20.0 * swing)]
    clip = synthetic.clip(frames=frames, turns=turns, fingers=True)
    body = synthetic.person_figure(fingers=True).body
    assert body is not None
    return clip, body


def pairs_of(body: Body, count: int = PAIRS) -> np.ndarray:
    """Every third pair or so: arms, legs and trunk alike."""
    return body.pairs[np.linspace(0, len(body.pairs) - 1, count).round().astype(int)]


def ours(clip: Clip, body: Body, pairs: np.ndarray) -> tuple[float, float, np.ndarray]:
    """Seconds for the kinematics, seconds for the capsules, and the depths found."""
    skeleton = clip.skeleton
    start = time.perf_counter()
    positions, orientations = forward(
        skeleton.parents,
        clip.rotations,
        skeleton.rest_translations,
        clip.translated,
        clip.translations,
    )
    middle = time.perf_counter()
    found = overlaps(body.capsules, pairs, positions, orientations)
    end = time.perf_counter()
    dense = np.zeros((len(pairs), clip.frames))
    dense[found.pair, found.frame] = found.depth_m
    return middle - start, end - middle, dense


def mujoco_model(clip: Clip, body: Body, pairs: np.ndarray):
    """The same tree with a ball joint each, the same capsules, the same explicit pairs."""
    import mujoco

    spec = mujoco.MjSpec()
    bodies = []
    for joint, parent in enumerate(clip.skeleton.parents):
        above = spec.worldbody if parent < 0 else bodies[parent]
        one = above.add_body(name=f"j{joint}", pos=clip.skeleton.rest_translations[joint])
        kind = mujoco.mjtJoint.mjJNT_FREE if parent < 0 else mujoco.mjtJoint.mjJNT_BALL
        one.add_joint(type=kind)
        one.mass = 1.0
        one.inertia = [1.0, 1.0, 1.0]
        one.explicitinertial = True
        bodies.append(one)
    rest = forward(
        clip.skeleton.parents,
        np.tile(rotations.IDENTITY, (len(clip.skeleton), 1, 1)),
        clip.skeleton.rest_translations,
        np.empty(0, np.intp),
        np.empty((0, 3, 1)),
    )[0][..., 0]
    for cap, (near, far) in enumerate(body.capsules.joints):
        start, end = (
            rest[joint] + offset
            for joint, offset in zip((near, far), body.capsules.offsets_m[cap], strict=True)
        )
        bodies[near].add_geom(
            name=f"g{cap}",
            type=mujoco.mjtGeom.mjGEOM_CAPSULE,
            fromto=[*(start - rest[near]), *(end - rest[near])],
            size=[body.capsules.radii_m[cap], 0.0, 0.0],
            contype=0,
            conaffinity=0,
        )
    for first, second in pairs:
        spec.add_pair(geomname1=f"g{first}", geomname2=f"g{second}")
    return spec.compile()


def theirs(model, clip: Clip, pairs: np.ndarray, frames: int) -> tuple[float, float, np.ndarray]:
    """The same three from MuJoCo, over the first `frames` frames."""
    import mujoco

    data = mujoco.MjData(model)
    qpos = np.concatenate((clip.translations[0], clip.rotations.reshape(-1, clip.frames)))
    # Names give the order of MuJoCo's joints, which need not be that of the clip.
    order = [model.body(f"j{joint}").jntadr[0] for joint in range(len(clip.skeleton))]
    address = model.jnt_qposadr[order]
    rows = np.concatenate([np.arange(7), *(a + np.arange(4) for a in address[1:])])
    placed = np.empty((frames, model.nq))
    placed[:, rows] = qpos[:, :frames].T
    row_of = {frozenset(pair): row for row, pair in enumerate(pairs.tolist())}
    geoms = {model.geom(f"g{cap}").id: cap for cap in range(model.ngeom)}
    dense = np.zeros((len(pairs), frames))
    kinematics = collision = 0.0
    for f in range(frames):
        data.qpos[:] = placed[f]
        start = time.perf_counter()
        mujoco.mj_kinematics(model, data)
        middle = time.perf_counter()
        mujoco.mj_collision(model, data)
        end = time.perf_counter()
        kinematics += middle - start
        collision += end - middle
        if f % 997 == 0:
            for contact in data.contact[: data.ncon]:
                row = row_of[frozenset(geoms[int(one)] for one in contact.geom)]
                dense[row, f] = max(dense[row, f], -contact.dist)
    return kinematics, collision, dense


def calling(model, calls: int = 100_000) -> float:
    """Seconds a frame that Python's two calls and the clock take, MuJoCo's own work left out."""
    import mujoco

    spent = 0.0
    for _ in range(calls):
        start = time.perf_counter()
        mujoco.mj_isPyramidal(model)  # returns a flag of the model
        spent += time.perf_counter() - start
    return 2.0 * spent / calls


def main(frames: int = FRAMES) -> dict[str, float]:
    """Prints both side by side and returns the ratios, ours by theirs."""
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    clip, body = walk(frames)
    pairs = pairs_of(body)
    model = mujoco_model(clip, body, pairs)
    mine, other = [], []
    for _ in range(REPEATS):
        mine.append(ours(clip, body, pairs))
        other.append(theirs(model, clip, pairs, frames))
    checked = np.arange(0, frames, 997)
    apart = float(np.abs(mine[0][2][:, checked] - other[0][2][:, checked]).max())
    assert apart < 1e-9, f"depths differ by {apart} m"
    joints = len(clip.skeleton)
    print(f"{joints} joints, {len(pairs)} capsule pairs, {frames} frames, one core, medians")
    print(f"depths agree to {apart:.1e} m; pairs that overlap: {np.mean(mine[0][2] > 0):.1%}")
    print(f"{'':24}{'ours':>10}{'MuJoCo':>10}{'ratio':>8}")
    ratios = {}
    for name, column, unit in (("kinematics", 0, joints), ("capsules", 1, len(pairs))):
        a, b = (statistics.median(run[column] for run in runs) for runs in (mine, other))
        each = 1e9 / unit / frames
        ratios[name] = a / b
        print(f"{name + ', ns each':24}{a * each:10.1f}{b * each:10.1f}{a / b:8.2f}")
    a, b = (statistics.median(run[0] + run[1] for run in runs) for runs in (mine, other))
    ratios["together"] = a / b
    print(f"{'together, s':24}{a:10.2f}{b:10.2f}{a / b:8.2f}")
    bare = b - calling(model) * frames
    print(f"{'without calls, s':24}{a:10.2f}{bare:10.2f}{a / bare:8.2f}")
    return ratios


if __name__ == "__main__":
    main(*(int(one) for one in sys.argv[1:]))
