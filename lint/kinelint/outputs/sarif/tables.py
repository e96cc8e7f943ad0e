"""The tables that results point into: artifacts and logical locations, filled as one goes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from kinelint.outputs.sarif.details import ROOT
from kinelint.outputs.sarif.uris import uri_of
from kinelint.report import AssetReport, ClipReport

_MEDIA = {
    "bvh": "text/plain",
    "gltf": "model/gltf+json",
    "glb": "model/gltf-binary",
    "vrm": "model/gltf-binary",
}


class Artifacts:
    """`run.artifacts` (3.24): the assets by path, then the policy."""

    def __init__(
        self, assets: Iterable[AssetReport], policy: tuple[str, str], folder: str, *, rooted: bool
    ) -> None:
        self._folder, self._rooted = folder, rooted
        self._rows: list[dict[str, Any]] = []
        self._places: dict[str, dict[str, Any]] = {}
        for asset in assets:
            self._places[asset.path] = self._added(asset.path, _facts(asset))
        path, sha256 = policy
        self.policy: dict[str, Any] | None = None
        if path:
            facts = {"roles": ["userSpecifiedConfiguration"], "mimeType": "application/toml"}
            self.policy = self._added(path, facts | _hashes(sha256))

    def _added(self, path: str, facts: dict[str, Any]) -> dict[str, Any]:
        place: dict[str, Any] = {"uri": uri_of(path, self._folder)}
        if self._rooted:
            place["uriBaseId"] = ROOT
        place["index"] = len(self._rows)
        self._rows.append({"location": place, **facts})
        return place

    def place(self, asset: AssetReport) -> dict[str, Any]:
        """The artifactLocation of an asset."""
        return self._places[asset.path]

    def rows(self) -> list[dict[str, Any]]:
        """The table."""
        return self._rows


def _facts(asset: AssetReport) -> dict[str, Any]:
    facts: dict[str, Any] = {"roles": ["analysisTarget"]}
    facts["mimeType"] = _MEDIA.get(asset.media, "application/octet-stream")
    if asset.sha256:
        facts["length"] = asset.size_bytes
    return facts | _hashes(asset.sha256)


def _hashes(sha256: str) -> dict[str, Any]:
    # The name is IANA's; "sha256" would be another, unknown algorithm.
    return {"hashes": {"sha-256": sha256}} if sha256 else {}


class LogicalLocations:
    """`run.logicalLocations` (3.33): clips, and the joints that findings name below them."""

    def __init__(self) -> None:
        self._rows: list[dict[str, Any]] = []
        self._index: dict[tuple[str, str, int], int] = {}
        self._clip: ClipReport | None = None
        self._handles: dict[str, str] = {}

    def clip(self, clip: ClipReport) -> dict[str, Any]:
        """A reference to a clip."""
        return self._reference(self._clip_index(clip))

    def joint(self, clip: ClipReport, path: str) -> dict[str, Any]:
        """A reference to a joint by its path in the skeleton; its parents are put in as well."""
        if clip is not self._clip:
            self._clip, self._handles = clip, _handles(clip)
        index, done = self._clip_index(clip), ""
        for name in path.split("/"):
            done = f"{done}/{name}" if done else name
            handle = self._handles.get(done, "")
            qualified = f"{clip.name}/{done}"
            index = self._row(name, qualified, "joint", handle, index)
        return self._reference(index)

    def _clip_index(self, clip: ClipReport) -> int:
        return self._row(clip.name, clip.name, "animationClip", clip.handle, -1)

    def _row(self, name: str, qualified: str, kind: str, handle: str, parent: int) -> int:
        key = (qualified, handle, parent)
        if key not in self._index:
            row: dict[str, Any] = {"name": name, "fullyQualifiedName": qualified, "kind": kind}
            if handle:
                row["decoratedName"] = handle
            if parent >= 0:
                row["parentIndex"] = parent
            self._index[key] = len(self._rows)
            self._rows.append(row)
        return self._index[key]

    def _reference(self, index: int) -> dict[str, Any]:
        return {"index": index, "fullyQualifiedName": self._rows[index]["fullyQualifiedName"]}

    def rows(self) -> list[dict[str, Any]]:
        """The table."""
        return self._rows


def _handles(clip: ClipReport) -> dict[str, str]:
    """What the file calls each joint that a finding of the clip names.

    Gathered beforehand, so that a joint has one entry whether it is met as a parent or itself.
    """
    return {
        joint: handle
        for result in clip.results
        for finding in result.findings
        for joint, handle in zip(finding.joints, finding.handles, strict=False)
    }
