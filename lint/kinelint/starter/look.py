"""What there is in a tree: formats, skeletons and their units, clips that seem to be loops."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip
from kinelint.cues import CueSheets
from kinelint.discover import Found, discover
from kinelint.engine.context import Context, FigureKey
from kinelint.engine.figures import ToSettle, settle
from kinelint.engine.survey import BodySeen, figure_key, survey
from kinelint.errors import AssetError, PolicyError
from kinelint.intake import prepare
from kinelint.kinematics import rotations
from kinelint.kinematics.alignment import align
from kinelint.motion import Motion
from kinelint.policy import load_policy
from kinelint.readers import endings
from kinelint.registry import Registered

# A clip ends where it began if no joint is further off than this part of stature, and it moved
# by more than that in between (common practice, no source).
_CLOSES = 0.03
_MOVES = 0.05


@dataclass(frozen=True)
class SkeletonSeen:
    """One skeleton of the tree.

    `stated` tells whether the format gave its unit. `clips` are counted, `example` is a file.
    """

    signature: str
    clips: int
    example: str
    parts: int
    metres_per_unit: float
    stated: bool
    up_axis_stated: bool
    stature_m: float
    skinned: str = ""
    fault: str = ""


@dataclass
class Look:
    """What there is in a tree."""

    files: int = 0
    clips: int = 0
    formats: Counter[str] = field(default_factory=Counter)
    skeletons: list[SkeletonSeen] = field(default_factory=list)
    loops: list[str] = field(default_factory=list)
    unreadable: list[str] = field(default_factory=list)


def look(folder: Path, rules: Mapping[str, Registered]) -> Look:
    """Looks at every clip under a folder.

    Raises:
        PolicyError: there is no motion file.
    """
    root = folder.resolve()
    context = Context(load_policy(None, rules), CueSheets(), root)
    tree = discover([root], root, endings())
    if not tree.files:
        raise PolicyError(
            "there is no motion file in it",
            path=str(folder),
            mend=f"Files that can be judged end in {', '.join(sorted(endings()))}.",
        )
    seen: dict[FigureKey, list[tuple[Found, BodySeen, int]]] = {}
    made = Look(files=len(tree.files))
    for file in tree.files:
        _add(context, file, made, seen)
    figures: dict[FigureKey, Figure] = {}
    for key, some in seen.items():
        one, figure = _skeleton(context, key, some)
        made.skeletons.append(one)
        if figure is not None:
            figures[key] = figure
    for file in tree.files:
        for clip in _readable(context, file):
            known = figures.get(figure_key(context, file, clip))
            if known is not None and closes(Motion(clip, known)):
                made.loops.append(f"{file.shown}#{clip.name}")
    return made


def _add(
    context: Context,
    file: Found,
    made: Look,
    seen: dict[FigureKey, list[tuple[Found, BodySeen, int]]],
) -> None:
    said = survey(context, file)
    if said.troubles:
        made.unreadable.append(f"{file.shown}: {said.troubles[0].text}")
        return
    made.formats[file.path.suffix.lower()] += 1
    made.clips += len(said.clips)
    for one in said.seen:
        count = sum(key == one.key for _, key in said.clips)
        seen.setdefault(one.key, []).append((file, one, count))


def _skeleton(
    context: Context, key: FigureKey, some: list[tuple[Found, BodySeen, int]]
) -> tuple[SkeletonSeen, Figure | None]:
    skinned = next((file for file, one, _ in some if one.skinned), None)
    bodies = tuple(one for _, one, _ in some)
    settled = settle(context, ToSettle(key, bodies, skinned.path if skinned else None))
    figure, first = settled.figure, bodies[0]
    seen = SkeletonSeen(
        signature=key[0],
        clips=sum(count for _, _, count in some),
        example=some[0][0].shown,
        parts=0 if figure is None else len(figure.anatomy.joints),
        metres_per_unit=1.0 if figure is None else figure.metres_per_unit,
        stated=first.metres_per_unit is not None,
        up_axis_stated=first.up_axis is not None,
        stature_m=float("nan") if figure is None else figure.stature_m,
        skinned=skinned.shown if skinned else "",
        fault=settled.fault,
    )
    return seen, figure


def _readable(context: Context, file: Found) -> Iterator[Clip]:
    try:
        for clip in context.read(file.path).clips:
            yield prepare(clip).clip
    except AssetError:
        return


def closes(motion: Motion) -> bool:
    """Whether a clip moves, and ends in the pose it began with, travel and turn taken away."""
    joints = sorted(motion.figure.anatomy.part_of)
    stature = motion.figure.stature_m
    if motion.frames < 4 or not joints or not np.isfinite(stature):
        return False
    places = motion.positions_m[joints]
    fit = align(places[..., 0], places[..., -1], np.ones(len(joints)))
    shift = np.array([[fit.x_m], [0.0], [fit.z_m]])
    gap = rotations.rotate(fit.turn, places[..., -1:]) + shift - places[..., :1]
    if np.linalg.norm(gap, axis=1).max() > _CLOSES * stature:
        return False
    # Against the root, so that a stiff figure on rails does not count as moving.
    inner = places - places[:1]
    return bool(np.ptp(inner, axis=2).max() > _MOVES * stature)
