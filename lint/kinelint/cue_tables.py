"""The tables and keys of `cues.toml`. Their descriptions are what editors show."""

from __future__ import annotations

from typing import Annotated, Literal, TypeAlias

from pydantic import Field

from kinelint.toml_check import Table

Stage: TypeAlias = Literal["raw", "edited", "final"]
Hand: TypeAlias = Literal["left_hand", "right_hand"]
Metres: TypeAlias = Annotated[float, Field(ge=-1e5, le=1e5)]
MetresPerS: TypeAlias = Annotated[float, Field(ge=-1e4, le=1e4)]
NotBefore: TypeAlias = Annotated[float, Field(ge=0, le=1e7)]
When: TypeAlias = NotBefore | str
Point: TypeAlias = tuple[Metres, Metres, Metres]
Size: TypeAlias = Annotated[float, Field(gt=0, le=1e5)]

Unit: TypeAlias = Annotated[float, Field(ge=-1, le=1)]

_WHEN = 'Seconds from the first frame, the name of a moment, "start" or "end".'


class ContactTable(Table):
    """Two parts that are meant to touch."""

    parts: tuple[str, str] = Field(description='As ["left_hand", "right_forearm"].')
    depth_mm: float | None = Field(
        default=None, ge=0, le=1e5, description="How deep; any depth if left out."
    )


class SurfaceTable(Table):
    """Something to stand on besides the floor: an upright box, Y up."""

    name: str = Field(default="surface", description="For people: step, crate, ledge.")
    top_m: Metres = Field(description="Height of its top.")
    from_m: tuple[Metres, Metres] = Field(description="One corner, [x, z].")
    to_m: tuple[Metres, Metres] = Field(description="The opposite corner, [x, z].")


class HeldTable(Table):
    """A hand that holds a prop for a while."""

    prop: str = Field(description="Name of a [[prop]].")
    hand: Hand = Field(description="Which hand.")
    grip: str = Field(default="", description="Which of the prop's grips.")
    from_: When = Field(default="start", alias="from", description=_WHEN)
    to: When = Field(default="end", description=_WHEN)


class KeptTable(Table):
    """A prop that rests in its holder for a while."""

    prop: str = Field(description="Name of a [[prop]].")
    holder: str = Field(description="Name of a [[holder]].")
    from_: When = Field(default="start", alias="from", description=_WHEN)
    to: When = Field(default="end", description=_WHEN)


class CueTable(Table):
    """What some clips are meant to be."""

    clips: tuple[str, ...] = Field(
        min_length=1, description='Patterns, as "crew/*.glb#Walk*" or "idle/**".'
    )
    class_: str | None = Field(
        default=None, alias="class", description="Class that scopes may name."
    )
    loop: bool | None = Field(default=None, description="The last frame goes on into the first.")
    in_place: bool | None = Field(default=None, description="Feet walk while the figure stays.")
    travel_m_per_s: tuple[MetresPerS, MetresPerS, MetresPerS] | None = Field(
        default=None, description="Velocity that an in-place clip stands for, [x, y, z], Y up."
    )
    additive: bool | None = Field(default=None, description="A difference to add to another clip.")
    only_parts: tuple[str, ...] = Field(default=(), description="The parts a partial clip moves.")
    not_captured: tuple[str, ...] = Field(default=(), description="Parts that nobody recorded.")
    ground_m: Metres | None = Field(default=None, description="Height of the floor.")
    stage: Stage | None = Field(default=None, description="How far the work on it is.")
    returns: bool | None = Field(
        default=None, description="The figure ends where it began, facing the same way."
    )
    moments: dict[str, NotBefore] = Field(
        default_factory=dict, description="Name to seconds from the first frame, as grasp = 1.1."
    )
    phases: dict[str, tuple[When, When]] = Field(
        default_factory=dict,
        description='As action = ["grasp", 1.8]: from and to, in seconds, or names of moments, '
        'or "start" and "end".',
    )
    held: tuple[HeldTable, ...] = Field(default=(), description="Hands that hold props.")
    kept: tuple[KeptTable, ...] = Field(default=(), description="Props that rest in holders.")
    contact: tuple[ContactTable, ...] = Field(default=(), description="Contacts that are wanted.")
    surface: tuple[SurfaceTable, ...] = Field(default=(), description="What else carries feet.")


