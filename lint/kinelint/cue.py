"""What a clip is meant to be, as plain values. The cue sheet (TOML) is read by `cues`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

Vector: TypeAlias = tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Surface:
    """Something to stand on besides the floor: an upright box in the motion's axes, metres.

    Its top is at `top_m`; it reaches from `from_m` to `to_m` in (x, z). Corners in any order.
    """

    name: str
    top_m: float
    from_m: tuple[float, float]
    to_m: tuple[float, float]


@dataclass(frozen=True, slots=True)
class WantedContact:
    """Two parts that are meant to touch ("left_hand", "right_forearm" in crossed arms).

    A part may be a family: "hand" stands for both hands. `depth_mm` is how deep they may sink
    in; None allows any depth.
    """

    parts: tuple[str, str]
    depth_mm: float | None = None


@dataclass(frozen=True, slots=True)
class Cue:
    """What one clip is meant to be. The default says nothing.

    Attributes:
        class_name: class of clip ("locomotion", "idle", …) that policy scopes may name.
        loop: true or false if the sheet says so, None if it does not.
        in_place: feet walk, the figure stays; None if the sheet does not say.
        travel_m_per_s: the velocity that an in-place clip stands for, in the motion's axes.
        additive: the clip is a difference to be added on another.
        only_parts: of a partial-body clip: the parts it moves; empty means all.
        not_captured: parts that nobody recorded (fingers, toes, …): not judged.
        wanted_contacts: overlaps that are meant.
        surfaces: what there is to stand on besides the floor.
        ground_m: height of the floor under this clip; None takes the policy's or an estimate.
    """

    class_name: str = ""
    loop: bool | None = None
    in_place: bool | None = None
    travel_m_per_s: Vector | None = None
    additive: bool = False
    only_parts: tuple[str, ...] = ()
    not_captured: tuple[str, ...] = ()
    wanted_contacts: tuple[WantedContact, ...] = ()
    surfaces: tuple[Surface, ...] = ()
    ground_m: float | None = None
    extra: dict[str, object] = field(default_factory=dict)
