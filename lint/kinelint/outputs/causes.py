"""The same defect of the same size in most clips of one skeleton: one cause, not many defects.

A foot that lies 24 mm under the floor in every clip was calibrated so, mapped so onto the
skeleton, or judged by a wrong body. Animators are to mend that once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from statistics import median

from kinelint.finding import Level
from kinelint.report import ClipReport, Located, Report

# Common practice, no source: so many clips, this share of those that the rule judged, and sizes
# this near to their median.
LEAST_CLIPS = 5
LEAST_SHARE = 0.6
NEAR = 0.2
# A defect that shows for less than this part of a clip comes with the motion, not with the set-up.
LEAST_OF_CLIP = 0.25

_KINDS = {
    "ground-contact": "the height of the root, the floor of the policy, or the soles of the body",
    "penetration": "the body file, or the girths of the policy's figure",
    "joint-limit": "the calibration of that joint, or the map onto the skeleton",
    "limb-stretch": "the map onto the skeleton, or the rest pose it was made with",
    "skeleton-match": "the exporter's settings, or the reference of the policy",
}
_ANY = "the calibration, the map onto the skeleton, or the body file"


@dataclass(frozen=True)
class Cause:
    """Findings that probably have one cause.

    Attributes:
        rule_id, parts, detail: what they have in common.
        clips: how many clips show it.
        judged: how many clips of this skeleton the rule judged.
        measured: the middle of their sizes, in `unit`.
        lowest, highest: of their sizes.
        level: the worst of them.
        skeleton: its signature.
        likely: where to look first.
    """

    rule_id: str
    parts: tuple[str, ...]
    detail: str
    clips: int
    judged: int
    measured: float
    lowest: float
    highest: float
    unit: str
    level: Level
    skeleton: str
    likely: str


def likely_causes(report: Report) -> tuple[Cause, ...]:
    """Those of a report, the ones that show in most clips first."""
    found = [one for group in _groups(report).values() if (one := _cause(group)) is not None]
    return tuple(sorted(found, key=lambda one: (-one.level.rank, -one.clips, one.rule_id)))


@dataclass
class _Group:
    """The findings of one kind on one skeleton, the longest of each clip."""

    key: tuple[str, str, tuple[str, ...], str]
    longest: list[Located]
    judged: int = 0


def _groups(report: Report) -> dict[tuple[str, str, tuple[str, ...], str], _Group]:
    groups: dict[tuple[str, str, tuple[str, ...], str], _Group] = {}
    judged: dict[tuple[str, str], int] = defaultdict(int)
    for asset in report.assets:
        for clip in asset.clips:
            for result in clip.results:
                if result.outcome.value in ("passed", "failed"):
                    judged[clip.skeleton, result.rule_id] += 1
            for key, finding in _of_clip(clip):
                groups.setdefault(key, _Group(key, [])).longest.append(finding)
    for key, group in groups.items():
        group.judged = judged[key[0], key[1]]
    return groups


def _of_clip(
    clip: ClipReport,
) -> Iterator[tuple[tuple[str, str, tuple[str, ...], str], Located]]:
    """For each kind of finding the one that shows longest, if it shows long enough."""
    best: dict[tuple[str, str, tuple[str, ...], str], Located] = {}
    frames: dict[tuple[str, str, tuple[str, ...], str], int] = defaultdict(int)
    for result in clip.results:
        for one in result.findings:
            if one.waived or one.measured is None:
                continue
            key = (clip.skeleton, one.rule_id, one.parts, one.detail)
            frames[key] += one.last - one.first + 1
            other = best.get(key)
            if other is None or one.last - one.first > other.last - other.first:
                best[key] = one
    for key, one in best.items():
        if frames[key] >= LEAST_OF_CLIP * clip.frames:
            yield key, one


def _cause(group: _Group) -> Cause | None:
    sizes = [one.measured for one in group.longest if one.measured is not None]
    if len(sizes) < LEAST_CLIPS:
        return None
    middle = median(sizes)
    near = [
        one
        for one in group.longest
        if one.measured is not None and abs(one.measured - middle) <= NEAR * abs(middle)
    ]
    if len(near) < max(LEAST_CLIPS, LEAST_SHARE * group.judged):
        return None
    skeleton, rule_id, parts, detail = group.key
    values = [one.measured for one in near if one.measured is not None]
    return Cause(
        rule_id,
        parts,
        detail,
        len(near),
        group.judged,
        median(values),
        min(values),
        max(values),
        near[0].unit,
        max((one.level for one in near), key=lambda level: level.rank),
        skeleton,
        _KINDS.get(rule_id, _ANY),
    )
