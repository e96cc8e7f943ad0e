"""From clips to a figure to a motion: the steps between reading and judging, in one place."""

from __future__ import annotations

from collections.abc import Sequence

from kinelint.anatomy.body import build_body
from kinelint.anatomy.figure import Figure
from kinelint.anatomy.identify import identify
from kinelint.anatomy.scale import BodyHints, sample_body, settle_figure
from kinelint.anatomy.zero import ZeroSample, sample_zero, settle_zero
from kinelint.clip import Clip, Skeleton, Skin
from kinelint.cue import Cue
from kinelint.motion import FileFacts, Motion


def figure_of(
    clips: Sequence[Clip], hints: BodyHints | None = None, skins: Sequence[Skin] = ()
) -> Figure:
    """The figure of clips that share one skeleton: parts, scale, axes, volume, zero.

    Args:
        clips: at least one, as `kinelint.intake.prepare` gave them.
        hints: what the policy says of the body.
        skins: meshes bound to the same skeleton.
    """
    hints = hints or BodyHints()
    first = clips[0]
    anatomy = identify(first.skeleton, hints.parts, first)
    samples = [sample_body(clip, anatomy) for clip in clips]
    figure = settle_figure(
        first.skeleton, anatomy, samples, hints, first.metres_per_unit, first.up_axis
    )
    zeros = [sample_zero(Motion(clip, figure)) for clip in clips]
    return completed(figure, first.skeleton, [z for z in zeros if z is not None], skins, hints)


def completed(
    figure: Figure,
    skeleton: Skeleton,
    zeros: Sequence[ZeroSample],
    skins: Sequence[Skin],
    hints: BodyHints,
) -> Figure:
    """The figure with its volume and its anatomical zero."""
    figure = figure.with_zero(settle_zero(zeros))
    return figure.with_body(build_body(figure, skeleton, skins, hints))


def motion_of(
    clip: Clip,
    figure: Figure | None = None,
    cue: Cue | None = None,
    ground_m: float | None = None,
    file: FileFacts | None = None,
) -> Motion:
    """The motion of a clip; without a figure, of a figure made from this clip alone."""
    return Motion(clip, figure or figure_of([clip]), cue or Cue(), ground_m, file or FileFacts())
