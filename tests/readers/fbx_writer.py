"""A small writer of FBX files, so that tests know every number in them.

`Scene` says what the file holds, in the words of the format; `Scene.write` spells it as text or
binary, as version 6.1 or 7.x. Only as much of the format as a test needs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from readers import fbx_writer_legacy, fbx_writer_modern
from readers.fbx_writer_records import Record, Value, binary, text

TICKS_PER_S = 46_186_158_000
# The format's list of rates; 14 reads the custom one.
TIME_MODES = {120.0: 1, 100.0: 2, 60.0: 3, 50.0: 4, 48.0: 5, 30.0: 6, 25.0: 10, 24.0: 11}
NTSC_FULL, CUSTOM = 9, 14
ORDERS = ("XYZ", "XZY", "YZX", "YXZ", "ZXY", "ZYX")
ADDITIVE, OVERRIDE, OVERRIDE_PASSTHROUGH = 0, 1, 2
# A child's turn before its parents' scale, the parent's scale first, no scale of the parent.
RrSs, RSrs, Rrs = 0, 1, 2
Vector = tuple[float, float, float]
ZERO: Vector = (0.0, 0.0, 0.0)


@dataclass
class Joint:
    """A model node. Turns in degrees; `order` is "XYZ" where X is applied first."""

    name: str
    parent: int = -1
    translation: Vector = ZERO
    rotation_deg: Vector = ZERO
    scale: Vector = (1.0, 1.0, 1.0)
    kind: str = "LimbNode"
    order: str = "XYZ"
    pre_deg: Vector = ZERO
    post_deg: Vector = ZERO
    rotation_pivot: Vector = ZERO
    rotation_offset: Vector = ZERO
    scaling_pivot: Vector = ZERO
    scaling_offset: Vector = ZERO
    inherit: int = RSrs
    geometric_translation: Vector = ZERO
    rotation_active: bool = True


@dataclass
class Curve:
    """Keys of one channel: `path` is "T", "R", "S", or "W" for the weight of a shape channel.

    `mode` is "linear", "constant" or "cubic"; `slopes` are ``(keys, 2)`` right and next left
    slope, a second, for cubic keys.
    """

    target: int
    path: str
    axis: str
    ticks: ArrayLike
    values: ArrayLike
    mode: str = "linear"
    slopes: ArrayLike | None = None


@dataclass
class Layer:
    """Curves that are blended over those of the layer before.

    `weights` are keys (ticks, percent) of the weight; `by_channel` adds Euler angles where layers
    else concatenate rotations.
    """

    curves: list[Curve] = field(default_factory=list)
    name: str = "BaseLayer"
    weight: float = 100.0
    blend: int = ADDITIVE
    mute: bool = False
    weights: tuple[ArrayLike, ArrayLike] | None = None
    by_channel: bool = False


@dataclass
class Take:
    """An animation stack; its span in seconds, or none said."""

    name: str = "Take 001"
    layers: list[Layer] = field(default_factory=lambda: [Layer()])
    start_s: float | None = None
    stop_s: float | None = None


@dataclass
class Cluster:
    """The vertices that a joint moves; `bind` is ``(4, 4)``, the joint in the world at binding."""

    joint: int
    vertices: Sequence[int]
    weights: Sequence[float]
    bind: ArrayLike


@dataclass
class Shape:
    """A morph target: moves of some vertices at full weight."""

    name: str
    vertices: Sequence[int]
    offsets: ArrayLike
    percent: float = 0.0


@dataclass
class Mesh:
    """A triangle mesh; `node` is the joint (of kind "Mesh") that carries it."""

    node: int
    vertices: ArrayLike
    triangles: ArrayLike
    clusters: list[Cluster] = field(default_factory=list)
    shapes: list[Shape] = field(default_factory=list)


@dataclass
class Axes:
    """Which axis is up, front and right ("coord"), each with its sign: 0 X, 1 Y, 2 Z."""

    up: int = 1
    up_sign: int = 1
    front: int = 2
    front_sign: int = 1
    coord: int = 0
    coord_sign: int = 1


@dataclass
class Scene:
    """All that one file holds.

    `unit_cm` is how many centimetres one of its units is; a file without `axes` does not say them.
    """

    joints: list[Joint] = field(default_factory=list)
    takes: list[Take] = field(default_factory=list)
    meshes: list[Mesh] = field(default_factory=list)
    axes: Axes | None = field(default_factory=Axes)
    unit_cm: float = 1.0
    time_mode: int = 6
    custom_hz: float = -1.0
    bind_pose: dict[int, ArrayLike] = field(default_factory=dict)
    connections: list[tuple[Value, ...]] = field(default_factory=list)

    def records(self, version: int) -> list[Record]:
        """The tree, which a test may spoil before it is spelled."""
        if version < 7000:
            return fbx_writer_legacy.tree(self, version)
        return fbx_writer_modern.tree(self, version)

    def spelled(self, version: int = 7400, *, ascii_text: bool = True) -> bytes:
        """The bytes of the file."""
        spell = text if ascii_text else binary
        return spell(self.records(version), version)

    def write(self, path: Path, version: int = 7400, *, ascii_text: bool = True) -> Path:
        """The file itself."""
        path.write_bytes(self.spelled(version, ascii_text=ascii_text))
        return path


def ticks(times_s: ArrayLike) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """The format's clock at these seconds."""
    return np.rint(np.asarray(times_s, dtype=np.float64) * TICKS_PER_S).astype(np.int64)


def frame_ticks(
    frames: int, rate_hz: float, start_s: float = 0.0
) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
    """The format's clock at a uniform rate."""
    return ticks(start_s + np.arange(frames) / rate_hz)


def curves(
    target: int,
    path: str,
    values: ArrayLike,
    at: ArrayLike,
    mode: str = "linear",
) -> list[Curve]:
    """Three curves from values ``(3, keys)`` at the same ticks."""
    rows = np.asarray(values, dtype=np.float64)
    return [Curve(target, path, axis, at, row, mode) for axis, row in zip("XYZ", rows, strict=True)]
