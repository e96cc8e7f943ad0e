"""Faces move as faces do."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

import numpy as np

from kinelint.errors import NotApplicable
from kinelint.finding import Finding, FrameSpan, Level, Trace
from kinelint.frame_spans import spans
from kinelint.kinematics.arrays import Bools, Floats
from kinelint.motion import Motion
from kinelint.rule import Example, Rule, RuleSettings, setting
from kinelint.synthetic import motion
from kinelint_rules.face.sides import blinks, pairs

PRACTICE = "common practice, no source"
_PARTS = ("head",)


class FaceRangeSettings(RuleSettings):
    """Settings of `face-range`."""

    lowest_ratio: float = setting(
        0.0, why="A target that is not applied at all.", source="VRM 1.0, expressions: 0 to 1"
    )
    highest_ratio: float = setting(
        1.0, why="A target that is applied in full.", source="VRM 1.0, expressions: 0 to 1"
    )
    slack_ratio: float = setting(
        0.02, ge=0, why="Curves overshoot by this much unseen.", source=PRACTICE
    )
    error_ratio: float = setting(
        0.25, gt=0, why="So far beyond its range, a face tears.", source=PRACTICE
    )
    frozen_s: float = setting(
        2.0,
        gt=0,
        why="A channel that rests neither off nor full on and does not move at all for so long, "
        "while the face moves, has lost its signal.",
        source=PRACTICE,
    )
    chatter_hz: float = setting(
        7.0,
        gt=0,
        why="Faces do not go to and fro so fast; speech moves the mouth at 2 to 7 Hz.",
        source="Chandrasekaran C et al. (2009), The natural statistics of audiovisual speech, PLoS "
        "Comput Biol 5:e1000436 (from memory)",
    )
    chatter_ratio: float = setting(
        0.08, gt=0, why="To and fro by less is not seen.", source=PRACTICE
    )
    chatter_s: float = setting(0.4, gt=0, why="For so long at least.", source=PRACTICE)
    one_sided_ratio: float = setting(
        0.3,
        gt=0,
        why="One side of a pair moves by so much and the other one never does.",
        source=PRACTICE,
    )
    blink_every_s: float = setting(
        20.0,
        gt=0,
        why="People blink 10 to 20 times a minute; without one for so long, eyes look dead.",
        source="Bentivoglio AR et al. (1997), Analysis of blink rate patterns in normal subjects, "
        "Mov Disord 12:1028-1034 (17 a minute at rest, from memory)",
    )


class FaceRange(Rule[FaceRangeSettings]):
    """Faces move as faces do.

    Looks at the morph target weights of a clip: values beyond their range, channels that freeze
    half way while the face goes on moving, channels that chatter, pairs of which one side never
    moves, and eyes that stay open for too long. Pairs and lids are told by the words of the
    channels' names ("left", "right", "blink"); a rig without such words is judged for the rest.
    """

    id = "face-range"
    source = "VRM 1.0 (range of expressions); see the settings"
    level = Level.WARNING
    limits = (("frozen_s",), ("chatter_ratio",), ("one_sided_ratio",), ("blink_every_s",))
    quantity = "Morph target weight, as a ratio of full on."
    on_screen = "A cheek tears, a lid shivers, half a mouth smiles, eyes never close."
    remedy = "Clamp, smooth or re-capture the channels named."

    @staticmethod
    def check(motion: Motion, settings: FaceRangeSettings, /) -> Iterator[Finding]:
        """Yields one finding for each channel and span; one for eyes that do not blink."""
        clip = motion.clip
        if not clip.weight_names or not clip.weights.size:
            raise NotApplicable("the clip moves no morph targets")
        rate = clip.sample_rate_hz
        moves = np.ptp(clip.weights, axis=1) > 1e-3
        lively = _lively(clip.weights, rate)
        for channel, name in enumerate(clip.weight_names):
            yield from _beyond(name, clip.weights[channel], settings)
            if moves[channel]:
                yield from _frozen(name, clip.weights[channel], lively, rate, settings)
                yield from _chatter(name, clip.weights[channel], rate, settings)
        yield from _one_sided(clip.weight_names, clip.weights, settings)
        yield from _open_eyes(clip.weight_names, clip.weights, rate, settings)

    @staticmethod
    def examples() -> Iterable[Example]:
        """A face that talks, and one for each way to go wrong."""
        t = np.arange(1501) / 60.0
        talk = 0.4 + 0.4 * np.sin(2 * np.pi * 3.0 * t)
        lid = np.where((t % 4.0) < 0.15, 1.0, 0.0)
        over = np.where((t > 3) & (t < 4), 1.3, talk)
        stuck = np.where((t > 5) & (t < 9), 0.37, 0.5 + 0.3 * np.sin(t))
        calm = 0.5 + 0.2 * np.sin(2 * np.pi * 2.0 * t)
        fast = calm + np.where((t > 2) & (t < 3), 0.15 * np.sin(2 * np.pi * 12.0 * t), 0.0)
        still = 0.0 * t

        def face(**channels: Floats) -> Motion:
            made = motion(frames=len(t))
            clip = replace(
                made.clip, weight_names=tuple(channels), weights=np.stack(list(channels.values()))
            )
            return replace(made, clip=clip)

        yield Example("a face that talks", face(jaw=talk, blinkLeft=lid, blinkRight=lid))
        yield Example(
            "a jaw that opens by 130 percent",
            face(jaw=over, blink=lid),
            finds=1,
            measured=1.3,
            within=0.01,
            level=Level.ERROR,
        )
        yield Example("a brow that sticks", face(jaw=talk, brow=stuck, blink=lid), finds=1)
        yield Example("a jaw that chatters", face(jaw=fast, blink=lid), finds=1)
        yield Example("half a smile", face(smileLeft=talk, smileRight=still, blink=lid), finds=1)
        yield Example("eyes that never blink", face(jaw=talk, blink=still), finds=1)
        yield Example("no face", motion(), not_applicable=True)


def _lively(weights: Floats, rate: float) -> Bools:
    """``(frames,)`` where any channel moves within half a second."""
    change = np.abs(np.diff(weights, axis=1, prepend=weights[:, :1])).max(axis=0) > 1e-4
    window = max(round(0.5 * rate), 1)
    # "same" would be as long as the window in clips shorter than it.
    spread = np.convolve(change, np.ones(2 * window + 1), "full")[window : window + change.size]
    return np.asarray(spread > 0.5, np.bool_)


def _made(
    name: str,
    values: Floats,
    span: FrameSpan,
    worst: int,
    said: str,
    remedy: str,
    **more: object,
) -> Finding:
    shown = tuple(float(value) for value in values[span.first : span.last + 1])
    return Finding(
        message=f"{name} {said}",
        span=span,
        parts=_PARTS,
        worst_frame=worst,
        unit="ratio",
        remedy=remedy,
        trace=Trace(name, "ratio", span.first, shown),
        **more,  # type: ignore[arg-type]
    )


def _beyond(name: str, values: Floats, settings: FaceRangeSettings) -> Iterator[Finding]:
    for over, limit, which in (
        (values - settings.highest_ratio, settings.highest_ratio, "highest_ratio"),
        (settings.lowest_ratio - values, settings.lowest_ratio, "lowest_ratio"),
    ):
        for span in spans(over > settings.slack_ratio):
            worst = span.first + int(np.argmax(over[span.first : span.last + 1]))
            bad = over[worst] > settings.error_ratio
            yield _made(
                name,
                values,
                span,
                worst,
                f"goes to {values[worst]:.2f}, beyond {limit:.2f}",
                f"Clamp {name} at {limit:g}, or scale its curve.",
                measured=float(values[worst]),
                limit=limit,
                level=Level.ERROR if bad else Level.WARNING,
                detail=f"{name}, range",
                setting=which,
                confidence=0.95,
            )


def _frozen(
    name: str, values: Floats, lively: Bools, rate: float, settings: FaceRangeSettings
) -> Iterator[Finding]:
    same = np.abs(np.diff(values, prepend=values[0] - 1.0)) < 1e-6
    half_way = (values > 0.05) & (values < 0.95)
    least = max(round(settings.frozen_s * rate), 2)
    for span in spans(same & half_way & lively, min_frames=least):
        seconds = span.frames / rate
        yield _made(
            name,
            values,
            span,
            span.first,
            f"rests at {values[span.first]:.2f} for {seconds:.1f} s while the face moves",
            f"Re-capture {name} there, or key it by hand.",
            measured=float(values[span.first]),
            level=Level.WARNING,
            detail=f"{name}, frozen",
            setting="frozen_s",
            confidence=0.5,
        )


def _chatter(
    name: str, values: Floats, rate: float, settings: FaceRangeSettings
) -> Iterator[Finding]:
    """Turns of direction that come faster than a face's, each by a visible amount."""
    change = np.diff(values)
    turns = np.flatnonzero(change[1:] * change[:-1] < 0.0) + 1
    if turns.size < 4:
        return
    swing = np.abs(np.diff(values[turns]))
    apart = np.diff(turns) / rate
    quick = (apart < 0.5 / settings.chatter_hz) & (swing > settings.chatter_ratio)
    mask = np.zeros(values.size, np.bool_)
    for first, last in zip(turns[:-1][quick], turns[1:][quick], strict=True):
        mask[first : last + 1] = True
    least = max(round(settings.chatter_s * rate), 2)
    for span in spans(mask, min_frames=least, bridge_frames=round(0.1 * rate)):
        inside = (turns >= span.first) & (turns <= span.last)
        count = max(int(inside.sum()) - 1, 1)
        hertz = 0.5 * count / (span.frames / rate)
        if hertz <= settings.chatter_hz:
            continue
        size = float(np.median(np.abs(np.diff(values[turns[inside]]))))
        yield _made(
            name,
            values,
            span,
            span.first,
            f"chatters at {hertz:.0f} Hz by {size:.2f}",
            f"Smooth {name} from frame {span.first} to {span.last}.",
            measured=size,
            limit=settings.chatter_ratio,
            level=Level.WARNING,
            detail=f"{name}, chatter",
            setting="chatter_ratio",
            confidence=0.8,
        )


