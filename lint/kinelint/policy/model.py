"""The tables and keys of `kinelint.toml`. Their descriptions are what editors show.

Rules' own settings are not listed here: each installed rule brings them (see `schema`).
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema

from kinelint.toml_check import Table

LevelWord = Literal["error", "warning", "note", "off"]
FailWord = Literal["error", "warning", "note"]
Axis = Literal["x", "y", "z", "-x", "-y", "-z"]
# A hundred kilometres: beyond any stage, and far from where arithmetic ends.
Metres = Annotated[float, Field(ge=-1e5, le=1e5)]
Radius = Annotated[float, Field(gt=0, lt=1000)]


def _several(value: Any) -> Any:
    if isinstance(value, str):
        return (value,)
    return tuple(value) if isinstance(value, list) else value


# One word, or a list of them.
Words = Annotated[
    tuple[str, ...],
    BeforeValidator(_several),
    WithJsonSchema({"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]}),
]

Stages = Annotated[
    tuple[Literal["raw", "edited", "final"], ...],
    BeforeValidator(_several),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": ["raw", "edited", "final"]},
                {"type": "array", "items": {"enum": ["raw", "edited", "final"]}},
            ]
        }
    ),
]

_GLOB = '"**" any folders, "*" part of a name; without "/" the name in any folder'
_RULES = (
    "Per rule: its settings, and `level`: the highest level its findings may have (error, warning, "
    "note), or off. Findings that a rule does not grade by how bad they are get just this level."
)


class FigureTable(Table):
    """Who the figures stand for, where their skeleton does not say."""

    sex: Literal["female", "male"] | None = Field(
        default=None, description="Whose girths and joint ranges count; both if left out."
    )
    stature_m: float | None = Field(
        default=None, gt=0.2, lt=5, description="Height standing upright, head to sole."
    )
    girth_ratio: float | None = Field(
        default=None,
        gt=0.2,
        le=2,
        description="Thickness of the body against the published girths.",
    )


class ScopeTable(Table):
    """Demands on some clips. Later scopes win over earlier ones, and over [rules]."""

    clips: tuple[str, ...] = Field(
        default=(), description=f'Patterns, as "raw/**" or "crew/*.glb#Walk*": {_GLOB}.'
    )
    class_: Words = Field(
        default=(), alias="class", description="Class or classes that the cue sheet gives clips."
    )
    stage: Stages = Field(
        default=(),
        description="Stage or stages that the cue sheet gives clips: raw, edited, final.",
    )
    required: tuple[str, ...] = Field(
        default=(),
        description="Rules that must be able to judge these clips, in part at least; where one "
        "cannot, the run exits 2.",
    )
    ground_m: Metres | None = Field(
        default=None, description="Height of the floor under these clips."
    )
    rules: dict[str, dict[str, Any]] = Field(default_factory=dict, description=_RULES)

    @property
    def title(self) -> str:
        """The scope for people."""
        words = [", ".join(self.clips)] if self.clips else []
        words += [f"class {', '.join(self.class_)}"] if self.class_ else []
        words += [f"stage {', '.join(self.stage)}"] if self.stage else []
        return " of ".join(words)


class SkeletonTable(Table):
    """What is known of one skeleton, chosen by its assets or its signature."""

    assets: tuple[str, ...] = Field(default=(), description=f"Patterns: {_GLOB}.")
    signature: str = Field(
        default="", description="As `kinelint measure --skeleton` prints it; the start is enough."
    )
    body: str = Field(
        default="",
        description="Body file: an asset with a skin on this skeleton, from this file's folder.",
    )
    reference: str = Field(
        default="",
        description="Asset whose skeleton these clips are to have, from this file's folder.",
    )
    metres_per_unit: float | None = Field(
        default=None, gt=0, le=1e6, description="Of its clips' lengths."
    )
    up_axis: Axis | None = Field(default=None, description="Which axis of its clips points up.")
    stature_m: float | None = Field(
        default=None, gt=0.2, lt=5, description="Height standing upright."
    )
    parts: dict[str, str] = Field(
        default_factory=dict,
        description='Part to joint name, as left_thigh = "…", where the guess is wrong.',
    )
    radii_mm: dict[str, Radius] = Field(
        default_factory=dict,
        description="Part to half its thickness, where neither girths nor the skin are right.",
    )


class ExportTable(Table):
    """Working files and what is exported from them."""

    source: str = Field(
        min_length=1,
        description='Path of working files from the root, as "work/{name}.bvh"; {name} may hold '
        "folders.",
    )
    export: str = Field(min_length=1, description='Path of the export, as "clips/{name}.glb".')


class LimitsTable(Table):
    """How much one file may ask for before it is refused."""

    max_frames: int = Field(default=2_000_000, ge=1, description="Frames of one clip.")
    max_joints: int = Field(default=5_000, ge=1, description="Joints of one skeleton.")
    max_megabytes: int = Field(default=1024, ge=1, description="Size of one file.")
    read_seconds: float = Field(
        default=60.0,
        gt=0,
        le=86_400,
        description="Time that reading one file by native code (FBX, USD) may take.",
    )
    read_megabytes: int = Field(
        default=4096, ge=256, description="Memory that what is read from one file may take."
    )


class PolicyTable(Table):
    """A team's policy: what kinelint demands of every clip of a tree."""

    fail_on: FailWord = Field(
        default="error", description="The gate fails on findings of this level and above."
    )
    root: str = Field(
        default=".", description="Folder of the asset tree, from this file's; patterns start there."
    )
    assets: tuple[str, ...] = Field(default=("**",), description=f"Which files to judge: {_GLOB}.")
    except_: tuple[str, ...] = Field(
        default=(), alias="except", description="Which of them to leave out."
    )
    cues: str | None = Field(
        default=None,
        description="The cue sheet, from this file's folder; cues.toml if it is there.",
    )
    sample_rate_hz: float | None = Field(
        default=None,
        gt=0,
        le=1000,
        description="For clips with uneven keys; their densest if left out.",
    )
    metres_per_unit: float | None = Field(
        default=None,
        gt=0,
        le=1e6,
        description="Where the format says nothing of units; inferred if left out.",
    )
    up_axis: Axis | None = Field(
        default=None, description="Where the format says nothing of axes; inferred if left out."
    )
    ground_m: Metres | None = Field(
        default=None, description="Height of the floor; estimated from the feet if left out."
    )
    figure: FigureTable = Field(default=FigureTable(), description="Who the figures stand for.")
    pins: dict[str, int] = Field(
        default_factory=dict,
        description="Rule to the version that judges, as foot-slide = 1: it goes on as it is when "
        "a newer kinelint judges otherwise, until the pin is moved.",
    )
    export: tuple[ExportTable, ...] = Field(
        default=(), description="Working files and what is exported from them."
    )
    exports_record: str = Field(
        default="exports.toml",
        min_length=1,
        description="The record of exports, from this file's folder; `kinelint exports --record` "
        "writes it.",
    )
    limits: LimitsTable = Field(default=LimitsTable(), description="How much a file may ask for.")
    rules: dict[str, dict[str, Any]] = Field(default_factory=dict, description=_RULES)
    scope: tuple[ScopeTable, ...] = Field(default=(), description="Demands on some clips.")
    skeleton: tuple[SkeletonTable, ...] = Field(
        default=(), description="What is known of skeletons."
    )
