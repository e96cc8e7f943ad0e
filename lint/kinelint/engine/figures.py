"""Between the passes: one figure for all clips of one skeleton, whatever files they lie in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from kinelint.anatomy.figure import Figure
from kinelint.anatomy.scale import settle_figure
from kinelint.anatomy.zero import ZeroSample
from kinelint.assemble import completed
from kinelint.clip import Skeleton, Skin
from kinelint.engine.context import Context, FigureKey, short_traceback
from kinelint.engine.skins import fitted
from kinelint.engine.survey import BodySeen, unread
from kinelint.errors import AssetError, KinelintError
from kinelint.finding import Note

# A zero sampled at a scale that differs by more than this from the settled one is left out.
_SCALE_APART = 0.05


@dataclass(frozen=True, eq=False)
class Settled:
    """The figure of some clips; or why there is none, which keeps the run from being complete."""

    figure: Figure | None
    fault: str = ""
    details: str = ""


@dataclass(frozen=True, eq=False)
class ToSettle:
    """What a figure is made from.

    Attributes:
        key: which figure.
        seen: what each file shows of it, in the order of the files.
        skinned: the first file with a mesh on this very skeleton, None without one.
    """

    key: FigureKey
    seen: tuple[BodySeen, ...]
    skinned: Path | None = None


def settle(context: Context, task: ToSettle) -> Settled:
    """Makes the figure from what all files show of it."""
    known = [one for one in task.seen if one.anatomy is not None]
    if not known:
        return Settled(None, task.seen[0].fault, task.seen[0].details)
    # Files whose clips are all partial tell nothing of how the body moves.
    first = next((one for one in known if one.bodies), known[0])
    try:
        return _settled(context, task, first)
    except KinelintError as error:
        return Settled(None, unread(error))
    except Exception as error:
        what = f"no body could be made of the skeleton: {type(error).__name__}: {error}"
        return Settled(None, what, short_traceback(error))


def _settled(context: Context, task: ToSettle, first: BodySeen) -> Settled:
    assert first.anatomy is not None
    alike = [
        one
        for one in task.seen
        if one.anatomy is not None and one.anatomy.part_of == first.anatomy.part_of
    ]
    hints = context.hints(task.key[1], first.metres_per_unit, first.up_axis)
    bodies = [body for one in alike for body in one.bodies]
    figure = settle_figure(
        first.skeleton, first.anatomy, bodies, hints, first.metres_per_unit, first.up_axis
    )
    name, skins = _skins(context, task, first.skeleton, figure)
    zeros = _zeros(alike, figure.metres_per_unit)
    figure = completed(figure, first.skeleton, zeros, skins, hints)
    notes = _girth_notes(name, skins, figure)
    notes += tuple(Note("anatomy", text) for text in figure.anatomy.notes)
    if len(alike) < len(task.seen):
        text = (
            f"{len(task.seen) - len(alike)} of {len(task.seen)} files with this skeleton suggest "
            "other parts for its joints; those of the first file were taken"
        )
        notes = (*notes, Note("skeleton", text))
    reference, unit, more = _reference(context, task)
    figure = replace(figure, reference=reference, reference_metres_per_unit=unit, skins=skins)
    return Settled(replace(figure, notes=(*figure.notes, *notes, *more)))


def _reference(
    context: Context, task: ToSettle
) -> tuple[Skeleton | None, float | None, tuple[Note, ...]]:
    """The skeleton that the policy holds these clips to, and its unit if that is known."""
    said = context.policy.skeleton(task.key[1])
    named = said.reference
    if not named:
        return None, None, ()
    try:
        asset = context.read(context.policy.folder / named)
    except AssetError as error:
        where = f"{named}{f', {error.place}' if error.place else ''}"
        raise AssetError(f"the reference {where}: {error.what}", mend=error.mend) from error
    first = next(iter(asset.clips), None)
    skeleton = asset.skeleton or (first.skeleton if first else None)
    if skeleton is None:
        return None, None, (Note("reference", f"{named} holds no skeleton to compare with"),)
    unit = first.metres_per_unit if first else None
    if unit is None and first is not None:
        # As for the clips themselves: the policy speaks where the format does not.
        unit = said.metres_per_unit or context.policy.table.metres_per_unit
    return skeleton, unit, ()


def _zeros(seen: Sequence[BodySeen], metres_per_unit: float) -> list[ZeroSample]:
    return [
        zero
        for one in seen
        for scale, zero in one.zeros
        if abs(np.log(scale / metres_per_unit)) < _SCALE_APART
    ]


def _skins(
    context: Context, task: ToSettle, skeleton: Skeleton, figure: Figure
) -> tuple[str, tuple[Skin, ...]]:
    """Whose meshes give the body its girths: the policy's body file, else the assets' own."""
    named = context.policy.skeleton(task.key[1]).body
    path = context.policy.folder / named if named else task.skinned
    if path is None:
        return "", ()
    try:
        asset = context.read(path)
    except AssetError as error:
        where = f"{named or path.name}{f', {error.place}' if error.place else ''}"
        raise AssetError(f"the body file {where}: {error.what}", mend=error.mend) from error
    return named or path.name, fitted(asset, skeleton, figure.metres_per_unit)


def _girth_notes(name: str, skins: tuple[Skin, ...], figure: Figure) -> tuple[Note, ...]:
    if not name:
        return ()
    if not skins:
        return (Note("body-model", f"{name} has no mesh bound to joints of this skeleton"),)
    sources = figure.body.radii_from if figure.body else {}
    if "skin" not in sources.values():
        return (Note("body-model", f"the mesh in {name} gives no girths of this body"),)
    return (Note("body-model", f"the body's girths come from the mesh in {name}"),)
