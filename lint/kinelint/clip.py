"""What a file says: skeletons and clips, in the file's own axes and units.

Readers make these; everything else derives from them. All arrays are read-only float64 with the
frames last (see `kinelint.kinematics`).
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import ClassVar

import numpy as np

from kinelint.finding import Note
from kinelint.kinematics.arrays import Bools, Floats, Ints, frozen

LARGEST = 1e12
"""Of any number in a file, in the file's own unit: no length and no angle of a motion is larger.
Beyond it squares and products of what is read would end as infinities."""


@dataclass(frozen=True, eq=False)
class Skeleton:
    """A forest of joints, parents before children.

    Attributes:
        names: as in the file; may be empty or repeated.
        parents: ``(joints,)`` index of the parent, -1 for a root.
        rest_translations: ``(joints, 3)`` from the parent, in the parent's axes, file units.
        rest_rotations: ``(joints, 4)`` to the parent's axes.
        rest_scales: ``(joints, 3)``.
        tips: ``(joints,)`` true for a point that only ends a chain (a BVH End Site).
        handles: what the file calls each joint, for machines: the line of its name in a BVH file
            ("line 12"), a JSON pointer in a glTF file ("/nodes/4").
        humanoid: joints that the file itself names by an open standard: H-Anim or VRM bone name
            to joint index. Empty for most files.
    """

    names: tuple[str, ...]
    parents: Ints
    rest_translations: Floats
    rest_rotations: Floats = field(default_factory=lambda: np.empty((0, 4)))
    rest_scales: Floats = field(default_factory=lambda: np.empty((0, 3)))
    tips: Bools = field(default_factory=lambda: np.empty(0, dtype=np.bool_))
    handles: tuple[str, ...] = ()
    humanoid: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        n = len(self.names)
        put = object.__setattr__
        put(self, "parents", frozen(self.parents, np.intp))
        put(self, "rest_translations", frozen(self.rest_translations))
        rotations = (
            self.rest_rotations if len(self.rest_rotations) else np.tile([1.0, 0, 0, 0], (n, 1))
        )
        scales = self.rest_scales if len(self.rest_scales) else np.ones((n, 3))
        put(self, "rest_rotations", frozen(rotations))
        put(self, "rest_scales", frozen(scales))
        put(self, "tips", frozen(self.tips if len(self.tips) else np.zeros(n), np.bool_))
        if self.parents.shape != (n,) or self.rest_translations.shape != (n, 3):
            raise ValueError(f"{n} joints need {n} parents and {n} rest translations")
        if np.any(self.parents >= np.arange(n)) or np.any(self.parents < -1):
            raise ValueError("parents must come before their children")

    def __len__(self) -> int:
        return len(self.names)

    @cached_property
    def children(self) -> tuple[tuple[int, ...], ...]:
        """The children of each joint, in file order."""
        lists: list[list[int]] = [[] for _ in self.names]
        for joint, parent in enumerate(self.parents.tolist()):
            if parent >= 0:
                lists[parent].append(joint)
        return tuple(tuple(one) for one in lists)

    @cached_property
    def signature(self) -> str:
        """Equal for two skeletons with the same names, parents, size and rest pose (to 1e-4 of it).

        Where a root rests does not count: exporters write the take's first place there.
        """
        inner = np.where(self.parents[:, None] < 0, 0.0, self.rest_translations)
        size = float(np.abs(inner).max(initial=0.0)) or 1.0
        rounded = np.round(inner / size, 4) + 0.0
        turned = np.round(self.rest_rotations, 4) + 0.0
        text = "\n".join(self.names)
        # The same doll in centimetres and in metres shares no figure: its unit would be wrong.
        scale = f"{size:.3g}".encode()
        shape = (rounded.tobytes(), turned.tobytes(), scale)
        parts = (text.encode(), self.parents.tobytes(), *shape)
        return hashlib.sha256(b"\0".join(parts)).hexdigest()[:16]

    def equals(self, other: Skeleton) -> bool:
        """Whether both say the same, to the last digit and the place of the root."""
        arrays = ("parents", "rest_translations", "rest_rotations", "rest_scales", "tips")
        words = ("names", "handles", "humanoid")
        return all(getattr(self, name) == getattr(other, name) for name in words) and all(
            np.array_equal(getattr(self, name), getattr(other, name)) for name in arrays
        )

    def path(self, joint: int) -> str:
        """Names from the root to the joint, joined by "/"."""
        steps: list[str] = []
        while joint >= 0:
            steps.append(self.names[joint] or f"joint {joint}")
            joint = int(self.parents[joint])
        return "/".join(reversed(steps))


@dataclass(frozen=True)
class Source:
    """Where a clip came from, and how a frame or a joint is found there.

    Attributes:
        media: "bvh", "gltf", "glb", …
        binary: true if the file has no lines.
        clip_handle: the machine's name of the clip in the file ("/animations/0").
        frame_lines: ``(frames,)`` line of the text file, from 1, on which a frame stands; None
            where frames have no lines.
    """

    media: str
    binary: bool = False
    clip_handle: str = ""
    frame_lines: Ints | None = None


@dataclass(frozen=True, eq=False)
class LongTurns:
    """Steps of stored rotation channels that run the long way round from one key to the next.

    Whoever interpolates the stored numbers between these keys turns much further than the poses
    lie apart: Euler angles that wrap or flip to their other reading, quaternions that change
    their sign.

    Attributes:
        joints: ``(steps,)`` joint of each.
        frames: ``(steps,)`` frame that the step leads to.
        stored_deg: ``(steps,)`` how far the stored numbers turn.
        true_deg: ``(steps,)`` how far apart the poses are.
        kinds: ``(steps,)`` WRAP, READING, LOCK, SIGN or SPLINE.
        shifts_deg: ``(steps, 3)`` what to add to the X, Y and Z channels from the frame on so
            that they run on (of a READING to these values alone: the angles after it run the
            other way); NaN where there are no such channels.
    """

    WRAP: ClassVar[int] = 0
    """An Euler angle goes on a whole turn away."""
    READING: ClassVar[int] = 1
    """Euler angles flip to the other triple that stands for the same rotation."""
    LOCK: ClassVar[int] = 2
    """Euler angles pass by a gimbal lock; no other triple lies nearer."""
    SIGN: ClassVar[int] = 3
    """A quaternion changes its sign between keys that are joined by the short way."""
    SPLINE: ClassVar[int] = 4
    """A quaternion changes its sign between keys that a curve through its components joins."""

    joints: Ints = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    frames: Ints = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    stored_deg: Floats = field(default_factory=lambda: np.empty(0))
    true_deg: Floats = field(default_factory=lambda: np.empty(0))
    kinds: Ints = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    shifts_deg: Floats = field(default_factory=lambda: np.empty((0, 3)))

    def __post_init__(self) -> None:
        if len(self.kinds) != len(self.joints):
            object.__setattr__(self, "kinds", np.zeros(len(self.joints), dtype=np.intp))
        if len(self.shifts_deg) != len(self.joints):
            object.__setattr__(self, "shifts_deg", np.full((len(self.joints), 3), np.nan))

    def __len__(self) -> int:
        return len(self.joints)

    def cut(self, first: int, last: int) -> LongTurns:
        """Those that lie within frames `first` to `last`, counted from `first`."""
        inside = (self.frames > first) & (self.frames <= last)
        return LongTurns(
            self.joints[inside],
            self.frames[inside] - first,
            self.stored_deg[inside],
            self.true_deg[inside],
            self.kinds[inside],
            self.shifts_deg[inside],
        )


@dataclass(frozen=True, eq=False)
class Clip:
    """One named motion, sampled at a uniform rate, in the file's own axes and units.

    Attributes:
        name: of the clip inside its asset.
        skeleton: whose motion it is.
        sample_rate_hz: frames a second.
        start_s: the file's time of frame 0.
        rotations: ``(joints, 4, frames)`` local, unit.
        translated: ``(m,)`` joints whose local translation the file animates (roots among them).
        translations: ``(m, 3, frames)`` of those joints; the others keep the rest translation.
        scaled: ``(s,)`` joints whose scale the file animates.
        scales: ``(s, 3, frames)`` of those joints; the others keep the rest scale.
        metres_per_unit: what the format says of lengths; None if it says nothing.
        up_axis: "x", "y" or "z" as the format says; None if it says nothing.
        key_times_s: the times the file stores, sorted, each once; empty if every frame is stored.
        weight_names, weights: morph-target weights, ``(channels, frames)``.
        long_turns: stored rotations that run the long way round; None if the reader cannot tell.
        source: where it came from.
        frame_offset: frames that were cut off at the head since reading (a reference pose).
        notes: what the reader assumed, set aside or found odd.
    """

    name: str
    skeleton: Skeleton
    sample_rate_hz: float
    rotations: Floats
    start_s: float = 0.0
    translated: Ints = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    translations: Floats = field(default_factory=lambda: np.empty((0, 3, 0)))
    scaled: Ints = field(default_factory=lambda: np.empty(0, dtype=np.intp))
    scales: Floats = field(default_factory=lambda: np.empty((0, 3, 0)))
    metres_per_unit: float | None = None
    up_axis: str | None = None
    key_times_s: Floats = field(default_factory=lambda: np.empty(0))
    weight_names: tuple[str, ...] = ()
    weights: Floats = field(default_factory=lambda: np.empty((0, 0)))
    long_turns: LongTurns | None = None
    source: Source = field(default_factory=lambda: Source("made"))
    frame_offset: int = 0
    notes: tuple[Note, ...] = ()

    def __post_init__(self) -> None:
        put = object.__setattr__
        for name in ("rotations", "translations", "scales", "key_times_s", "weights"):
            put(self, name, frozen(getattr(self, name)))
        for name in ("translated", "scaled"):
            put(self, name, frozen(getattr(self, name), np.intp))
        joints, frames = len(self.skeleton), self.frames
        if self.rotations.shape != (joints, 4, frames):
            raise ValueError(f"rotations must be ({joints}, 4, frames)")
        for name, which in (("translations", self.translated), ("scales", self.scaled)):
            if len(which) and getattr(self, name).shape != (len(which), 3, frames):
                raise ValueError(f"{name} must be ({len(which)}, 3, {frames})")

    @property
    def frames(self) -> int:
        """How many frames there are."""
        return int(self.rotations.shape[-1])

    @property
    def is_scaled(self) -> bool:
        """Whether any joint has a scale other than 1, at rest or over time."""
        return bool(len(self.scaled)) or bool(np.any(self.skeleton.rest_scales != 1.0))

    @property
    def duration_s(self) -> float:
        """From the first frame to the last."""
        return max(self.frames - 1, 0) / self.sample_rate_hz

    @cached_property
    def times_s(self) -> Floats:
        """``(frames,)`` time of each frame from the clip's first."""
        return np.asarray(frozen(np.arange(self.frames) / self.sample_rate_hz))

    def cut(self, first: int, last: int) -> Clip:
        """Frames `first` to `last`, both included, as a clip that remembers its offset."""
        span = slice(first, last + 1)
        lines = self.source.frame_lines
        source = self.source if lines is None else replace(self.source, frame_lines=lines[span])
        return replace(
            self,
            rotations=self.rotations[..., span],
            translations=self.translations[..., span],
            scales=self.scales[..., span],
            weights=self.weights[..., span],
            long_turns=None if self.long_turns is None else self.long_turns.cut(first, last),
            source=source,
            start_s=self.start_s + first / self.sample_rate_hz,
            frame_offset=self.frame_offset + first,
        )


@dataclass(frozen=True, eq=False)
class Skin:
    """A mesh bound to joints, at its bind pose, in file units and axes.

    Attributes:
        name: of the mesh.
        vertices: ``(vertices, 3)`` in the scene's axes at the bind pose.
        joints: ``(vertices, 4)`` joint index of the skeleton for each influence.
        weights: ``(vertices, 4)``, each row sums to 1.
        bind_positions, bind_rotations: ``(joints, 3)`` and ``(joints, 4)`` of every joint of the
            skeleton in the scene's axes at the bind pose; NaN where the skin does not bind it.
        triangles: ``(triangles, 3)`` vertex indices; empty if the mesh has none.
    """

    name: str
    vertices: Floats
    joints: Ints
    weights: Floats
    bind_positions: Floats
    bind_rotations: Floats
    triangles: Ints = field(default_factory=lambda: np.empty((0, 3), dtype=np.intp))


@dataclass(frozen=True, eq=False)
class Asset:
    """All that a reader found in one file. `skins` share the skeleton of the clips."""

    clips: tuple[Clip, ...]
    skeleton: Skeleton | None = None
    skins: tuple[Skin, ...] = ()
    notes: tuple[Note, ...] = ()
