"""What a clip is meant to be, as plain values. The cue sheet (TOML) is read by `cues`."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TypeAlias

Vector: TypeAlias = tuple[float, float, float]
Turn: TypeAlias = tuple[float, float, float, float]


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
class Box:
    """A prop's bulk: an upright box in the prop's own axes, metres from its joint."""

    middle_m: Vector
    size_m: Vector


@dataclass(frozen=True, slots=True)
class Rod:
    """A prop's bulk: a straight rod between two points in the prop's own axes, metres."""

    from_m: Vector
    to_m: Vector
    radius_m: float = 0.02


@dataclass(frozen=True, slots=True)
class Prop:
    """A thing that hands hold, moved by a joint of its own.

    Attributes:
        name: for people ("boathook").
        joint: name of the joint that moves it, or the end of its path ("grip/boathook").
        bulk: its shape; None if only its place counts.
        grips: place on the prop where a hand holds it, by name, in the prop's axes, metres.
    """

    name: str
    joint: str
    bulk: Box | Rod | None = None
    grips: tuple[tuple[str, Vector], ...] = ()

    def grip(self, name: str) -> Vector | None:
        """A grip by name; None if there is no such grip."""
        return dict(self.grips).get(name)


@dataclass(frozen=True, slots=True)
class Held:
    """A hand holds a prop for a while.

    Attributes:
        prop: its name.
        hand: "left_hand" or "right_hand".
        grip: which of the prop's grips; "" if the sheet names none.
        from_s, to_s: from the clip's first frame in the file; None is its start or end.
    """

    prop: str
    hand: str
    grip: str = ""
    from_s: float | None = None
    to_s: float | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """A prop rests in its holder (a rack, a hook on the back) for a while.

    Attributes:
        prop: its name.
        holder: the holder, for people.
        joint: the joint that the holder hangs on; "" for one that stands in the world.
        at_m, turn: place (metres) and rotation (wxyz) of the prop in the holder's axes; those of
            the world (Y up) or of the joint.
        from_s, to_s: as in `Held`.
    """

    prop: str
    holder: str
    joint: str = ""
    at_m: Vector = (0.0, 0.0, 0.0)
    turn: Turn = (1.0, 0.0, 0.0, 0.0)
    from_s: float | None = None
    to_s: float | None = None


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
        stage: how far the work on it is: "raw", "edited" or "final"; "" if the sheet is silent.
        returns: the figure ends where it began, facing the same way; None if nothing is said.
        moments: (name, time from the clip's first frame in the file), in the order of time.
        phases: (name, from, to) in the same times: preparation, action, recovery.
        props: the things in it.
        held, kept: who holds them when, and when they rest in their holders.
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
    stage: str = ""
    returns: bool | None = None
    moments: tuple[tuple[str, float], ...] = ()
    phases: tuple[tuple[str, float, float], ...] = ()
    props: tuple[Prop, ...] = ()
    held: tuple[Held, ...] = ()
    kept: tuple[Kept, ...] = ()
    extra: dict[str, object] = field(default_factory=dict)

    def moment_s(self, name: str) -> float | None:
        """When a named moment is; None if the sheet names no such moment."""
        return dict(self.moments).get(name)

    def prop(self, name: str) -> Prop | None:
        """A prop by its name."""
        return next((one for one in self.props if one.name == name), None)


@dataclass(frozen=True, slots=True)
class Chain:
    """A clip and one that may follow it, as "asset#clip" patterns of the sheet.

    Attributes:
        name: for people.
        before, after: the clip that ends and the one that begins.
        blend_s: how long the game may blend from one into the other.
    """

    name: str
    before: str
    after: str
    blend_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Partners:
    """Two clips that play together.

    Attributes:
        name: for people.
        first, second: patterns of the clips.
        moments: the moment of each at which they meet; "" where it is to be found.
        touch: what of each should touch: a part or a prop; "" if nothing should.
        offset_s: the second starts this much after the first.
        place_m, turn_deg: where the second stands in the world of the first, and how far it is
            turned about the vertical axis there.
        reach_m: how far apart what should touch may be at most.
    """

    name: str
    first: str
    second: str
    moments: tuple[str, str] = ("", "")
    touch: tuple[str, str] = ("", "")
    offset_s: float = 0.0
    place_m: Vector = (0.0, 0.0, 0.0)
    turn_deg: float = 0.0
    reach_m: float | None = None


@dataclass(frozen=True, slots=True)
class Mirrored:
    """Two clips that are to be mirror images of each other, as patterns."""

    name: str
    first: str
    second: str


@dataclass(frozen=True, slots=True)
class Exported:
    """A working file and what is exported from it, as asset paths."""

    name: str
    source: str
    export: str


Bond: TypeAlias = Chain | Partners | Mirrored | Exported
