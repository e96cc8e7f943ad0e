"""Puts a finding at its place in its file: frames, times, lines, joints, identities."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from kinelint.anatomy.figure import Figure
from kinelint.clip import Clip
from kinelint.finding import Finding, Level, Point
from kinelint.kinematics import rotations
from kinelint.report import Located

# Steps of a quaternion's components: about 11 degrees, so that a small edit keeps the identity.
_STEPS = 10


def located(rule_id: str, finding: Finding, level: Level, clip: Clip, figure: Figure) -> Located:
    """The finding with all that people and machines need to go to it."""
    span, rate, offset = finding.span, clip.sample_rate_hz, clip.frame_offset
    worst = span.first if finding.worst_frame is None else finding.worst_frame
    joints = [_joint(part, figure) for part in finding.parts]
    lines = clip.source.frame_lines
    trace = finding.trace
    return Located(
        rule_id=rule_id,
        level=level,
        message=finding.message,
        parts=tuple(finding.parts),
        first=span.first + offset,
        last=span.last + offset,
        worst=worst + offset,
        start_s=(span.first + offset) / rate,
        end_s=(span.last + offset) / rate,
        worst_s=(worst + offset) / rate,
        measured=_number(finding.measured),
        limit=_number(finding.limit),
        unit=finding.unit,
        remedy=finding.remedy,
        detail=finding.detail,
        at_m=_point(finding.at_m),
        direction=_point(finding.direction),
        setting=finding.setting,
        confidence=_number(finding.confidence),
        trace=None if trace is None else replace(trace, first=trace.first + offset),
        first_line=None if lines is None else int(lines[span.first]),
        last_line=None if lines is None else int(lines[span.last]),
        joints=tuple("" if one is None else clip.skeleton.path(one) for one in joints),
        handles=tuple(_handle(clip, one) for one in joints),
        content_id=content_id(finding, worst, clip, figure),
    )


def content_id(finding: Finding, worst: int, clip: Clip, figure: Figure) -> str:
    """What a defect is like: its parts and the pose around them where it is worst.

    Holds no frame, time, path or rule, so that it survives a trim and a rename.
    """
    joints = [one for part in finding.parts if (one := _joint(part, figure)) is not None]
    around = {joint for one in joints for joint in _neighbourhood(one, clip)}
    words = [*finding.parts, finding.detail]
    if around:
        chosen = np.array(sorted(around))
        local = clip.rotations[chosen, :, worst : worst + 1]
        rest = clip.skeleton.rest_rotations[chosen][..., None]
        turned = rotations.multiply(rotations.conjugate(rest), local)[..., 0]
        words += [str(value) for value in _steps(turned).ravel().tolist()]
    return hashlib.sha256("\0".join(words).encode()).hexdigest()


def _steps(
    turned: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
) -> np.ndarray[tuple[int, ...], np.dtype[np.int64]]:
    # q and -q are one rotation: the largest component is made positive.
    largest = np.take_along_axis(turned, np.argmax(np.abs(turned), axis=1)[:, None], axis=1)
    return np.rint(turned * np.sign(largest) * _STEPS).astype(np.int64)


def with_place_ids(findings: Sequence[Located], clip_name: str) -> tuple[Located, ...]:
    """Tells repeats of one defect in one clip apart, by their order."""
    before: Counter[str] = Counter()
    out = []
    for one in findings:
        words = (clip_name, one.content_id, str(before[one.content_id]))
        before[one.content_id] += 1
        place = hashlib.sha256("\0".join(words).encode()).hexdigest()
        out.append(replace(one, place_id=place))
    return tuple(out)


def _joint(part: str, figure: Figure) -> int | None:
    joints = figure.anatomy.joints.get(part)
    return joints[0] if joints else None


def _neighbourhood(joint: int, clip: Clip) -> list[int]:
    parent = int(clip.skeleton.parents[joint])
    tips = clip.skeleton.tips
    children = [one for one in clip.skeleton.children[joint] if not tips[one]]
    return [joint, *children, *([parent] if parent >= 0 else [])]


def _handle(clip: Clip, joint: int | None) -> str:
    handles = clip.skeleton.handles
    return handles[joint] if joint is not None and joint < len(handles) else ""


def _number(value: float | None) -> float | None:
    return None if value is None else float(value)


def _point(value: Point | None) -> Point | None:
    return None if value is None else (float(value[0]), float(value[1]), float(value[2]))