def _one_sided(
    names: tuple[str, ...], weights: Floats, settings: FaceRangeSettings
) -> Iterator[Finding]:
    reach = np.ptp(weights, axis=1)
    for left, right in pairs(names):
        moving, still = (left, right) if reach[left] > reach[right] else (right, left)
        if reach[moving] > settings.one_sided_ratio and reach[still] < 1e-3:
            worst = int(np.argmax(np.abs(weights[moving] - weights[still])))
            yield _made(
                names[still],
                weights[still],
                FrameSpan(0, weights.shape[1] - 1),
                worst,
                f"never moves while {names[moving]} moves by {reach[moving]:.2f}",
                f"Copy {names[moving]} to {names[still]}, or re-capture that side.",
                measured=float(reach[moving]),
                limit=settings.one_sided_ratio,
                level=Level.WARNING,
                detail=f"{names[still]}, side",
                setting="one_sided_ratio",
                confidence=0.6,
            )


def _open_eyes(
    names: tuple[str, ...], weights: Floats, rate: float, settings: FaceRangeSettings
) -> Iterator[Finding]:
    lids = blinks(names)
    if not lids:
        return
    closed = weights[lids].max(axis=0) > 0.5
    least = max(round(settings.blink_every_s * rate), 2)
    for span in spans(~closed, min_frames=least):
        seconds = (span.frames - 1) / rate
        yield Finding(
            message=f"the eyes do not blink for {seconds:.0f} s",
            span=span,
            parts=_PARTS,
            measured=seconds,
            limit=settings.blink_every_s,
            unit="s",
            remedy="Add blinks of 0.1 to 0.3 s every 3 to 6 s, some at turns of the head.",
            level=Level.NOTE,
            detail="blink",
            setting="blink_every_s",
            confidence=0.6,
        )
