"""Where a result is: file, lines, joint, and the frames in a property bag (3.28)."""

from __future__ import annotations

from typing import Any

from kinelint.outputs.sarif.encode import finite
from kinelint.outputs.sarif.tables import Artifacts, LogicalLocations
from kinelint.report import AssetReport, ClipReport, Located

# What code hosts are given for a file without lines.
_NO_LINES = {"startLine": 1, "startColumn": 1, "endLine": 1, "endColumn": 2}
Frames = tuple[int, int]


class Places:
    """Locations of one log. `lines_always` fills in lines even where a file has none."""

    def __init__(
        self, artifacts: Artifacts, logical: LogicalLocations, *, lines_always: bool
    ) -> None:
        self.artifacts, self.logical = artifacts, logical
        self._lines_always = lines_always

    def of_asset(self, asset: AssetReport) -> dict[str, Any]:
        """A whole file."""
        return {"physicalLocation": self._physical(asset, None, None)}

    def of_policy(self) -> dict[str, Any] | None:
        """The policy file, if there is one."""
        if self.artifacts.policy is None:
            return None
        return {"physicalLocation": self._with_region(self.artifacts.policy, None)}

    def of_clip(self, asset: AssetReport, clip: ClipReport | None) -> dict[str, Any]:
        """A whole clip."""
        place = self.of_asset(asset)
        if clip is not None:
            place["logicalLocations"] = [self.logical.clip(clip)]
        return place

    def of_finding(
        self,
        asset: AssetReport,
        clip: ClipReport,
        finding: Located,
        part: int = 0,
        frames: Frames | None = None,
    ) -> dict[str, Any]:
        """The joint of one part over the finding's frames, or over `frames` of them."""
        lines = _lines(finding, frames)
        place: dict[str, Any] = {"physicalLocation": self._physical(asset, *lines)}
        if part < len(finding.joints) and finding.joints[part]:
            place["logicalLocations"] = [self.logical.joint(clip, finding.joints[part])]
        else:
            place["logicalLocations"] = [self.logical.clip(clip)]
        place["properties"] = {"animationSpan": _span(clip, finding, frames)}
        return place

    def _physical(self, asset: AssetReport, first: int | None, last: int | None) -> dict[str, Any]:
        place = self.artifacts.place(asset)
        if asset.binary or first is None:
            return self._with_region(place, None)
        return self._with_region(place, {"startLine": first, "endLine": last or first})

    def _with_region(self, place: dict[str, Any], region: dict[str, int] | None) -> dict[str, Any]:
        if self._lines_always:
            region = _NO_LINES | (region or {})
        # A binary file has no lines: in the full profile it has no region (3.30.1).
        return {"artifactLocation": place} | ({"region": region} if region else {})


def _lines(finding: Located, frames: Frames | None) -> tuple[int | None, int | None]:
    first, last = finding.first_line, finding.last_line
    if frames is None or first is None:
        return first, last
    # One line a frame, unless blank lines stand between: then only the ends are known.
    if last is not None and last - first == finding.last - finding.first:
        return first + frames[0] - finding.first, first + frames[1] - finding.first
    ends = {finding.first: first, finding.last: last}
    return ends.get(frames[0]), ends.get(frames[1])


def _span(clip: ClipReport, finding: Located, frames: Frames | None) -> dict[str, Any]:
    span: dict[str, Any] = {"clip": clip.name}
    if frames is None:
        span |= {"startFrame": finding.first, "endFrame": finding.last}
        times = {"startSeconds": finding.start_s, "endSeconds": finding.end_s}
        span["worstFrame"] = finding.worst
        times["worstSeconds"] = finding.worst_s
    else:
        span |= {"startFrame": frames[0], "endFrame": frames[1]}
        times = {"startSeconds": time_at(finding, frames[0])}
        times["endSeconds"] = time_at(finding, frames[1])
    span |= {name: round(value, 6) for name, value in times.items() if finite(value)}
    if finite(clip.sample_rate_hz):
        span["sampleRateHz"] = round(clip.sample_rate_hz, 6)
    return span | {"clipFrameCount": clip.frames, "timeDomain": "clip"}


def time_at(finding: Located, frame: int) -> float:
    """The time of the first, last or worst frame of a finding."""
    known = {
        finding.worst: finding.worst_s,
        finding.last: finding.end_s,
        finding.first: finding.start_s,
    }
    return known[frame]