class RodTable(Table):
    """The bulk of a straight prop."""

    from_m: Point = Field(description="One end, [x, y, z] in the axes of the prop's joint.")
    to_m: Point = Field(description="The other end.")
    radius_mm: float = Field(default=20.0, gt=0, le=1000, description="Half its thickness.")


class BoxTable(Table):
    """The bulk of a prop with flat sides."""

    middle_m: Point = Field(
        default=(0.0, 0.0, 0.0), description="Its middle, in the axes of the prop's joint."
    )
    size_m: tuple[Size, Size, Size] = Field(description="Along those axes.")


class PropTable(Table):
    """A thing that hands hold, moved by a joint of its own."""

    name: str = Field(min_length=1, description="For people and for [[cue.held]].")
    joint: str = Field(
        min_length=1, description="Name of the joint that moves it, or the end of its path."
    )
    clips: tuple[str, ...] = Field(default=("**",), description="Patterns of the clips it is in.")
    rod: RodTable | None = Field(default=None, description="Its bulk, if it is straight.")
    box: BoxTable | None = Field(default=None, description="Its bulk, if it has flat sides.")
    grips: dict[str, Point] = Field(
        default_factory=dict, description="Name to place on the prop, in the axes of its joint."
    )


class HolderTable(Table):
    """Where a prop rests: a rack in the world, or a hook on the figure."""

    name: str = Field(min_length=1, description="For people and for [[cue.kept]].")
    joint: str = Field(default="", description="The joint it hangs on; none: it stands still.")
    at_m: Point = Field(
        default=(0.0, 0.0, 0.0), description="Place of the prop's joint there, metres, Y up."
    )
    turn_wxyz: tuple[Unit, Unit, Unit, Unit] = Field(
        default=(1.0, 0.0, 0.0, 0.0), description="Rotation of the prop's joint there."
    )


class ChainTable(Table):
    """Clips that follow each other."""

    name: str = Field(default="", description="For people.")
    steps: tuple[str, ...] = Field(
        default=(), description="Patterns: each clip is followed by the next."
    )
    before: str = Field(default="", description="Pattern of a clip that several may follow.")
    after: tuple[str, ...] = Field(default=(), description="Patterns of those that may follow.")
    blend_s: float = Field(default=0.0, ge=0, le=5, description="Blend that the game makes there.")


class PartnersTable(Table):
    """Two clips that play together."""

    name: str = Field(default="", description="For people.")
    clips: tuple[str, str] = Field(description="Patterns of the first and the second.")
    moments: tuple[str, str] = Field(
        default=("", ""), description='Moment of each at which they meet; "" has it found.'
    )
    touch: tuple[str, str] = Field(
        default=("", ""), description="Part or prop of each that should touch then."
    )
    reach_mm: float | None = Field(
        default=None, gt=0, le=1e5, description="How far apart they may be."
    )
    offset_s: float = Field(
        default=0.0, ge=-1e6, le=1e6, description="The second starts this much later."
    )
    place_m: Point = Field(default=(0.0, 0.0, 0.0), description="Where the second stands.")
    turn_deg: float = Field(
        default=0.0, ge=-3600, le=3600, description="How far it is turned about the vertical."
    )


class MirroredTable(Table):
    """Two clips that are to be mirror images."""

    name: str = Field(default="", description="For people.")
    clips: tuple[str, str] = Field(description="Patterns of the two.")


class CueSheetTable(Table):
    """A cue sheet: what the clips of a tree are meant to be."""

    cue: tuple[CueTable, ...] = Field(default=(), description="Entries; those that fit are merged.")
    prop: tuple[PropTable, ...] = Field(default=(), description="Things that hands hold.")
    holder: tuple[HolderTable, ...] = Field(default=(), description="Where props rest.")
    chain: tuple[ChainTable, ...] = Field(default=(), description="Clips that follow each other.")
    partners: tuple[PartnersTable, ...] = Field(default=(), description="Clips that play together.")
    mirrored: tuple[MirroredTable, ...] = Field(default=(), description="Clips that mirror.")
