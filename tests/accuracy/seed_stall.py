"""Motion that stalls: frames that repeat, wrong rates, parts and fingers that freeze."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.spatial.transform import Rotation, Slerp

from accuracy.rig import Array, Rig
from accuracy.seed import Seed
from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip

PARTS = ("upper_arm", "forearm", "thigh", "shank")


def read_at(clip: Clip, frames: Array) -> Clip:
    """The clip with its frames taken from others, by index."""
    return replace(
        clip,
        rotations=np.ascontiguousarray(clip.rotations[..., frames]),
        translations=np.ascontiguousarray(clip.translations[..., frames]),
        scales=np.ascontiguousarray(clip.scales[..., frames]) if len(clip.scaled) else clip.scales,
        weights=np.empty((0, 0)),
        weight_names=(),
        source=replace(clip.source, frame_lines=None),
    )


def quickest_deg_per_s(clip: Clip) -> Array:
    """``(frames - 1)`` how fast the fastest joint turns, by SciPy."""
    fastest = np.zeros(clip.frames - 1)
    for q in clip.rotations:
        turns = Rotation.from_quat(q.T[:, [1, 2, 3, 0]])
        np.maximum(fastest, (turns[:-1].inv() * turns[1:]).magnitude(), out=fastest)
    return np.degrees(fastest) * clip.sample_rate_hz


def standstill(
    clip: Clip, frames: int, chance: np.random.Generator, least_deg_per_s: float = 60.0
) -> Seed | None:
    """The figure repeats one pose for some frames, where it moves; what follows is not late."""
    speed = quickest_deg_per_s(clip)
    reach = frames + 2
    quick = np.array([speed[max(at - 3, 0) : at + reach].min() for at in range(speed.size)])
    places = [
        at for at in np.flatnonzero(quick > least_deg_per_s) if 6 < at < clip.frames - reach - 6
    ]
    if not places:
        return None
    at = int(chance.choice(places))
    index = np.arange(clip.frames)
    index[at + 1 : at + 1 + frames] = at
    rate = clip.sample_rate_hz
    return Seed(
        "standstill", "stall", ("clip",), read_at(clip, index), (at + 1) / rate,
        (at + frames) / rate, 1000.0 * frames / rate, "ms", detail=f"frames {at + 1}-{at + frames}",
    )  # fmt: skip


def converted(clip: Clip, from_hz: float) -> Seed:
    """As if the take was made at a lower rate and saved at the clip's, by repeating frames."""
    rate = clip.sample_rate_hz
    time = np.arange(clip.frames) / rate
    kept = np.floor(time * from_hz + 1e-9) / from_hz
    old = [Rotation.from_quat(q.T[:, [1, 2, 3, 0]]) for q in clip.rotations]
    turned = [Slerp(time, one)(np.minimum(kept, time[-1])).as_quat() for one in old]
    shift = [[np.interp(kept, time, row) for row in rows] for rows in clip.translations]
    made = replace(
        clip,
        rotations=np.ascontiguousarray(np.swapaxes(np.stack(turned)[..., [3, 0, 1, 2]], 1, 2)),
        translations=np.array(shift).reshape(clip.translations.shape),
        scales=np.ascontiguousarray(clip.scales),
        weights=np.empty((0, 0)),
        weight_names=(),
    )
    share = 100.0 * (1.0 - from_hz / rate)
    return Seed("rate", "stall", ("clip",), made, 0.0, time[-1], share, "percent")


def frozen(
    clip: Clip,
    figure: Figure,
    side: str,
    ms: float,
    chance: np.random.Generator,
    space: bool = False,
    least_deg_per_s: float = 40.0,
) -> Seed | None:
    """A part keeps its turn (or with `space` its heading in the world) where it moves well."""
    rig = Rig.of(clip, figure)
    frames = round(ms / 1000.0 * rig.rate)
    if frames < 2 or clip.frames < frames + 16:
        return None
    candidates = []
    parents = clip.skeleton.parents
    for part in PARTS:
        name = f"{side}_{part}"
        if not rig.has(name):
            continue
        joint = rig.joint(name)
        turns = rig.turns[joint] if space else rig.local[joint]
        own = np.degrees((turns[:-1].inv() * turns[1:]).magnitude()) * rig.rate
        above = rig.turns[int(parents[joint])]
        parent = np.degrees((above[:-1].inv() * above[1:]).magnitude()) * rig.rate
        for at in range(8, clip.frames - frames - 8):
            beside = min(own[at - 4 : at].min(), own[at + frames : at + frames + 4].min())
            if beside > least_deg_per_s and parent[at : at + frames].mean() > 30.0:
                candidates.append((name, joint, at))
    if not candidates:
        return None
    name, joint, at = candidates[int(chance.integers(len(candidates)))]
    inside = slice(at + 1, at + 1 + frames)
    if space:
        quats = rig.turns[joint].as_quat()
        quats[inside] = quats[at]
        rig.turn_to({joint: Rotation.from_quat(quats)})
    else:
        quats = rig.local[joint].as_quat()
        quats[inside] = quats[at]
        rig.local[joint] = Rotation.from_quat(quats)
        rig.forward()
    return Seed(
        "frozen in space" if space else "frozen", "stall", (name,), rig.made(), at / rig.rate,
        (at + frames) / rig.rate, 1000.0 * frames / rig.rate, "ms", (name,),
        detail=f"{name}, frames {at}-{at + frames}",
    )  # fmt: skip
