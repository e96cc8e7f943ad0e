"""The first pass: what each file holds, and what its clips tell of the bodies in it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from kinelint.anatomy.anatomy import Anatomy
from kinelint.anatomy.identify import identify
from kinelint.anatomy.scale import BodySample, sample_body, settle_figure
from kinelint.anatomy.zero import ZeroSample, sample_zero
from kinelint.clip import Asset, Clip, Skeleton
from kinelint.discover import Found
from kinelint.engine.context import Context, FigureKey, short_traceback
from kinelint.engine.steady import sha256_of
from kinelint.errors import AssetError, KinelintError
from kinelint.finding import Note
from kinelint.intake import prepare
from kinelint.motion import Motion
from kinelint.report import Trouble

_TEXT_ENDINGS = (".bvh", ".gltf")


@dataclass(frozen=True, eq=False)
class BodySeen:
    """One skeleton as one file shows it.

    Attributes:
        key: which figure it is of.
        skeleton: its joints.
        anatomy: its parts, judged by the first clip of the file; None if that failed.
        metres_per_unit, up_axis: what the format says.
        skinned: whether the file has a mesh on it.
        bodies: what its clips tell of scale and axes.
        zeros: what they tell of the zero, with the scale each was sampled at.
        fault, details: why there is no anatomy.
    """

    key: FigureKey
    skeleton: Skeleton
    anatomy: Anatomy | None = None
    metres_per_unit: float | None = None
    up_axis: str | None = None
    skinned: bool = False
    bodies: tuple[BodySample, ...] = ()
    zeros: tuple[tuple[float, ZeroSample], ...] = ()
    fault: str = ""
    details: str = ""


@dataclass(frozen=True, eq=False)
class Survey:
    """What one file holds. A file that cannot be read has a trouble and nothing else."""

    media: str
    binary: bool
    sha256: str
    clips: tuple[tuple[str, FigureKey], ...] = ()
    seen: tuple[BodySeen, ...] = ()
    notes: tuple[Note, ...] = ()
    troubles: tuple[Trouble, ...] = ()


def survey(context: Context, file: Found) -> Survey:
    """Reads a file and samples its clips."""
    ending = file.path.suffix.lower()
    media, binary = ending[1:], ending not in _TEXT_ENDINGS
    try:
        asset, sha256 = context.read_known(file.path)
    except AssetError as error:
        trouble = unreadable(file, error)
        return Survey(media, binary, sha256_of(file.path), troubles=(trouble,))
    if asset.clips:
        media, binary = asset.clips[0].source.media, asset.clips[0].source.binary
    keys = tuple((clip.name, figure_key(context, file, clip)) for clip in asset.clips)
    seen = tuple(_bodies(context, file, asset))
    return Survey(media, binary, sha256, keys, seen, asset.notes)


def shared(one: Survey, known: dict[FigureKey, BodySeen]) -> Survey:
    """The same, with what it has in common with files seen before held once only.

    Args:
        one: a survey that may have come from another process.
        known: the first body seen of each figure; added to.
    """
    seen = tuple(_like(body, known.setdefault(body.key, body)) for body in one.seen)
    return replace(one, seen=seen)


def _like(one: BodySeen, first: BodySeen) -> BodySeen:
    skeleton = first.skeleton if one.skeleton.equals(first.skeleton) else one.skeleton
    anatomy = first.anatomy if one.anatomy == first.anatomy else one.anatomy
    return replace(one, skeleton=skeleton, anatomy=anatomy)


def unreadable(file: Found, error: AssetError) -> Trouble:
    """A file that cannot be read."""
    said, details = unread(error), error.details
    return Trouble("unreadable-asset", said, file.shown, error.place, details=details)


def unread(error: KinelintError) -> str:
    """What is wrong and how to mend it; the place is kept apart."""
    return f"{error.what}. {error.mend}" if error.mend else error.what


def figure_key(context: Context, file: Found, clip: Clip) -> FigureKey:
    """Which figure a clip moves."""
    signature = clip.skeleton.signature
    return signature, context.policy.skeleton_entries(file.shown, signature)


def _bodies(context: Context, file: Found, asset: Asset) -> Iterator[BodySeen]:
    groups: dict[FigureKey, list[Clip]] = {}
    for clip in asset.clips:
        groups.setdefault(figure_key(context, file, clip), []).append(clip)
    for key, clips in groups.items():
        skinned = bool(asset.skins) and _same(asset.skeleton, clips[0].skeleton)
        yield seen_in(context, file, key, clips, skinned)


def _same(one: Skeleton | None, other: Skeleton) -> bool:
    return one is not None and one.signature == other.signature


def seen_in(
    context: Context, file: Found, key: FigureKey, clips: list[Clip], skinned: bool
) -> BodySeen:
    """Identifies the parts of a skeleton and samples the clips that move it whole."""
    first = clips[0]
    blank = BodySeen(
        key, first.skeleton, None, first.metres_per_unit, first.up_axis, skinned=skinned
    )
    hints = context.hints(key[1], first.metres_per_unit, first.up_axis)
    try:
        whole = list(_whole(context, file, clips))
        anatomy = identify(first.skeleton, hints.parts, whole[0] if whole else None)
        bodies = tuple(sample_body(clip, anatomy) for clip in whole)
        zeros: list[tuple[float, ZeroSample]] = []
        for clip, body in zip(whole, bodies, strict=True):
            # The scale of this clip alone: that of all clips is not known yet.
            figure = settle_figure(
                clip.skeleton, anatomy, [body], hints, clip.metres_per_unit, clip.up_axis
            )
            cue = context.cue(file.shown, clip.name)
            zero = sample_zero(Motion(clip, figure, cue, cue.ground_m))
            if zero is not None:
                zeros.append((figure.metres_per_unit, zero))
    except KinelintError as error:
        return replace(blank, fault=unread(error))
    except Exception as error:
        what = f"the skeleton could not be taken for a body: {type(error).__name__}: {error}"
        return replace(blank, fault=what, details=short_traceback(error))
    return replace(blank, anatomy=anatomy, bodies=bodies, zeros=tuple(zeros))


def _whole(context: Context, file: Found, clips: list[Clip]) -> Iterator[Clip]:
    """The clips that show a whole body: fit to be judged, no differences, no partial ones."""
    for clip in clips:
        cue = context.cue(file.shown, clip.name)
        if cue.additive or cue.only_parts:
            continue
        try:
            yield prepare(clip).clip
        except AssetError:
            continue  # said when the clip is judged
