"""A motion: what a clip does in space, in metres with Y up, each quantity computed once."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from kinelint.anatomy.figure import Figure
from kinelint.anatomy.parts import label
from kinelint.clip import Clip
from kinelint.cue import Cue
from kinelint.errors import NotApplicable
from kinelint.finding import Note
from kinelint.kinematics import rates, rotations
from kinelint.kinematics.arrays import Floats, frozen
from kinelint.kinematics.forward import forward, forward_scaled

T = TypeVar("T")


def world(clip: Clip) -> tuple[Floats, Floats]:
    """Positions ``(joints, 3, frames)`` and orientations ``(joints, 4, frames)``, file axes."""
    skeleton = clip.skeleton
    moved = (
        skeleton.parents,
        clip.rotations,
        skeleton.rest_translations,
        clip.translated,
        clip.translations,
    )
    if not clip.is_scaled:
        return forward(*moved)
    return forward_scaled(*moved, skeleton.rest_scales, clip.scaled, clip.scales)


@dataclass(frozen=True, slots=True)
class FileFacts:
    """What is known of the file that a clip came from, as plain values.

    Attributes:
        path: from the root of the run, with "/"; "" for made motions.
        size_bytes: of the file.
        clips: how many clips it holds.
    """

    path: str = ""
    size_bytes: int = 0
    clips: int = 1


@dataclass(frozen=True)
class PartMotion:
    """One part of the body over the frames. `position_m` is its proximal joint."""

    motion: Motion
    name: str
    joint: int

    @property
    def label(self) -> str:
        """The part for people."""
        return label(self.name)

    @property
    def position_m(self) -> Floats:
        """``(3, frames)`` of the proximal joint in the world."""
        return np.asarray(self.motion.positions_m[self.joint])

    @property
    def orientation(self) -> Floats:
        """``(4, frames)`` from the joint's axes to the world's."""
        return np.asarray(self.motion.orientations[self.joint])

    @property
    def velocity_m_per_s(self) -> Floats:
        """``(3, frames)``, from the frame before."""
        return rates.rate(self.position_m, self.motion.sample_rate_hz)

    @property
    def speed_m_per_s(self) -> Floats:
        """``(frames,)``, from the frame before."""
        return np.asarray(np.linalg.norm(self.velocity_m_per_s, axis=0))

    @property
    def turn_rate_deg_per_s(self) -> Floats:
        """``(frames,)`` how fast the part turns in the world, from the frame before."""
        return np.degrees(rates.turn_rate(self.orientation, self.motion.sample_rate_hz))


@dataclass(frozen=True, eq=False)
class Motion:
    """A clip on its body. Immutable; derived arrays are made when asked for, and read-only.

    Attributes:
        clip: what the file says.
        figure: the body: parts, scale, axes, volume, anatomical zero.
        cue: what the clip is meant to be.
        ground_m: the policy's height of the floor; None where it is to be estimated.
        file: what is known of the clip's file.
    """

    clip: Clip
    figure: Figure
    cue: Cue = field(default_factory=Cue)
    ground_m: float | None = None
    file: FileFacts = field(default_factory=FileFacts)
    _derived: dict[Hashable, Any] = field(default_factory=dict, repr=False)

    @property
    def frames(self) -> int:
        """How many frames there are."""
        return self.clip.frames

    @property
    def sample_rate_hz(self) -> float:
        """Frames a second."""
        return self.clip.sample_rate_hz

    @property
    def times_s(self) -> Floats:
        """``(frames,)`` from the first frame."""
        return self.clip.times_s

    @cached_property
    def _world(self) -> tuple[Floats, Floats]:
        positions, orientations = world(self.clip)
        unit, turn = self.figure.metres_per_unit, self.figure.to_y_up
        if not np.array_equal(turn, rotations.IDENTITY):
            positions = rotations.rotate(turn, positions)
            orientations = rotations.multiply(turn, orientations)
        if unit != 1.0:
            positions = positions * unit
        return frozen(positions), frozen(orientations)

    @property
    def positions_m(self) -> Floats:
        """``(joints, 3, frames)`` of every joint in the world, Y up."""
        return self._world[0]

    @property
    def orientations(self) -> Floats:
        """``(joints, 4, frames)`` from each joint's axes to the world's."""
        return self._world[1]

    def has(self, part: str) -> bool:
        """Whether the skeleton has the part, and it was captured."""
        return part in self.figure.anatomy.joints and part not in self.cue.not_captured

    def part(self, name: str) -> PartMotion:
        """One part of the body.

        Raises:
            NotApplicable: the skeleton has no such part, or it was not captured.
        """
        joints = self.figure.anatomy.joints.get(name)
        if not joints:
            raise NotApplicable(f"no joint of this skeleton was recognised as the {label(name)}")
        if name in self.cue.not_captured:
            raise NotApplicable(f"the cue sheet says that the {label(name)} was not captured")
        return PartMotion(self, name, joints[0])

    def assumptions(self) -> tuple[Note, ...]:
        """What the quantities derived so far assumed: their `note`, where they carry one."""
        notes = (getattr(one, "note", None) for one in self._derived.values())
        return tuple(dict.fromkeys(one for one in notes if isinstance(one, Note)))

    def derive(self, function: Callable[..., T], *settings: Hashable) -> T:
        """`function(self, *settings)`, computed once for the same settings.

        Rules share what they derive through this: contacts, sole points, capsule ends.
        """
        key = (function, settings)
        if key not in self._derived:
            self._derived[key] = function(self, *settings)
        return self._derived[key]  # type: ignore[no-any-return]
