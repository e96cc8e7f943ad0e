"""A clip's joints in the world, computed and edited with SciPy's `Rotation` alone.

An outside check: nothing here uses the program's own kinematics. Frames come first, as SciPy has
them; lengths are metres, Y is up.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation, Slerp

from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip

Array = NDArray[np.float64]


def min_jerk(t: Array) -> Array:
    """0 up to t = 0, 1 from t = 1 on, smooth between."""
    t = np.clip(t, 0.0, 1.0)
    return t**3 * (10.0 - 15.0 * t + 6.0 * t * t)


def unit(vectors: Array) -> Array:
    """``(..., 3)`` of length 1."""
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), 1e-12)


def turning(old: Array, new: Array) -> Rotation:
    """The smallest turns from ``(frames, 3)`` directions to others."""
    old, new = unit(old), unit(new)
    axis = np.cross(old, new)
    sine, cosine = np.linalg.norm(axis, axis=-1), np.sum(old * new, axis=-1)
    return Rotation.from_rotvec(unit(axis) * np.arctan2(sine, cosine)[:, None])


@dataclass
class Rig:
    """One clip, to be posed anew.

    Attributes:
        clip: as it was read.
        figure: its parts, scale and axes.
        local: a `Rotation` over frames for each joint, to its parent.
        shift: ``(joints, frames, 3)`` local translations, metres.
        places: ``(joints, frames, 3)`` in the world.
        turns: a `Rotation` over frames for each joint, to the world.
    """

    clip: Clip
    figure: Figure
    local: list[Rotation]
    shift: Array

    def __post_init__(self) -> None:
        self.moved = set(self.clip.translated.tolist())
        self.forward()

    @classmethod
    def of(cls, clip: Clip, figure: Figure) -> Rig:
        if clip.is_scaled:
            raise ValueError("scaled clips are not seeded")
        local = [Rotation.from_quat(q.T[:, [1, 2, 3, 0]]) for q in clip.rotations]
        rest = clip.skeleton.rest_translations
        shift = np.repeat(rest[:, None, :], clip.frames, axis=1)
        for row, joint in enumerate(clip.translated):
            shift[joint] = clip.translations[row].T
        return cls(clip, figure, local, shift * figure.metres_per_unit)

    @property
    def rate(self) -> float:
        return self.clip.sample_rate_hz

    @property
    def times(self) -> Array:
        return np.arange(self.clip.frames) / self.rate

    @property
    def up(self) -> Rotation:
        w, x, y, z = self.figure.to_y_up[:, 0]
        return Rotation.from_quat([x, y, z, w])

    def joint(self, part: str) -> int:
        return self.figure.anatomy.joints[part][0]

    def has(self, *parts: str) -> bool:
        return all(part in self.figure.anatomy.joints for part in parts)

    def place(self, part: str) -> Array:
        return self.places[self.joint(part)]

    def forward(self) -> None:
        parents = self.clip.skeleton.parents.tolist()
        self.places = np.empty_like(self.shift)
        self.turns: list[Rotation] = []
        for joint, parent in enumerate(parents):
            above = self.up if parent < 0 else self.turns[parent]
            base = 0.0 if parent < 0 else self.places[parent]
            self.turns.append(above * self.local[joint])
            self.places[joint] = base + above.apply(self.shift[joint])

    def between(self, part: str, end: str) -> list[int]:
        """The joints from a part's down to the one before another's: they turn as one."""
        parents = self.clip.skeleton.parents.tolist()
        way = [self.joint(end)]
        while way[-1] != self.joint(part):
            way.append(parents[way[-1]])
            if way[-1] < 0:
                raise ValueError(f"{end} does not hang from {part}")
        return way[1:][::-1]

    def turn_to(self, wanted: Mapping[int, Rotation]) -> None:
        """Gives joints these orientations in the world; what hangs from them follows."""
        parents = self.clip.skeleton.parents.tolist()
        turns: list[Rotation] = []
        for joint, parent in enumerate(parents):
            above = self.up if parent < 0 else turns[parent]
            if joint in wanted:
                self.local[joint] = above.inv() * wanted[joint]
            turns.append(above * self.local[joint])
        self.forward()

    def move_root(self, by: Array) -> None:
        """Adds ``(frames, 3)`` metres to where the pelvis is."""
        joint, parents = self.joint("pelvis"), self.clip.skeleton.parents
        above = self.up if parents[joint] < 0 else self.turns[int(parents[joint])]
        self.shift[joint] += above.inv().apply(by)
        self.moved.add(joint)
        self.forward()

    def made(self) -> Clip:
        """The clip as it is posed now."""
        quats = np.stack([one.as_quat() for one in self.local])[..., [3, 0, 1, 2]]
        moved = sorted(self.moved)
        shift = self.shift[moved] / self.figure.metres_per_unit
        return replace(
            self.clip,
            rotations=np.ascontiguousarray(np.swapaxes(quats, 1, 2)),
            translated=np.array(moved, dtype=np.intp),
            translations=np.ascontiguousarray(np.swapaxes(shift, 1, 2)),
        )


def resampled(clip: Clip, rate: float, to_end: bool = False) -> Clip:
    """The clip at another rate, rotations by SciPy's `Slerp`, translations linearly.

    With `to_end` the last frame is the clip's very last, at a rate as near as that allows.
    """
    if abs(rate - clip.sample_rate_hz) < 0.5:
        return clip
    old = np.arange(clip.frames) / clip.sample_rate_hz
    if to_end:
        rate = round(old[-1] * rate) / old[-1]
    new = np.arange(int(np.floor(old[-1] * rate + 1e-9)) + 1) / rate
    turned = [
        Slerp(old, Rotation.from_quat(q.T[:, [1, 2, 3, 0]]))(np.minimum(new, old[-1])).as_quat()
        for q in clip.rotations
    ]
    shift = [[np.interp(new, old, row) for row in rows] for rows in clip.translations]
    return replace(
        clip,
        sample_rate_hz=rate,
        rotations=np.ascontiguousarray(np.swapaxes(np.stack(turned)[..., [3, 0, 1, 2]], 1, 2)),
        translations=np.array(shift).reshape(len(clip.translated), 3, len(new)),
        weights=np.empty((0, 0)),
        weight_names=(),
        source=replace(clip.source, frame_lines=None),
    )
