"""Joints that shake: tones and noise of known size above the cut-off, filtered with SciPy."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, sosfiltfilt
from scipy.spatial.transform import Rotation

from accuracy.rig import Array, Rig
from accuracy.seed import Seed
from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip

PARTS = ("upper_arm", "forearm", "hand", "thigh", "shank")
# Peak to peak of a sine wave over its root mean square.
PEAK_TO_PEAK = 2.0 * np.sqrt(2.0)


def shaking(
    frames: int, rate: float, span: tuple[int, int], hz: float | None, chance: np.random.Generator
) -> Array:
    """``(frames,)`` of root mean square 1 within the span, 0 elsewhere: a tone, or noise."""
    time = np.arange(frames) / rate
    if hz is None:
        sos = butter(4, 9.0, "highpass", fs=rate, output="sos")
        raw = sosfiltfilt(sos, chance.normal(size=frames))
    else:
        raw = np.sin(2.0 * np.pi * hz * time + chance.uniform(0.0, 2.0 * np.pi))
    inside = slice(span[0], span[1] + 1)
    out = np.zeros(frames)
    out[inside] = raw[inside] / np.sqrt(np.mean(raw[inside] ** 2))
    return out


def shaken(
    clip: Clip,
    figure: Figure,
    side: str,
    size: float,
    chance: np.random.Generator,
    kind: str = "tone",
    seconds: float = 1.0,
) -> Seed | None:
    """A joint's turn (degrees), or with kind "root" the whole figure (mm), shakes for a while."""
    rig = Rig.of(clip, figure)
    part = "pelvis" if kind == "root" else f"{side}_{chance.choice(PARTS)}"
    length = round(seconds * rig.rate)
    if not rig.has(part) or clip.frames < length + 20:
        return None
    first = int(chance.integers(8, clip.frames - 8 - length))
    span = first, first + length - 1
    hz = None if kind == "noise" else float(chance.uniform(9.0, min(0.45 * rig.rate, 14.0)))
    one = shaking(clip.frames, rig.rate, span, hz, chance) * size / PEAK_TO_PEAK
    axis = chance.normal(size=3)
    axis = axis / np.linalg.norm(axis)
    if kind == "root":
        rig.move_root(one[:, None] * axis / 1000.0)
    else:
        joint = rig.joint(part)
        rig.local[joint] = rig.local[joint] * Rotation.from_rotvec(np.radians(one)[:, None] * axis)
        rig.forward()
    return Seed(
        f"shake, {kind}", "jitter", (part,), rig.made(), span[0] / rig.rate, span[1] / rig.rate,
        size, "mm" if kind == "root" else "deg", (part,),
        detail=f"{part}, frames {span[0]}-{span[1]}, {hz or 0.0:.1f} Hz",
    )  # fmt: skip
