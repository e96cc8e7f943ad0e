"""A figure: one skeleton understood as a body, with its scale and axes. Same for all its clips."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from kinelint.anatomy.anatomy import Anatomy
from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats
from kinelint.kinematics.rotations import IDENTITY

if TYPE_CHECKING:
    from kinelint.anatomy.body import Body
    from kinelint.anatomy.zero import Zero
    from kinelint.clip import Skeleton, Skin


@dataclass(frozen=True, eq=False)
class Figure:
    """A skeleton as a body.

    Attributes:
        anatomy: which joint is which part.
        metres_per_unit: scale of the file's lengths.
        to_y_up: ``(4, 1)`` rotation from the file's axes to ours (Y up).
        stature_m: height standing upright, head to sole; NaN if it cannot be told.
        leg_m: hip to ankle along thigh and shank; NaN if there are no legs.
        mid_depths_m: spine part to ``(3,)`` from its joint forward to the middle of the trunk's
            depth, in the axes of its holder, as `mid_depth.levels` has it; empty if unknown.
        sex: "male" or "female" if the policy says so.
        body: volume of its parts; None until built.
        zero: anatomical zero of its joints, from upright planted frames; None if unknown.
        reference: the skeleton that the project's clips are to have; None if the policy names none.
        reference_metres_per_unit: of its lengths; None if neither format nor policy says.
        skins: meshes bound to this skeleton at its joints, in its units; empty without any.
        notes: what was inferred.
    """

    anatomy: Anatomy
    metres_per_unit: float = 1.0
    to_y_up: Floats = field(default_factory=lambda: np.array(IDENTITY))
    stature_m: float = float("nan")
    leg_m: float = float("nan")
    mid_depths_m: Mapping[str, Floats] = field(default_factory=dict)
    sex: str | None = None
    body: Body | None = None
    zero: Zero | None = None
    reference: Skeleton | None = None
    reference_metres_per_unit: float | None = None
    skins: tuple[Skin, ...] = ()
    notes: tuple[Note, ...] = ()

    def with_body(self, body: Body) -> Figure:
        """The same figure with a volume."""
        return replace(self, body=body)

    def with_zero(self, zero: Zero | None) -> Figure:
        """The same figure with an anatomical zero."""
        return replace(self, zero=zero)
